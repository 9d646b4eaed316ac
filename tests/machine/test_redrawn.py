"""A counter is one, of whatever parts it is built: its images are the same byte for byte, and so is what it does."""

from pathlib import Path

import pytest

from ordain.compare.behaviour import behaviour
from ordain.compare.joint import join
from ordain.pipeline import Built, build_model
from ordain.text.findings import Finding

MICRO = """\
routine start at 0
        red
  wait: green, unless ready goto wait
        call lamp
        goto start
routine lamp
        red, green
        back
"""
SPLIT = """\
routine start at 0
        red, goto far
routine second at 3
        goto far
routine third at 6
        goto far
routine fourth at 9
        goto far
routine fifth at 12
        goto far
routine far
        red, unless ready goto far
        green, unless ready goto far
        red, unless ready goto start
        red, green, goto second
"""
MACHINE = """\
machine lights "a counter, and what it is built of"
microprogram "lights.micro"
store control 16 words of 9 bits
    address upc
field advance 3 bits
    step 0 idle
    jump 1
    unless_ready 2
    call 3
    back 4
field target 4 bits address, idle 0
field red 1 bit
field green 1 bit
input ready 1 bit
order goto <a> : advance jump, target <a>
order unless ready goto <a> : advance unless_ready, target <a>
order call <a> : advance call, target <a>
order back : advance back
state ret 4 bits, reset 0
    next PLUS if advance is call else ret
home start
chip U1 16 x 8
    holds control[8:1]
    address upc
chip U2 16 x 1
    holds control[0]
    address upc
"""
CHOICE = """choose advance
        step        : PLUS
        jump        : target
        unless_ready: PLUS if ready else target
        call        : target
        back        : ret
        otherwise   : 0
"""
NAND = ("not (not (PLUS and {s, s, s, s}) and not (target and {j, j, j, j}) and not (ret and {b, b, b, b}))\n"
        "signal s = advance is step or (advance is unless_ready and ready)\n"
        "signal j = advance in (jump, call) or (advance is unless_ready and not ready)\n"
        "signal b = advance is back\n")
PROM = "store adder 16 words of 4 bits\n    address upc\n    word upc + 1\n"
TOGGLES = "{upc[3] xor (upc[2] and upc[1] and upc[0]), upc[2] xor (upc[1] and upc[0]), upc[1] xor upc[0], not upc[0]}"
PLUS = {"plus": ("upc + 1", ""), "prom": ("adder", PROM), "toggles": (TOGGLES, "")}
NEXT = {"choose": CHOICE, "nand": NAND}
FLOPS = "signal upc = {u3, u2, u1, u0}\n" + "".join(
    f"state u{bit} 1 bit, reset 0\n    next becomes[{bit}]\n" for bit in range(4))


def machine(plus: str, chosen: str, flops: bool) -> str:
    written, store = PLUS[plus]
    counter = (f"signal becomes = {NEXT[chosen]}{FLOPS}" if flops else
               f"state upc 4 bits, reset 0\n    next {NEXT[chosen]}")
    return (MACHINE + counter + store).replace("PLUS", written)


def built(tmp_path: Path, text: str, micro: str) -> tuple[Built | None, list[Finding]]:
    (tmp_path / "lights.machine").write_text(text)
    (tmp_path / "lights.micro").write_text(micro)
    return build_model(tmp_path / "lights.machine")


EVERY = [(plus, chosen, flops) for plus in PLUS for chosen in NEXT for flops in (False, True)]


@pytest.mark.parametrize(("plus", "chosen", "flops"), EVERY)
def test_a_counter_counts_of_whatever_parts_it_is_built(tmp_path: Path, plus: str, chosen: str, flops: bool) -> None:
    plain, _ = built(tmp_path, machine("plus", "choose", False), MICRO)
    other, findings = built(tmp_path, machine(plus, chosen, flops), MICRO)
    assert plain is not None and other is not None and not findings
    assert other.images == plain.images
    for old, new in ((plain, other), (other, plain)):
        assert {unit.status for unit in behaviour(join(old.contents, new.contents)).units} == {"same"}


@pytest.mark.parametrize(("plus", "chosen", "flops"), EVERY)
def test_its_words_are_not_parted(tmp_path: Path, plus: str, chosen: str, flops: bool) -> None:
    """Four words in a row, where no free run is longer than three; one that is longer takes them."""
    assert [one.name for one in built(tmp_path, machine(plus, chosen, flops), SPLIT)[1]] == ["over-full"]
    assert not built(tmp_path, machine(plus, chosen, flops), SPLIT.replace("fourth at 9", "fourth at 7"))[1]


@pytest.mark.parametrize("flops", [False, True])
@pytest.mark.parametrize("chosen", NEXT)
def test_a_carry_that_is_left_out_counts_otherwise(tmp_path: Path, chosen: str, flops: bool) -> None:
    """With the carry of the lowest bit away it goes from 0 to 1 and back."""
    text = machine("toggles", chosen, flops)
    built_, findings = built(tmp_path, text.replace("upc[1] xor upc[0]", "upc[1]"), MICRO)
    assert built_ is None and "goes-astray" in {one.name for one in findings}


@pytest.mark.parametrize("plus", PLUS)
def test_flip_flops_that_take_something_else_do_something_else(tmp_path: Path, plus: str) -> None:
    """From `back` on, which `lamp` obeys after `start` has called it."""
    plain, _ = built(tmp_path, machine("plus", "choose", False), MICRO)
    text = machine(plus, "choose", True)
    other, _ = built(tmp_path, text.replace("back        : ret", "back        : target"), MICRO)
    assert plain is not None and other is not None
    assert "changed" in {unit.status for unit in behaviour(join(plain.contents, other.contents)).units}


@pytest.mark.parametrize(("old", "new", "same"), [
    (("0", "0", "0", "0"), ("0", "0", "0", "0"), True),
    (("0", "0", "0", "0"), ("1", "0", "0", "0"), False),
    (("any", "0", "0", "0"), ("any", "1", "0", "0"), False),       # what comes up known counts beside what does not
    (("any", "0", "0", "0"), ("any", "0", "0", "0"), True),
    (("any", "any", "any", "any"), ("any", "any", "any", "0"), False),
])
def test_what_its_flip_flops_come_up_with_is_compared(tmp_path: Path, old: tuple[str, ...], new: tuple[str, ...],
                                                      same: bool) -> None:
    sides = []
    for resets in (old, new):
        text = machine("plus", "choose", True)
        for bit, reset in enumerate(resets):
            text = text.replace(f"state u{bit} 1 bit, reset 0", f"state u{bit} 1 bit, reset {reset}")
        side, _ = built(tmp_path, text, MICRO)
        assert side is not None
        sides.append(side.contents)
    told = behaviour(join(*sides))
    assert ({unit.status for unit in told.units} == {"same"} and not told.machine) == same
