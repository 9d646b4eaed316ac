"""How long it takes to compare two builds, and how that grows with the size of the control store.

    python benchmarks/compare.py

Invented machines of 256 to 16,384 words: a counter with branches, a subroutine register, a pause request, 16 fields,
buses and strobes; an eighth of the words are shared tails and subroutines, the rest belongs to 256 instructions.
Compared are a build and the same program with everything moved, one routine renamed and one field of one word
changed. The
least of several runs in one warm process is given; reading and compiling the texts is not part of it.
"""

import random
import time

from ordain.compare.behaviour import behaviour
from ordain.compare.joint import join
from ordain.language.machine_file import parse_machine
from ordain.machine.model import Machine
from ordain.machine.resolve import resolve
from ordain.rom.contents import Contents, Site

RUNS = 5
FIELDS = 12
INSTRUCTIONS = 256


def machine_of(bits: int) -> Machine:
    """The machine whose control addresses have `bits` bits."""
    lines = [
        "machine bench", f"store control {1 << bits} words of {4 + 4 + bits + 4 * FIELDS + 2} bits",
        "    address upc", "field branch 4 bits", "    step 0 idle", "    jump 1", "    if_set 2", "    call 3",
        "    back 4", "    dispatch 5", "    finish 6", "field test 4 bits, idle 0",
        f"field target {bits} bits address, idle 0",
        "field read 1 bit", "field write 1 bit, active low",
    ]
    for number in range(FIELDS):
        lines += [f"field f{number} 4 bits", "    none 0 idle", *(f"    c{code} {code}" for code in range(1, 16))]
    lines += [
        f"store entry {INSTRUCTIONS} words of {bits} bits", "    address ir", "    word start of instruction",
        "register ir 8 bits, loads data when f0 is c1", "register acc 8 bits, loads data when f0 is c2",
        "input asks 1 bit", "state asks_1 1 bit, reset 0", "    next asks", "condition flags 16 bits",
        f"state back_to {bits} bits, reset 0", "    next upc + 1 if branch is call else back_to",
        f"state upc {bits} bits, reset 0", "    next choose branch", "        step: upc + 1", "        jump: target",
        "        if_set: target if tested else upc + 1", "        call: target", "        back: back_to",
        "        dispatch: 0x8 if asks_1 else entry.word", "        finish: 0", "        otherwise: 0",
        "signal tested = choose test", *(f"    {line}: flags[{line}]" for line in range(15)), "    otherwise: 0",
        "bus data 8 bits, floats",
        *(f"    driven by d{code} when f1 is c{code}" for code in range(1, 12)),
        *(f"    sampled by r{code} when f0 is c{code}" for code in range(1, 12)),
        "signal pulse = write", "strobe pulse", "    data steady 1 cycle after", "home fetch",
    ]
    tree, unread = parse_machine({"bench.machine": "\n".join(lines) + "\n"}, "bench.machine")
    assert tree is not None and not unread, unread
    machine, findings = resolve(tree)
    assert machine is not None, findings
    return machine


def program(words: int, seed: int) -> list[tuple[str, list[tuple[dict[str, int], str]]]]:
    """Bodies: (name, words as field values and the name of the body they go to)."""
    random.seed(seed)
    shared = words // 8
    tails = max(1, shared // 16)
    bodies: list[tuple[str, list[tuple[dict[str, int], str]]]] = []

    def orders() -> dict[str, int]:
        return {f"f{number}": random.randrange(2, 16) for number in random.sample(range(FIELDS), 3)}

    bodies.append(("fetch", [({"f0": 1, "f1": 1}, ""), ({"branch": 5}, "")]))
    bodies.append(("pause", [({**orders(), "branch": 2, "test": 3}, "fetch"), ({"branch": 6}, "")]))
    for number in range(tails):
        end = {"branch": 4} if number % 2 else {"branch": 6}
        words_of_tail = [(orders(), "") for _ in range(shared // tails - 1)]
        bodies.append((f"tail{number}", [*words_of_tail, ({**orders(), **end}, "")]))
    own = (words - shared - 16) // INSTRUCTIONS
    for number in range(INSTRUCTIONS):
        body = [(orders(), "") for _ in range(max(1, own) - 1)]
        if len(body) > 3:
            body[1] = ({**body[1][0], "branch": 3}, f"tail{random.randrange(tails) // 2 * 2 + 1 if tails > 1 else 0}")
            body[2] = ({**body[2][0], "branch": 2, "test": random.randrange(15)},
                       f"tail{random.randrange(0, tails, 2)}")
        bodies.append((f"op{number}", [*body, ({**orders(), "branch": 1}, f"tail{random.randrange(0, tails, 2)}")]))
    return bodies


def placed(machine: Machine, bodies: list[tuple[str, list[tuple[dict[str, int], str]]]], seed: int) -> Contents:
    """The program with its bodies in a random order behind the fetch and the pause."""
    random.seed(seed)
    starts = {"fetch": 0, "pause": 8}
    at = 16
    for name, body in sorted(bodies[2:], key=lambda _: random.random()):
        starts[name] = at
        at += len(body)
    size = 1 << machine.stores["control"].address_width
    words = [0] * size
    sites: dict[int, Site] = {}
    layout = {name: (field.low, (1 << field.width) - 1, field.active_low)
              for name, field in machine.fields.items() if field.store == "control"}
    idle = sum(mask << low for low, mask, turned in layout.values() if turned)
    words = [idle] * size
    for number, (name, body) in enumerate(bodies):
        for index, (fields, to) in enumerate(body):
            word = idle
            for field, value in {**fields, **({"target": starts[to]} if to else {})}.items():
                word |= value << layout[field][0]
            address = starts[name] + index
            words[address] = word
            text = ", ".join(fields)
            sites[address] = Site("control", address, "", name, text, (text,), None, 0, number * 1000 + index)
    entries = tuple(starts[f"op{number}"] for number in range(INSTRUCTIONS))
    labels = {name: ("control", frozenset({address})) for name, address in starts.items()}
    return Contents(machine, {"control": tuple(words), "entry": entries}, {"control": sites, "entry": {}}, labels, {})


def changed(contents: Contents, address: int) -> Contents:
    """One field of one word set to another code."""
    field = contents.machine.fields["f5"]
    words = list(contents.words["control"])
    words[address] ^= 1 << field.low
    return contents._replace(words={**contents.words, "control": tuple(words)})


def measure(words: int) -> tuple[float, int]:
    """Least seconds of one comparison, and how many instructions were found to differ."""
    bits = (words - 1).bit_length()
    machine = machine_of(bits)
    bodies = program(words, 1)
    old, new = placed(machine, bodies, 2), placed(machine, bodies, 3)
    new = changed(new, next(iter(new.labels["op7"][1])) + 1)
    best, found = 1e9, 0
    for _ in range(RUNS):
        start = time.perf_counter()
        result = behaviour(join(old, new))
        best = min(best, time.perf_counter() - start)
        found = sum(unit.status == "changed" for unit in result.units)
    return best, found


def main() -> None:
    print(f"{'words':>7} {'seconds':>8} {'us a word':>10}  changed")
    for words in (512, 1024, 2048, 4096, 8192, 16384):
        seconds, found = measure(words)
        print(f"{words:7} {seconds:8.3f} {seconds / words * 1e6:10.1f}  {found}")


if __name__ == "__main__":
    main()
