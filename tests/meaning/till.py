"""A till with four registers and a small memory, by hand: what its instructions do can be read off its words."""

from ordain.control.system import build_system
from ordain.meaning.proof import Outcome
from ordain.meaning.run import outcomes as meanings_of
from ordain.prover.decide import decide
from tests.workshop import contents_of

MACHINE = """\
machine till
store control 64 words of 20 bits
    address upc
field put 3 bits
    nothing 0 idle
    memory  1
    acc     2
    sum     3
    temp    4
field load 3 bits
    none    0 idle
    acc     1
    temp    2
    mar     3
    ir      4
    pc      5
field count    1 bit
field write    1 bit
field by_pc    1 bit
field flag     1 bit
field take     1 bit
field less     1 bit
field branch 2 bits
    step     0 idle
    dispatch 1
    home     2
    if_zero  3
field target 6 bits address, idle 0
state upc 6 bits, reset 0
    next choose branch
        step     : upc + 1
        dispatch : entry.word
        home     : 0
        if_zero  : target if zero else upc + 1
store entry 16 words of 6 bits
    address ir
    word    start of instruction
register acc  8 bits, loads data when load is acc
register temp 8 bits, loads data when load is temp
register mar  4 bits, loads data[3:0] when load is mar
register ir   4 bits, loads data[3:0] when load is ir
register pc   4 bits, reset 0
    loads data[3:0] when load is pc
    loads pc + 1    when count
signal sum = acc - temp if less else acc + temp
register zero 1 bit, loads sum_zero when flag
condition sum_zero 1 bit = sum is 0
bus data 8 bits, floats
    driven by memory when put is memory
    driven by acc    when put is acc
    driven by sum    when put is sum
    driven by temp   when put is temp
memory memory 16 words of 8 bits
    address pc if by_pc else mar
    writes  data when write
visible acc, zero, pc, memory
home fetch
order goto <there> : branch if_zero, target <there>
order fetched : put memory, by_pc, count
"""

FETCH = """\
routine fetch at 0
        fetched, load ir
        branch dispatch
instruction others "nothing"
    means nothing
        branch home
"""


def outcome_of(instruction: str, machine: str = MACHINE, title: str = "tried") -> Outcome:
    """What comes of `means` lines and words of an instruction with the opcode 1."""
    return outcomes(FETCH + f'instruction 1 "{title}"\n' + instruction, machine)[title]


def outcomes(micro: str, machine: str = MACHINE) -> dict[str, Outcome]:
    contents = contents_of(machine, micro)
    system = build_system(contents)
    return meanings_of(contents, lambda asked: decide(system, asked))[0]


__all__ = ["FETCH", "MACHINE", "outcome_of", "outcomes"]
