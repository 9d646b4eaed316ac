"""Boards of many styles from one generator: what a board has is said in a `Shape`, its microprogram is drawn by a seed.

A microprogram is made of blocks of sixteen words. Every block writes to memory once (driven a word before and a word
after the pulse), branches on what the board offers, and asks whether somebody else wants the buses; the last block is
the pause in which they are lent. Where a word acts a cycle late (`pipelined`), the word behind a branch does nothing.
"""

import random
from collections.abc import Iterator
from typing import NamedTuple

from benchmarks.styles.source import Source, rules

BLOCK = 16


class Shape(NamedTuple):
    """`pairs`: every word names the next one, and a condition replaces its lowest bit; else a counter with branches.
    `half`: two cycles a clock, said by hand. `stack`: depth of the stack of subroutines. `masters`: in a daisy chain.
    `refresh`, `tracked`: bits of a refresh counter, of a register that control reads. `resets`: registers with any
    value at power-up. `inputs`: lines behind flip-flops. `strobes`: ports with a pulse of their own."""

    words: int = 256
    pairs: bool = False
    half: bool = False
    pipelined: bool = False
    stack: int = 0
    masters: int = 0
    refresh: int = 0
    tracked: int = 0
    resets: int = 0
    inputs: int = 0
    flags: int = 1
    strobes: int = 1


def board(shape: Shape, seed: int = 7) -> Source:
    return Source("\n".join(_machine(shape)) + "\n", "\n".join(_micro(shape, random.Random(seed))) + "\n")


def _conditions(shape: Shape) -> list[tuple[str, str]]:
    """What words can branch on: name and expression."""
    found = [(f"flag{one}", f"flag{one}") for one in range(shape.flags)]
    found += [(f"line{one}", f"pending{one}") for one in range(shape.inputs)]
    if shape.masters or shape.refresh:
        found.append(("asked", "asked"))
    if shape.tracked:
        found += [("low_page", f"page < {(1 << shape.tracked) // 3}"),
                  ("last_page", f"page is {(1 << shape.tracked) - 1}")]
    found += [(f"set{one}", f"mode{one} in (3, 5, 12)") for one in range(shape.resets)]
    return found


def _masters(shape: Shape) -> list[str]:
    return [f"m{one}" for one in range(shape.masters)] + (["refresher"] if shape.refresh else [])


# ---------------------------------------------------------------- the machine


def _machine(shape: Shape) -> Iterator[str]:
    width = (shape.words - 1).bit_length()
    ways = [name for name, _ in _conditions(shape)]
    masters = _masters(shape)
    loads = ["none", "ir", "acc", "temp", "mar", *(["page"] if shape.tracked else []),
             *(f"mode{one}" for one in range(shape.resets))]
    load_bits = (len(loads) - 1).bit_length()
    test_bits = max(1, len(ways).bit_length())
    size = 3 + test_bits + width + 3 + load_bits + 1 + 4 + shape.strobes * 2 + 1
    yield 'machine board "made by benchmarks/styles"'
    yield 'microprogram "bench.micro"'
    yield f"store control {shape.words} words of {size} bits"
    yield f"    address {'active' if shape.pipelined else 'upc'}"
    yield from ("field branch 3 bits", "    step 0 idle", "    jump 1", "    test 2", "    dispatch 3", "    call 4",
                "    back 5")
    yield f"field line {test_bits} bits"
    yield from (f"    {name} {code}{'' if code else ' idle'}" for code, name in enumerate(["never", *ways]))
    yield f"field target {width} bits address, {'idle following' if shape.pairs else 'idle 0'}"
    yield from ("field source 3 bits", "    none 0 idle", "    acc 1", "    temp 2", "    sum 3", "    memory 4")
    yield f"field load {load_bits} bits"
    yield from (f"    {name} {code}{'' if code else ' idle'}" for code, name in enumerate(loads))
    yield from ("field drive 1 bit, active low", "field read 1 bit, active low", "field write 1 bit, active low",
                "field grant 1 bit", "field count 1 bit")
    for one in range(shape.strobes):
        yield from (f"field out{one} 1 bit", f"field pulse{one} 1 bit")
    yield "spare 1 bit"
    if shape.pairs:
        yield "order fork <yes> <no> on <line> : branch test, line <line>, target pair(<no>, <yes>)"
    yield from _sequencer(shape, width)
    yield from _surroundings(shape)
    yield from _data_path(shape, masters)
    if masters:
        yield from _chain(shape, masters)
    yield "home start"
    owns = " or ".join(f"{one}.owns" for one in masters) or "read"
    yield rules(fault=f"({owns}) and write", start="at start", end="branch in (jump, dispatch)", rare="read",
                other="write", goal=f"write{_ticking(shape)}", home="at start", asked="write", answer="not write",
                within=2 if shape.half else 1, forgiven="grant", long=64 + 40 * shape.stack)


def _ticking(shape: Shape) -> str:
    return " and tick" if shape.half else ""


def _state(shape: Shape, name: str, width: int, following: str, reset: str = "0") -> Iterator[str]:
    """A state that moves on with the clock."""
    yield f"state {name} {width} bit{'s' if width > 1 else ''}, reset {reset}"
    yield f"    next ({following}) if tick else {name}" if shape.half else f"    next {following}"


def _sequencer(shape: Shape, width: int) -> Iterator[str]:
    if shape.half:
        yield from ("state clk 1 bit, reset 0", "    next not clk", "signal tick = clk")
    yield "signal tested = choose line"
    yield from (f"    {name} : {node}" for name, node in _conditions(shape))
    yield "    otherwise : 0"
    high = f"target[{width - 1}:8], " if width > 8 else ""
    step = "target" if shape.pairs else "upc + 1"
    chosen = f"{{target[{width - 1}:1], tested}}" if shape.pairs else "target if tested else upc + 1"
    yield "signal following = choose branch"
    yield from (f"    step : {step}", "    jump : target", f"    test : {chosen}",
                f"    dispatch : {{{high}ir[1:0], 0b000000}}", "    call : target",
                f"    back : {'top0' if shape.stack else 'target'}", "    otherwise : 0")
    yield from _state(shape, "upc", width, "following")
    if shape.pipelined:
        yield from _state(shape, "active", width, "upc")
    if shape.stack:
        yield from ("signal push = branch is call", "signal pop = branch is back")
        for one in range(shape.stack):
            above = "upc + 1" if not one else f"top{one - 1}"
            below = f"top{one + 1}" if one + 1 < shape.stack else "0"
            yield from _state(shape, f"top{one}", width, f"{above} if push else ({below} if pop else top{one})")
    yield "register ir 4 bits, reset any"
    yield f"    loads data[3:0] when load is ir{_ticking(shape)}"


def _surroundings(shape: Shape) -> Iterator[str]:
    for one in range(shape.flags):
        yield f"condition event{one} 1 bit"
        yield from (f"register flag{one} 1 bit, reset any",
                    f"    loads event{one} when source is sum{_ticking(shape)}")
    for one in range(shape.inputs):
        yield f"input wire{one} 1 bit"
        yield from _state(shape, f"wire{one}_1", 1, f"wire{one}")
        yield from _state(shape, f"wire{one}_2", 1, f"wire{one}_1")
        yield from _state(shape, f"pending{one}", 1,
                          f"0 if branch is test and line is line{one} else (wire{one}_2 or pending{one})")
    if shape.tracked:
        yield f"register page {shape.tracked} bits, reset 0"
        yield f"    loads data[{shape.tracked - 1}:0] when load is page{_ticking(shape)}"
        yield f"    loads page + 1 when count{_ticking(shape)}"
        yield "exclusive count, loads_page"
        yield "signal loads_page = load is page"
    for one in range(shape.resets):
        yield f"register mode{one} 4 bits, reset any"
        yield f"    loads data[3:0] when load is mode{one}{_ticking(shape)}"


def _data_path(shape: Shape, masters: list[str]) -> Iterator[str]:
    tick = _ticking(shape)
    data_width = max(8, shape.tracked)
    for name, width in (("acc", data_width), ("temp", data_width), ("mar", 16)):
        yield f"register {name} {width} bits"
        yield (f"    loads {{data[7:0], data[7:0]}} when load is mar{tick}" if name == "mar"
               else f"    loads data when load is {name}{tick}")
    yield f"bus address 16 bits, floats, turnaround {1 if masters else 0}"
    yield "    driven by mar when drive"
    yield from (f"    driven by {one} when {one}.owns, steady while {one}.still" for one in masters)
    yield f"    sampled by memory when write{tick} or read"
    yield f"bus data {data_width} bits, floats, turnaround {1 if masters else 0}"
    yield from (f"    driven by {one} when source is {one}" for one in ("acc", "temp", "sum"))
    yield "    driven by memory when source is memory and read, follows address"
    yield from (f"    driven by {one} when {one}.owns" for one in masters)
    yield from (f"    sampled by {one} when load is {one}" for one in ("ir", "acc", "temp", "mar"))
    yield f"    sampled by memory when write{tick}"
    yield f"signal writing = write{tick}"
    yield from ("strobe writing", "    address steady 1 cycle before, 1 cycle after", "    data steady 1 cycle after")
    for one in range(shape.strobes):
        yield from (f"register port{one} 8 bits", f"    loads acc[7:0] when out{one} and not pulse{one}{tick}",
                    f"bus cable{one} 8 bits, floats", f"    driven by port{one} when pulse{one} or out{one}",
                    f"    sampled by device{one} when pulse{one}", f"strobe pulse{one}",
                    f"    cable{one} steady 1 cycle after")
    kept = ["acc", "temp", "mar", "ir"]
    if masters:
        yield f"keep {', '.join(kept)} while {' or '.join(f'{one}.owns' for one in masters)}"
    yield "exclusive read, write"


def _chain(shape: Shape, masters: list[str]) -> Iterator[str]:
    tick = _ticking(shape)
    for one in masters:
        yield from _state(shape, f"{one}_1", 1, f"{one}.asks")
        yield from _state(shape, f"{one}_2", 1, f"{one}_1")
    yield "signal asked = " + " or ".join(f"{one}_2" for one in masters)
    if shape.refresh:
        yield from _state(shape, "count_up", shape.refresh, "count_up + 1")
    for place, one in enumerate(masters):
        free = ["grant", f"{one}_2", *(f"not {other}.asks" for other in masters[:place]),
                *(f"not {other}.owns" for other in masters[place + 1:])]
        yield f"agent {one}"
        if one == "refresher":
            wants, again = f"count_up is {(1 << shape.refresh) - 1}", "0"
        else:
            yield "    input wants 1 bit"
            wants, again = "wants", "wants"
        yield from ("    state mode (idle, asking, owning, leaving), reset idle", "        next choose mode",
                    f"            idle : asking if {wants}{tick} else idle",
                    f"            asking : owning if {' and '.join(free)}{tick} else asking",
                    f"            owning : leaving if not ({again}){tick} else owning",
                    f"            leaving : idle if not grant{tick} else leaving",
                    "    signal asks = mode in (asking, owning)", "    signal owns = mode is owning",
                    "    signal still = mode is owning")
    yield "exclusive " + ", ".join(f"{one}.owns" for one in masters) if len(masters) > 1 else ""


# ---------------------------------------------------------------- the microprogram


def _micro(shape: Shape, rng: random.Random) -> Iterator[str]:
    blocks = shape.words // BLOCK * 5 // 8 if shape.pairs else shape.words // BLOCK
    last = blocks - 1
    subroutines = list(range(last - 1, last - 1 - min(shape.stack, last // 2), -1))
    """Each calls the next in this order, so that the stack is filled and never overfilled."""
    ways = [name for name, _ in _conditions(shape) if name != "asked"]
    loads = ["ir", "acc", "temp", "mar", *(["page"] if shape.tracked else []),
             *(f"mode{one}" for one in range(shape.resets))]
    common = [block for block in range(last) if block not in subroutines]
    for block in range(last):
        yield f"routine {_name(block)}" + ("" if shape.pairs and block else f" at {block * BLOCK}")
        yield from _block(shape, rng, block, common, subroutines, ways, loads)
    yield "routine pause" + ("" if shape.pairs else f" at {last * BLOCK}")
    yield from _pause(shape)


def _name(block: int) -> str:
    return f"b{block}" if block else "start"


def _block(shape: Shape, rng: random.Random, block: int, common: list[int], subroutines: list[int], ways: list[str],
           loads: list[str]) -> Iterator[str]:
    load = loads[block % len(loads)] if block % 4 else "ir"
    port, place = block % shape.strobes, common.index(block) if block in common else 0
    words = [f"drive, load {load}, source memory, read", "", "source sum, load acc", "", "",
             f"drive, source acc, out{port}", f"drive, source acc, write, out{port}, pulse{port}",
             f"drive, source acc, out{port}", "", "", "", "", "count" if shape.tracked else "", "", "", ""]
    way, end = rng.choice(ways), 14 if shape.pipelined else 15
    if shape.masters or shape.refresh:
        words[8] = _test(shape, "asked", "pause", 9)
    if block in common and block % 4 != 1:
        words[3] = _test(shape, way, _name(common[min(place + 2, len(common)) % len(common)]), 4)
    if block in subroutines:
        deeper = subroutines.index(block) + 1
        words[10] = f"branch call, target {_name(subroutines[deeper])}" if deeper < len(subroutines) else ""
        words[end] = "branch back"
    elif block % 4 == 1 and not shape.pairs:
        words[end] = f"branch dispatch, target {_name(block // 16 * 16)}"
    else:
        words[10] = f"branch call, target {_name(subroutines[0])}" if subroutines and block % 3 == 0 else words[10]
        words[end] = f"branch jump, target {_name(common[(place + 1) % len(common)])}"
    for number, word in enumerate(words):
        yield f"    {f'w{number}: ' if shape.pairs else ''}{word or 'drive'}"


def _test(shape: Shape, way: str, target: str, following: int) -> str:
    """`following`: the number of the next word."""
    return (f"fork {target} w{following} on {way}" if shape.pairs
            else f"branch test, line {way}, target {target}")


def _pause(shape: Shape) -> Iterator[str]:
    yield "    branch step"
    if shape.masters or shape.refresh:
        yield f"  wait: grant, {_test(shape, 'asked', 'wait', 0).replace('w0', 'back')}"
        if shape.pipelined:
            yield "    branch step"
    yield f"  back: branch {'jump' if shape.pairs else 'dispatch'}, target start"
    if shape.pipelined:
        yield "    branch step"
