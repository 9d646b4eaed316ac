"""A small build made by hand, for tests of the files that people and programs read."""

from ordain.language.tree import SourceFile
from ordain.machine.model import Machine
from ordain.microprogram.model import Body, MapCell, Microinstruction, OpcodeUse, Program
from ordain.placement.model import Placement
from ordain.rom.assemble import make_contents, stored_words, word_keys
from ordain.rom.contents import ChipRecord, ImageFile
from ordain.rom.images import pack
from ordain.rom.sums import sums_of
from ordain.show.manifest import BuildData, build_data
from ordain.text.source import Source, Span
from tests.rom.machines import machine_of

WINDMILL = """
machine windmill "pumps & grinds <slowly>"
microprogram "windmill.micro"
store control 32 words of 12 bits
    address upc
field branch 2 bits
    step 0 idle
    jump 1
    start 2
field target 5 bits address, idle 0
field brake 1 bit, active low
field sail 3 bits, idle any
spare 1 bit
state upc 5 bits, reset 0
    next choose branch
        step     : upc + 1
        jump     : target
        start    : entry.word
        otherwise: 0
register ir 4 bits
    loads wheel when brake
input wheel 4 bits
store entry 16 words of 5 bits
    address ir
    word start of instruction
chip U1 64 x 8
    holds control[11:4]
    address {any, upc}
chip U2 32 x 4
    holds control[3:1], spare
    address upc
    technology once
chip U3 16 x 16
    holds spare, spare, spare, spare, spare, spare, spare, spare, spare, spare, spare, entry
    address ir
"""

MICRO = Source("windmill.micro", """routine furl at 0
  top:  brake, goto set
  set:  sail 5, "a \\"quoted\\" \\u00e9 word"
instruction 3, 4 "TURN {n}"
        brake, goto top
""")


def span_of(line: int) -> Span:
    start = MICRO.line_starts()[line - 1]
    return Span(MICRO, start, start + len(MICRO.line_text(line)))


def word(machine: Machine, owner: str, label: str, orders: tuple[str, ...], line: int,
         **values: int) -> Microinstruction:
    bits = 0
    for name in machine.stores["control"].fields:
        field = machine.fields[name]
        value = values.get(name, 0)
        bits |= (value ^ (1 if field.active_low else 0)) << field.low
    return Microinstruction("control", bits, values.get("open", 0), (), (label,) if label else (), owner,
                            ", ".join(orders), span_of(line), None, 0, (), orders)


def windmill() -> BuildData:
    """Three words, one of them copied, and two opcodes."""
    machine = machine_of(WINDMILL)
    words = (
        word(machine, "furl", "top", ("brake", "goto set"), 2, branch=1, target=9, brake=1, open=0b111 << 1),
        word(machine, "furl", "set", ("sail 5", 'a "quoted" é word'), 3, sail=5),
        word(machine, "TURN {n}", "", ("brake", "goto top"), 5, branch=1, target=0, brake=1),
    )
    program = Program(
        words, (Body("furl", "routine", "control", 0, 2, 0, 0, span_of(1)),
                Body("TURN {n}", "instruction", "control", 2, 3, 0, 0, span_of(4))),
        {"furl": 0, "furl.top": 0, "top": 0, "furl.set": 1, "set": 1, "TURN {n}": 2},
        (MapCell("entry", 3, "TURN {n}", span_of(4)), MapCell("entry", 4, "TURN {n}", span_of(4))),
        (OpcodeUse(3, "TURN {n}", False), OpcodeUse(4, "TURN {n}", False)), {"control": None}, {}, {}, {},
        names=("furl.top", "furl.set", "TURN {n}"))
    placement = Placement(((0,), (9, 4), (16,)), {
        "control": {0: words[0].bits, 9: words[1].bits, 4: words[1].bits, 16: words[2].bits}, "entry": {3: 16, 4: 16}},
        ((1, 4, "the pair of furl"),), {"control": None, "entry": None})
    stored = stored_words(machine, placement)
    images = pack(machine, stored)
    chips = [ChipRecord(chip.name, chip.words, chip.bits, chip.erased, chip.technology,
                        sums_of(images[chip.name], chip.bits), (ImageFile("bin", f"{chip.name}.bin"),))
             for chip in machine.chips.values()]
    sources = (SourceFile("windmill.machine", "a" * 64), SourceFile("windmill.micro", "b" * 64))
    return build_data(make_contents(machine, program, placement, stored, images), program, placement, sources, chips,
                      word_keys(program))
