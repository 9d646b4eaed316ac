"""Every fault of a machine file: the machine that has it, and the one a step away that has not.

Each case puts lines after the frame (or replaces a piece of it): a faulty version, which must give exactly the findings
named, at a place with the text named, and a sound one, which must give none.
"""

import ast
from pathlib import Path
from typing import NamedTuple

import pytest

from tests.machine.described import FRAME, shown, understood

MACHINE = Path(__file__).parents[2] / "src" / "ordain" / "machine"


class Case(NamedTuple):
    """`at`: the text of the place of the first finding. `says`: a piece of its message or help. `instead`: the piece of
    the frame that the lines replace; "" puts them after it."""

    names: str
    faulty: str
    sound: str
    at: str
    says: str = ""
    instead: str = ""


STEPS = """\
store second 16 words of 2 bits
    address upc
    instruction upc[3:2]
    step upc[1:0] in ({})
field more 2 bits, idle 0"""

CASES = {
    "a memory without an address": Case(
        "no-address", "memory ram 4 words of 4 bits", "memory ram 4 words of 4 bits\n    address upc[1:0]",
        "memory ram 4 words of 4 bits", "nothing says how `ram` is addressed"),
    "a memory larger than its address reaches": Case(
        "width-mismatch", "memory ram 5 words of 4 bits\n    address upc[1:0]",
        "memory ram 4 words of 4 bits\n    address upc[1:0]", "upc[1:0]", "reaches 4 words, and `ram` has 5"),
    "a memory with an address of more lines than any": Case(
        "bad-size", "register wide 33 bits\nmemory ram 4 words of 4 bits\n    address wide",
        "register wide 32 bits\nmemory ram 4 words of 4 bits\n    address wide", "wide", "33 bits"),
    "what is written does not fit the word": Case(
        "width-mismatch", "memory ram 4 words of 4 bits\n    address upc[1:0]\n    writes upc[2:0] when go",
        "memory ram 4 words of 4 bits\n    address upc[1:0]\n    writes upc when go", "upc[2:0]"),
    "a file beyond the end of a memory": Case(
        "too-wide", 'memory ram 4 words of 4 bits\n    address upc[1:0]\n    holds "a.bin" at 4',
        'memory ram 4 words of 4 bits\n    address upc[1:0]\n    holds "a.bin" at 3', "4", "has 4 words"),
    "a programmer sees what is stored": Case(
        "wrong-kind", "input key 1 bit\nvisible key", "register key 1 bit\nvisible key", "key", "sees what is stored"),
    "a programmer sees what there is": Case(
        "unknown-name", "register acc 4 bits\nvisible ac", "register acc 4 bits\nvisible acc", "ac",
        "did you mean `acc`?"),
    "visible twice": Case(
        "said-twice", "register acc 4 bits\nvisible acc, acc", "register acc 4 bits\nvisible acc", "acc", "twice"),
    "a driver's value of another width": Case(
        "width-mismatch", "bus data 4 bits, floats\n    driven by low = upc[1:0] when go",
        "bus data 4 bits, floats\n    driven by low = {0b00, upc[1:0]} when go", "upc[1:0]"),
    "what a strobe needs steady is a bus": Case(
        "wrong-kind", "register m 4 bits\nbus b 4 bits, kept\n    driven by m\nstrobe go\n    m steady 1 cycle after",
        "register m 4 bits\nbus b 4 bits, kept\n    driven by m\nstrobe go\n    b steady 1 cycle after", "m",
        "`driven by m`"),
    "a value that does not come from the bus that it is said to follow": Case(
        "wrong-kind", "bus far 4 bits, floats\nbus data 4 bits, floats\n    driven by low = upc when go, follows far",
        "bus far 4 bits, floats\nbus data 4 bits, floats\n    driven by low = far when go, follows far", "upc",
        "does not come from `far`"),
    "a name that nothing has": Case(
        "unknown-name", "signal s = wnat", "input want 1 bit\nsignal s = want", "wnat", "nothing is called `wnat`"),
    "the nearest name is offered": Case(
        "unknown-name", "signal s = taget is 3", "signal s = target is 3", "taget", "did you mean `target`?"),
    "an unknown name in two places is two faults": Case(
        "unknown-name unknown-name", "signal s = lost\nsignal t = lost", "input lost 1 bit\nsignal s = lost", "lost"),
    "a name of an agent's part needs its prefix outside": Case(
        "unknown-name", "agent a\n    input x 1 bit\nsignal s = x", "agent a\n    input x 1 bit\nsignal s = a.x", "x"),
    "a part of one agent is not known in another": Case(
        "unknown-name", "agent a\n    input x 1 bit\nagent b\n    signal s = x",
        "agent a\n    input x 1 bit\nagent b\n    signal s = a.x", "x"),
    "two of one name": Case(
        "defined-twice", "input go 1 bit", "input gone 1 bit", "go", "a field of the same name"),
    "two codes of one name": Case(
        "defined-twice", "    loop 2\n    loop 3", "    loop 2", "loop 3", "two codes `loop`",
        "    loop 2"),
    "a code to be idle at that there is not": Case(
        "unknown-code", "field branch 2 bits, idle stop\n    step 0\n    jump 1",
        "field branch 2 bits, idle step\n    step 0\n    jump 1", "stop", "did you mean `step`?",
        "field branch 2 bits\n    step 0 idle\n    jump 1"),
    "a step that its lines cannot show": Case(
        "too-wide", STEPS.format("0, 1, 4"), STEPS.format("0, 1, 3"), "4", "step 4 needs 3 bits"),
    "a step that comes twice": Case("said-twice", STEPS.format("0, 1, 0"), STEPS.format("0, 1"), "0", "step 0 is said"),
    "bits of a hole that are not those of the field": Case(
        "width-mismatch", "order more <n>: target <n>[6:4]", "order more <n>: target <n>[7:4]", "<n>[6:4]",
        "`<n>[6:4]` has 3 bits, and `target` has 4"),
    "bits of a hole the wrong way round": Case(
        "width-mismatch", "order less <n>: target <n>\norder more <n>: less <n>[4:7]",
        "order less <n>: target <n>\norder more <n>: less <n>[7:4]", "<n>[4:7]", "has no bits"),
    "bits of a hole that nobody fills": Case(
        "unknown-name", "order more <n>: branch <n>[1:0], go <m>[2]", "order more <n>: branch <n>[1:0], go <n>[2]",
        "<m>", "has no `<m>`"),
    "an order of steps without instructions": Case(
        "no-steps", STEPS.format("0, 1").replace("    instruction upc[3:2]\n", ""),
        STEPS.format("0, 1").replace("    instruction upc[3:2]\n", "").replace(" in (0, 1)", ""), "0", "at steps"),
    "two codes of one state": Case(
        "defined-twice", "state m (a, b, a), reset a\n    next m", "state m (a, b, c), reset a\n    next m", "a"),
    "two chips of one name": Case(
        "defined-twice", "chip U1 16 x 8\n    holds control\n    address upc\n" * 2,
        "chip U1 16 x 8\n    holds control\n    address upc\n", "U1"),
    "two stores of one name": Case(
        "defined-twice", "store control 4 words of 2 bits\n    address upc[1:0]\nfield more 2 bits, idle 0",
        "store other 4 words of 2 bits\n    address upc[1:0]\nfield more 2 bits, idle 0", "control"),
    "two agents of one name": Case(
        "defined-twice", "agent a\n    input x 1 bit\nagent a\n    input y 1 bit\nsignal s = a.x",
        "agent a\n    input x 1 bit\nagent b\n    input y 1 bit\nsignal s = a.x", "a"),
    "two strobes of one name": Case(
        "defined-twice", "signal rings = go\nstrobe go\nstrobe go", "signal rings = go\nstrobe go\nstrobe rings",
        "strobe go", "is a strobe twice"),
    "two orders of one phrase": Case(
        "defined-twice", "order turn <a> : branch jump, target <a>\norder turn <b> : branch loop, target <b>",
        "order turn <a> : branch jump, target <a>\norder stay <b> : branch loop, target <b>",
        "order turn <b> : branch loop, target <b>"),
    "two rules of one name": Case(
        "defined-twice", 'rule "r" never go\nrule "r" reach go', 'rule "r" never go\nrule "s" reach go', '"r"'),
    "one driver on two lines": Case(
        "defined-twice", "bus b 4 bits, floats\n    driven by rom when go\n    driven by rom when halt",
        "bus b 4 bits, floats\n    driven by rom when go or halt", "driven by rom when halt", "join the two"),
    "one sampler on two lines": Case(
        "defined-twice",
        "bus b 4 bits, floats\n    driven by upc\n    sampled by r when go\n    sampled by r when halt",
        "bus b 4 bits, floats\n    driven by upc\n    sampled by r when go or halt", "sampled by r when halt"),
    "a name that means something else as a pin": Case(
        "reserved", "field spare 1 bit\nfield halt 1 bit", "field other 1 bit\nfield halt 1 bit", "spare", "",
        "field go 1 bit\nfield halt 1 bit, active low"),
    "an operator as the name of a field": Case(
        "reserved", "field in 1 bit\nfield halt 1 bit", "field in_ 1 bit\nfield halt 1 bit", "in", "`in_field`",
        "field go 1 bit\nfield halt 1 bit, active low"),
    "an operator as the name of an agent's part": Case(
        "reserved", "agent a\n    input not 1 bit", "agent a\n    input nor 1 bit", "not", "`not_input`"),
    "an operator as the name of a signal": Case(
        "reserved", "signal xor = go", "signal xnor = go", "xor", "`xor_signal`"),
    "an operator as the name of a code": Case(
        "reserved", "    loop 2\n    in 3", "    loop 2", "in", "`in_code`", "    loop 2"),
    "an operator as the name of a state's code": Case(
        "reserved", "state m (one, if), reset one\n    next m", "state m (one, iff), reset one\n    next m", "if",
        "`if_code`"),
    "a pin on two nets": Case(
        "pin-twice", "wire go at U4.Y1\nwire halt at U4.Y1", "wire go at U4.Y1\nwire halt at U4.Y2", "U4.Y1",
        "is on two nets"),
    "a pin of a chip that holds something else": Case(
        "pin-twice", "chip U1 16 x 8\n    holds control\n    address upc\nwire branch at U1.D[6:5]",
        "chip U1 16 x 8\n    holds control\n    address upc\nwire branch at U1.D[7:6]", "U1.D[6:5]"),
    "an address pin that has another line": Case(
        "pin-twice", "chip U1 16 x 8\n    holds control\n    address {upc[0], upc[3:1]}\nwire upc at U1.A[3:0]",
        "chip U1 16 x 8\n    holds control\n    address {upc[0], upc[3:1]}\nwire upc at U1.{A2, A1, A0, A3}",
        "U1.A[3:0]"),
    "a part with a pin given twice": Case(
        "pin-twice", "part U4\n    A 1, B 2\n    A 3", "part U4\n    A 1, B 2\n    C 3", "A"),
    "a part with a number given twice": Case(
        "pin-twice", "part U4\n    A 1, B 2\n    C 2", "part U4\n    A 1, B 2\n    C 3", "C", "pin number 2"),
    "two parts of one name": Case(
        "defined-twice", "part U4\n    A 1\npart U4\n    B 1", "part U4\n    A 1\npart U5\n    B 1", "U4"),
    "a pin that a part has not": Case(
        "unknown-pin", "part U4\n    Y0 1, Y1 2\nwire go at U4.Y3", "part U4\n    Y0 1, Y1 2\nwire go at U4.Y1",
        "U4.Y3", "`Y"),
    "a data pin that a chip has not": Case(
        "unknown-pin", "chip U1 16 x 8\n    holds control\n    address upc\nwire go at U1.D8",
        "chip U1 16 x 8\n    holds control\n    address upc\nwire go at U1.OE", "U1.D8"),
    "a wire with too few pins": Case(
        "width-mismatch", "wire branch at U4.A", "wire branch at U4.{B, A}", "U4.A", "one pin for each bit"),
    "a channel at two lines": Case(
        "channel-twice", "probes pod\n    D0 go, D1 halt\n    D1 upc[0]",
        "probes pod\n    D0 go, D1 halt\n    D2 upc[0]",
        "D1", "`D1` is clipped to two lines"),
    "a channel twice in one list": Case(
        "channel-twice", "probes pod\n    {D1, D1} branch", "probes pod\n    {D1, D0} branch", "{D1, D1}"),
    "the clock's channel at another line too": Case(
        "channel-twice", "probes pod\n    clock D1 falling\n    D1 halt",
        "probes pod\n    clock D1 falling\n    D2 halt",
        "D1"),
    "two channels for the clock": Case(
        "width-mismatch", "probes pod\n    clock D[1:0]\n    D2 halt", "probes pod\n    clock D[1:1]\n    D2 halt",
        "D[1:0]", "the clock is one line"),
    "the clock said twice": Case(
        "said-twice", "probes pod\n    clock D1\n    clock D2", "probes pod\n    clock D1\n    D2 go", "D2"),
    "fewer channels than bits": Case(
        "width-mismatch", "probes pod\n    D[2:0] upc", "probes pod\n    D[3:0] upc", "D[2:0]",
        "`upc` has 4 bits, and 3 channels are named"),
    "more channels than bits": Case(
        "width-mismatch", "probes pod\n    D[2:0] branch", "probes pod\n    D[2:0] upc[2:0]", "D[2:0]"),
    "a clip at what nothing is called": Case(
        "unknown-name", "probes pod\n    D0 hlat", "probes pod\n    D0 halt", "hlat", "did you mean `halt`?"),
    "a clip at a bit beyond the highest": Case(
        "bad-slice", "probes pod\n    D0 upc[4]", "probes pod\n    D0 upc[3]", "upc[4]"),
    "a lamp at a number": Case(
        "wrong-kind", 'constant four = 4\nlamps "door"\n    shows four, go',
        'constant four = 4\nlamps "door"\n    shows halt, go',
        "four"),
    "two rows of one name": Case(
        "defined-twice", 'lamps "door"\n    shows go\nlamps "door"\n    shows halt',
        'lamps "door"\n    shows go\nlamps "desk"\n    shows halt',
        '"door"'),
    "two sets of probes of one name": Case(
        "defined-twice", "probes pod\n    D0 go\nprobes pod\n    D0 halt",
        "probes pod\n    D0 go\nprobes pod_2\n    D0 halt",
        "pod"),
    "a lamp at a phase that nothing depends on": Case(
        "wrong-kind", 'clock clk (first, second)\nlamps "door"\n    shows first',
        'clock clk (first, second)\nsignal early = go and first\nlamps "door"\n    shows first', "first"),
    "a lamp that looks back": Case(
        "prior-in-hardware", 'signal was = prior(go)\nlamps "door"\n    shows was',
        'signal was = go\nlamps "door"\n    shows was',
        "was"),
    "opcodes of two widths": Case(
        "width-mismatch",
        "register ir 8 bits\nstore one 256 words of 4 bits\n    address ir\n    word start of instruction\n"
        "store two 16 words of 4 bits\n    address ir[7:4]\n    word start of instruction",
        "register ir 8 bits\nstore one 256 words of 4 bits\n    address ir\n    word start of instruction\n"
        "store two 16 words of 4 bits\n    address ir[7:4]",
        "store two 16 words of 4 bits", "`instruction ir[7:4]`"),
    "a role that is no part of the address": Case(
        "not-in-address",
        "register ir 8 bits\nstore one 16 words of 4 bits\n    address ir[7:4]\n    word start of instruction\n"
        "    instruction ir[3:0]",
        "register ir 8 bits\nstore one 16 words of 4 bits\n    address ir[3:0]\n    word start of instruction\n"
        "    instruction ir[3:0]",
        "ir[3:0]", "`ir[3:0]` has the role `instruction`"),
    "a start from other bits than the opcode": Case(
        "wrong-kind",
        "register ir 8 bits\nstore control 16 words of 8 bits\n    address upc\n    starts at {ir[6:4], 0b0}\n"
        "    instruction ir[5:3]",
        "register ir 8 bits\nstore control 16 words of 8 bits\n    address upc\n    starts at {ir[6:4], 0b0}\n"
        "    instruction ir[6:4]", "{ir[6:4], 0b0}", "bits of `ir`",
        "store control 16 words of 8 bits\n    address upc"),
    "a start from what holds no opcode": Case(
        "wrong-kind",
        "input ir 8 bits\nstore control 16 words of 8 bits\n    address upc\n    starts at {ir[6:4], 0b0}\n"
        "    instruction ir[6:4]",
        "register ir 8 bits\nstore control 16 words of 8 bits\n    address upc\n    starts at {ir[6:4], 0b0}\n"
        "    instruction ir[6:4]", "ir[6:4]", "holds no opcode",
        "store control 16 words of 8 bits\n    address upc"),
    "a code that no choose could name": Case(
        "reserved", "state m (one, otherwise), reset one\n    next m", "state m (one, other), reset one\n    next m",
        "otherwise"),
    "a field's code that no choose could name": Case(
        "reserved", "    loop 2\n    otherwise 3", "    loop 2", "otherwise", "", "    loop 2"),
    "a bus that owes too much": Case(
        "bad-size", "bus b 4 bits, floats, turnaround 256\n    driven by upc",
        "bus b 4 bits, floats, turnaround 255\n    driven by upc", "bus b 4 bits, floats, turnaround 256"),
    "a strobe that asks for too much": Case(
        "bad-size", "bus b 4 bits, floats\n    driven by upc\nstrobe go\n    b steady 256 cycles after",
        "bus b 4 bits, floats\n    driven by upc\nstrobe go\n    b steady 255 cycles after",
        "b steady 256 cycles after"),
    "two homes": Case("defined-twice", "home fetch\nhome upc is 0", "home fetch", "home upc is 0"),
    "one signal twice among those that exclude each other": Case(
        "defined-twice", "exclusive go, halt, go", "exclusive go, halt", "go"),
    "one hole twice in a phrase": Case(
        "defined-twice", "order x <a> <a> : target <a>", "order x <a> : target <a>", "<a>"),
    "an unknown code in a comparison": Case(
        "unknown-code", "signal s = branch is jmp", "signal s = branch is jump", "jmp", "did you mean `jump`?"),
    "an unknown code in a list": Case(
        "unknown-code", "signal s = branch in (step, jmp)", "signal s = branch in (step, jump)", "jmp"),
    "an unknown code on the left": Case(
        "unknown-code", "signal s = jmp is branch", "signal s = jump is branch", "jmp"),
    "an unknown code of a case": Case(
        "unknown-code", "        step : upc + 1\n        jmp : target", "        step : upc + 1\n        jump : target",
        "jmp", "did you mean `jump`?", "        step : upc + 1\n        jump : target"),
    "a named case where there are no names": Case(
        "unknown-code", "signal s = choose target\n    here : go\n    otherwise : halt",
        "constant here = 3\nsignal s = choose target\n    here : go\n    otherwise : halt", "here"),
    "an unknown code as a next value": Case(
        "unknown-code", "state m (a, b, c), reset a\n    next d if go else a",
        "state m (a, b, c), reset a\n    next b if go else a", "d"),
    "an unknown code to start from": Case(
        "unknown-code", "state m (a, b), reset c\n    next m", "state m (a, b), reset b\n    next m", "c"),
    "an unknown code in an order": Case(
        "unknown-code", "order turn : branch jmup", "order turn : branch jump", "jmup", "did you mean `jump`?"),
    "an undefined code in an order": Case("undefined-code", "order turn : branch 3", "order turn : branch 2", "3"),
    "two vectors of different width": Case(
        "width-mismatch", "signal s = upc is branch", "signal s = upc[1:0] is branch", "upc is branch",
        "`upc` has 4 bits and `branch` has 2 bits"),
    "two different widths added": Case(
        "width-mismatch", "signal s = upc + branch", "signal s = upc + {0b00, branch}", "upc + branch"),
    "branches of different width": Case(
        "width-mismatch", "signal s = upc if go else branch", "signal s = upc if go else target",
        "upc if go else branch"),
    "a next value of another width": Case(
        "width-mismatch", "state t 3 bits, reset 0\n    next upc", "state t 4 bits, reset 0\n    next upc", "upc",
        "`upc` has 4 bits, and 3 bits wanted"),
    "one branch of another width than its place": Case(
        "width-mismatch", "state t 3 bits, reset 0\n    next upc if go else t",
        "state t 4 bits, reset 0\n    next upc if go else t", "upc"),
    "a vector as a condition": Case(
        "width-mismatch", "rule \"r\" never upc", "rule \"r\" never upc is 3", "upc", "which has 1 bit"),
    "an address too short for the words": Case(
        "width-mismatch", "store control 17 words of 8 bits", "store control 15 words of 8 bits", "upc",
        "reaches 16 words", "store control 16 words of 8 bits"),
    "a field whose width and place disagree": Case(
        "width-mismatch", "field go 1 bit, at [1:0]", "field go 1 bit, at [1:1]", "field go 1 bit, at [1:0]", "2",
        "field go 1 bit"),
    "a field whose width and address bits disagree": Case(
        "width-mismatch", "field target 4 bits address[2:0], idle 0", "field target 4 bits address[3:0], idle 0",
        "field target 4 bits address[2:0], idle 0", "are 3", "field target 4 bits address, idle 0"),
    "a number that does not fit": Case(
        "too-wide", "signal s = upc is 16", "signal s = upc is 15", "16", "needs 5 bits, and its place has 4 bits"),
    "a constant that does not fit": Case(
        "too-wide", "constant c = 0x10\nsignal s = upc is c", "constant c = 0x0F\nsignal s = upc is c", "c"),
    "a case that does not fit": Case(
        "too-wide", "signal s = choose go\n    0 : halt\n    1, 2 : go",
        "signal s = choose go\n    0 : halt\n    1 : go",
        "2"),
    "a code that does not fit": Case("too-wide", "    loop 4", "    loop 3", "4", "code `loop`", "    loop 2"),
    "an idle code that does not fit": Case(
        "too-wide", "field target 4 bits address, idle 16", "field target 4 bits address, idle 15", "16", "",
        "field target 4 bits address, idle 0"),
    "a reset that does not fit": Case(
        "too-wide", "state t 3 bits, reset 8\n    next t", "state t 3 bits, reset 7\n    next t", "8"),
    "a reset that is none of the codes": Case(
        "too-wide", "state t (a, b, c), reset 3\n    next t", "state t (a, b, c), reset 2\n    next t", "3"),
    "a value in an order that does not fit": Case(
        "too-wide", "order there : target 16", "order there : target 15", "16"),
    "a constant in an order that does not fit": Case(
        "too-wide", "order o : imm c\nconstant c = 4\nstore extra 4 words of 2 bits\n    address upc[1:0]\n"
        "field imm 2 bits",
        "order o : imm c\nconstant c = 3\nstore extra 4 words of 2 bits\n    address upc[1:0]\nfield imm 2 bits", "c"),
    "a decimal in a join": Case(
        "no-width", "signal s = {upc, 3}", "signal s = {upc, 0b11}", "3", "write all its digits"),
    "a signal that is a decimal": Case("no-width", "signal s = 2", "signal s = 1", "2"),
    "a sum of decimals": Case("no-width", "signal s = 2 + 3", "signal s = 0b010 + 3", "2 + 3"),
    "branches that are decimals": Case(
        "no-width", "signal s = 2 if go else 3", "signal s = 0b10 if go else 3", "2 if go else 3"),
    "a decimal for several pins": Case(
        "no-width", "chip U1 64 x 8\n    holds control\n    address {2, upc}",
        "chip U1 64 x 8\n    holds control\n    address {0b10, upc}", "2"),
    "a bit beyond the end": Case(
        "bad-slice", "signal s = upc[4]", "signal s = upc[3]", "upc[4]", "its bits are 3 down to 0"),
    "a bit of a store's word beyond the end": Case(
        "bad-slice", "signal s = control[8]", "signal s = control[7]", "control[8]"),
    "a pin beyond the end": Case(
        "bad-slice", "chip U1 16 x 8\n    holds control[8:1]\n    address upc",
        "chip U1 16 x 8\n    holds control[7:0]\n    address upc", "control[8:1]"),
    "an address pin beyond the end": Case(
        "bad-slice", "chip U1 16 x 8\n    holds control\n    address {address[4:1]}",
        "chip U1 16 x 8\n    holds control\n    address {address[3:0]}", "address[4:1]"),
    "address bits beyond the end": Case(
        "bad-slice", "field target 4 bits address[4:1], idle 0", "field target 4 bits address[3:0], idle 0",
        "field target 4 bits address[4:1], idle 0", "", "field target 4 bits address, idle 0"),
    "a code without a case": Case(
        "choose-incomplete", "        jump : target", "        jump, loop : target", "branch", "`loop`",
        "        jump : target\n        loop : upc"),
    "a number without a case": Case(
        "choose-incomplete", "signal s = choose upc[1:0]\n    0, 1 : go\n    3 : halt",
        "signal s = choose upc[1:0]\n    0, 1 : go\n    2, 3 : halt", "upc[1:0]", "happens for 2"),
    "a flag without a case": Case(
        "choose-incomplete", "signal s = choose go\n    1 : halt", "signal s = choose go\n    1 : halt\n    0 : go",
        "go"),
    "a code with two cases": Case(
        "case-twice", "        jump, loop : target\n        loop : upc", "        jump : target\n        loop : upc",
        "loop", "", "        jump : target\n        loop : upc"),
    "a signal that depends on itself": Case(
        "combinational-loop", "signal a = not a", "signal a = not go", "a", "`a` -> `a`"),
    "signals that depend on each other": Case(
        "combinational-loop", "signal a = b or go\nsignal b = not c\nsignal c = a and halt\nsignal d = a",
        "signal a = b or go\nsignal b = not c\nsignal c = halt\nsignal d = a", "a", "`a` -> `b` -> `c` -> `a`"),
    "constants that depend on each other": Case(
        "combinational-loop", "constant a = b + 1\nconstant b = a", "constant a = b + 1\nconstant b = 2", "a",
        "`a` -> `b` -> `a`"),
    "an address that depends on the word": Case(
        "combinational-loop", "    address target", "    address upc", "control",
        "the address of `control` reads `target`", "    address upc"),
    "addresses that depend on each other's words": Case(
        "combinational-loop", "    address second.word", "    address upc", "control", "`second`", "    address upc"),
    "a condition that depends on itself": Case(
        "combinational-loop", "signal s = c or go\ncondition c 1 bit = s", "signal s = c or go\ncondition c 1 bit = go",
        "c"),
    "a state that depends on a label": Case(
        "label-in-hardware", "state t 1 bit, reset 0\n    next at fetch",
        "state t 1 bit, reset 0\n    next go\nrule \"r\" reach at fetch", "at fetch"),
    "a driver that depends on a routine": Case(
        "label-in-hardware", "bus b 4 bits, floats\n    driven by upc when in fetch",
        "bus b 4 bits, floats\n    driven by upc, steady while in fetch", "driven by upc when in fetch"),
    "an address that depends on a label": Case(
        "label-in-hardware", "    address {upc[3:1], at fetch}", "    address {upc[3:1], upc[0]}",
        "{upc[3:1], at fetch}", "hardware knows no labels", "    address upc"),
    "a constant that is not known beforehand": Case(
        "not-constant", "constant c = upc", "constant c = 0b0011", "upc"),
    "a constant below zero": Case("not-constant", "constant c = 2 - 3", "constant c = 3 - 2", "2 - 3", "would be -1"),
    "an unknown name in a constant": Case(
        "unknown-name", "constant vector = 3\nconstant c = vectr + 1", "constant vector = 3\nconstant c = vector + 1",
        "vectr", "did you mean `vector`?"),
    "an agent as a value": Case(
        "wrong-kind", "agent a\n    input x 1 bit\nsignal s = a", "agent a\n    input x 1 bit\nsignal s = a.x", "a"),
    "following what is no bus": Case(
        "wrong-kind", "bus b 4 bits, floats\n    driven by rom, follows upc",
        "bus upa 4 bits, floats\n    driven by upc\nbus b 4 bits, floats\n    driven by rom, follows upa", "upc"),
    "following an unknown bus": Case(
        "unknown-name",
        "bus addr 4 bits, floats\n    driven by upc\nbus b 4 bits, floats\n    driven by rom, follows adr",
        "bus addr 4 bits, floats\n    driven by upc\nbus b 4 bits, floats\n    driven by rom, follows addr", "adr",
        "did you mean `addr`?"),
    "steadiness of an unknown bus": Case(
        "unknown-name", "bus addr 4 bits, floats\n    driven by upc\nstrobe go\n    adr steady 1 cycle before",
        "bus addr 4 bits, floats\n    driven by upc\nstrobe go\n    addr steady 1 cycle before", "adr", "no bus `adr`"),
    "a strobe that is nothing": Case("unknown-name", "strobe went", "strobe go", "went"),
    "a strobe of several bits": Case("width-mismatch", "strobe upc", "signal s = upc is 0\nstrobe s", "upc"),
    "keeping what stores nothing": Case("wrong-kind", "keep go while halt", "keep upc while halt", "go", "a field"),
    "keeping something unknown": Case("unknown-name", "keep uppc while go", "keep upc while go", "uppc", "`upc`"),
    "setting a derived field": Case(
        "wrong-kind", "field halt 1 bit = parity(branch)\norder o : halt", "field halt 1 bit\norder o : halt", "halt",
        "",
        "field halt 1 bit, active low"),
    "an address for a field that holds none": Case(
        "wrong-kind", "order o <a> <b> : branch pair(<a>, <b>)", "order o <a> <b> : target pair(<a>, <b>)",
        "pair(<a>, <b>)"),
    "an opcode made of two things": Case(
        "wrong-kind", "    starts at {ir[1:0], upc[1:0]}", "    starts at {ir[1:0], 0b00}", "{ir[1:0], upc[1:0]}", "",
        "    starts at ir[3:0]"),
    "no words at all": Case(
        "bad-size", "store control 0 words of 8 bits", "store control 1 words of 8 bits", "0", "at least 1",
        "store control 16 words of 8 bits"),
    "words without end": Case(
        "bad-size", "store control 1099511627776 words of 8 bits", "store control 2 words of 8 bits", "1099511627776",
        "16777216", "store control 16 words of 8 bits"),
    "a word without end": Case(
        "bad-size", "store other 16 words of 1_000_000 bits\n    address upc",
        "store other 16 words of 1_000 bits\n    address upc", "1_000_000", "4096"),
    "too many bits in all": Case(
        "bad-size", "input a 24 bits\nstore other 0x1000000 words of 4096 bits\n    address a",
        "input a 24 bits\nstore other 0x1000000 words of 16 bits\n    address a", "0x1000000", "bits in all"),
    "a state of no bits": Case(
        "bad-size", "state t 0 bits, reset 0\n    next 0\nsignal s = t is 3", "state t 2 bits, reset 0\n    next 0",
        "0"),
    "an input of too many bits": Case(
        "bad-size", "input i 4097 bits\nsignal s = i is 3", "input i 4096 bits\nsignal s = i is 3", "i"),
    "an address of too many bits": Case(
        "bad-size", "input a 25 bits\nstore other 16 words of 2 bits\n    address a",
        "input a 24 bits\nstore other 16 words of 2 bits\n    address a", "a"),
    "a chip that is no power of two": Case(
        "bad-size", "chip U1 17 x 8\n    holds control\n    address {0, upc}",
        "chip U1 32 x 8\n    holds control\n    address {0, upc}", "17", "did you mean 32?"),
    "cycles without end": Case(
        "bad-size", "rule \"r\" when go then halt within 2_000_000 cycles",
        "rule \"r\" when go then halt within 1_000_000 cycles",
        "rule \"r\" when go then halt within 2_000_000 cycles"),
    "a field above every store": Case(
        "field-without-store", "machine small\nfield early 1 bit\nsignal s = early", "machine small\ninput early 1 bit",
        "field early 1 bit", "`early`", "machine small\n"),
    "more fields than bits": Case(
        "word-overfull", "field go 3 bits, idle 0", "field go 1 bit", "field go 3 bits, idle 0", "need 2 bits more",
        "field go 1 bit"),
    "a field pinned beyond the word": Case(
        "word-overfull", "field go 1 bit, at [8:8]", "field go 1 bit, at [1:1]", "field go 1 bit, at [8:8]", "bit 7",
        "field go 1 bit"),
    "fewer fields than bits": Case(
        "word-underfull", "field go 1 bit", "field go 1 bit\nspare 1 bit", "store control 16 words of 8 bits",
        "add `spare 1 bit`", "field go 1 bit\nfield halt 1 bit, active low"),
    "a gap between fields": Case(
        "word-underfull", "store b 4 words of 4 bits\n    address upc[1:0]\nfield x 1 bit\nfield y 1 bit, at [0:0]",
        "store b 4 words of 4 bits\n    address upc[1:0]\nfield x 3 bits, idle 0\nfield y 1 bit, at [0:0]",
        "store b 4 words of 4 bits", "leave 2 bits of its word undescribed: [2:1]"),
    "two fields in one place": Case(
        "field-overlap", "field halt 1 bit, at [1:1]", "field halt 1 bit, at [0:0]", "field halt 1 bit, at [1:1]",
        "`go`",
        "field halt 1 bit, active low"),
    "two codes of one number": Case(
        "code-clash", "    loop 1", "    loop 2", "loop 1", "codes `jump` and `loop`", "    loop 2"),
    "two idle codes": Case("two-idles", "    jump 1 idle", "    jump 1", "jump 1 idle", "", "    jump 1"),
    "following in a field that holds no address": Case(
        "bad-idle", "field target 4 bits, idle following", "field target 4 bits address, idle following",
        "field target 4 bits, idle following", "", "field target 4 bits address, idle 0"),
    "a derived field that reads a state": Case(
        "not-in-word", "field halt 1 bit = upc[0]", "field halt 1 bit = target[0]", "upc[0]", "",
        "field halt 1 bit, active low"),
    "a derived field that reads itself": Case(
        "derived-loop", "field halt 1 bit = parity(control)", "field halt 1 bit = parity(control[7:1])",
        "parity(control)", "itself", "field halt 1 bit, active low"),
    "a derived field that reads a later one": Case(
        "derived-loop", "field go 1 bit = halt\nfield halt 1 bit = parity(target)",
        "field go 1 bit = parity(target)\nfield halt 1 bit = go", "halt", "computed after it",
        "field go 1 bit\nfield halt 1 bit, active low"),
    "a store without an address": Case(
        "no-address", "store other 16 words of 2 bits", "store other 16 words of 2 bits\n    address upc",
        "store other 16 words of 2 bits"),
    "a bank without an address": Case(
        "no-address", "chip U1 16 x 8\n    holds control", "chip U1 16 x 8\n    holds control\n    address upc",
        "holds control"),
    "a microprogrammed store without fields": Case(
        "no-fields", "store other 16 words of 2 bits\n    address upc\n    starts at upc",
        "store other 16 words of 2 bits\n    address upc\n    starts at upc\nfield other_field 2 bits, idle 0",
        "store other 16 words of 2 bits"),
    "a computed word that reads what does not address it": Case(
        "not-in-address", "store prom 4 words of 1 bit\n    address upc[1:0]\n    word upc[2]",
        "store prom 4 words of 1 bit\n    address upc[1:0]\n    word upc[1]", "upc[2]", "`upc`"),
    "a role for what does not address the store": Case(
        "not-in-address",
        "register ir 4 bits\nstore b 16 words of 2 bits\n    address upc\n    instruction ir\nfield f 2 bits",
        "register ir 4 bits\nstore b 16 words of 2 bits\n    address ir\n    instruction ir\nfield f 2 bits", "ir"),
    "a role for lines that are scattered": Case(
        "not-in-address",
        "register ir 2 bits\nstore b 16 words of 2 bits\n    address {ir[0], upc[1:0], ir[1]}\n    instruction ir\n"
        "field f 2 bits",
        "register ir 2 bits\nstore b 16 words of 2 bits\n    address {ir[1], ir[0], upc[1:0]}\n    instruction ir\n"
        "field f 2 bits",
        "ir", "scattered") ,
    "a role of which one line is turned": Case(
        "not-in-address",
        "register ir 2 bits\nstore b 16 words of 2 bits\n    address {not ir[1], ir[0], upc[1:0]}\n    instruction ir\n"
        "field f 2 bits",
        "register ir 2 bits\nstore b 16 words of 2 bits\n    address {ir[1], ir[0], upc[1:0]}\n    instruction ir\n"
        "field f 2 bits",
        "ir", "`ir[1]` is turned there"),
    "an opcode with a turned line": Case(
        "not-in-address",
        "register ir 3 bits\nstore b 8 words of 4 bits\n    address {ir[2], not ir[1], ir[0]}\n"
        "    word start of instruction",
        "register ir 3 bits\nstore b 8 words of 4 bits\n    address {ir[2], ir[1], ir[0]}\n"
        "    word start of instruction",
        "{ir[2], not ir[1], ir[0]}", "`ir[1]` reaches it turned"),
    "an opcode of one turned line": Case(
        "not-in-address",
        "register ir 1 bit\nstore b 2 words of 4 bits\n    address not ir\n    word start of instruction",
        "register ir 1 bit\nstore b 2 words of 4 bits\n    address ir\n    word start of instruction",
        "not ir", "`ir` reaches it turned"),
    "an opcode whose lines cross": Case(
        "not-in-address",
        "register ir 4 bits\nstore b 8 words of 4 bits\n    address {ir[0], go, ir[3]}\n    word start of instruction",
        "register ir 4 bits\nstore b 8 words of 4 bits\n    address {ir[3], go, ir[0]}\n    word start of instruction",
        "{ir[0], go, ir[3]}", "`ir[3]` reaches it in another order"),
    "an address pin that is no line of the address": Case(
        "not-in-address", "chip U1 16 x 8\n    holds control\n    address {upc[3:1], go}",
        "chip U1 16 x 8\n    holds control\n    address {upc[3:1], upc[0]}", "go"),
    "a chip that holds nothing": Case(
        "empty-chip", "chip U1 16 x 8", "chip U1 16 x 8\n    holds control\n    address upc", "chip U1 16 x 8"),
    "pins that hold nothing": Case(
        "empty-chip", "chip U1 16 x 2\n    holds spare, spare\n    address upc",
        "chip U1 16 x 8\n    holds control\n    address upc", "holds spare, spare"),
    "two stores on one line": Case(
        "two-stores", "store b 16 words of 4 bits\n    address upc\nchip U1 16 x 8\n    holds b, control[7:4]\n"
        "    address upc",
        "store b 16 words of 8 bits\n    address upc\nchip U1 16 x 8\n    holds b\n    address upc",
        "holds b, control[7:4]"),
    "too few data pins": Case(
        "pin-count", "chip U1 16 x 8\n    holds control[7:1]\n    address upc",
        "chip U1 16 x 8\n    holds control[7:1], halt\n    address upc", "holds control[7:1]", "7 are named"),
    "too few address pins": Case(
        "pin-count", "chip U1 32 x 8\n    holds control\n    address upc",
        "chip U1 32 x 8\n    holds control\n    address {any, upc}", "upc", "5 address pins, and 4 are wired"),
    "a pin that is computed": Case(
        "not-a-pin", "chip U1 16 x 8\n    holds control[7:1], go or halt\n    address upc",
        "chip U1 16 x 8\n    holds control[7:1], halt\n    address upc", "go or halt"),
    "a pin that is a state": Case(
        "not-a-pin", "chip U1 16 x 8\n    holds control[7:1], upc[0]\n    address upc",
        "chip U1 16 x 8\n    holds control[7:1], halt\n    address upc", "upc"),
    "a spare pin with a number": Case(
        "not-a-pin", "chip U1 16 x 16\n    holds control, spare[0]\n    address upc",
        "chip U1 16 x 9\n    holds control, spare\n    address upc", "spare[0]", "spare bits have no numbers"),
    "an unknown pin": Case(
        "unknown-name", "chip U1 16 x 8\n    holds branhc, control[5:0]\n    address upc",
        "chip U1 16 x 8\n    holds branch, control[5:0]\n    address upc", "branhc", "did you mean `branch`?"),
    "an active-low field at an inverted pin": Case(
        "inverted-twice", "chip U1 16 x 8\n    holds control[7:1], not halt\n    address upc",
        "chip U1 16 x 8\n    holds control[7:1], halt\n    address upc", "halt"),
    "an address line that the chip does not see": Case(
        "address-line-missing", "chip U1 16 x 8\n    holds control\n    address {0, upc[3:1]}",
        "chip U1 16 x 8\n    holds control\n    address {upc[0], upc[3:1]}", "{0, upc[3:1]}", "line [0]"),
    "two banks in the same cells": Case(
        "bank-overlap",
        "store b 16 words of 8 bits\n    address upc\nchip U1 32 x 8\n    holds control\n    address {0, upc}\n"
        "    holds b\n    address {any, upc}",
        "store b 16 words of 8 bits\n    address upc\nchip U1 32 x 8\n    holds control\n    address {0, upc}\n"
        "    holds b\n    address {1, upc}", "holds b"),
    "a pin tied to two levels": Case(
        "bank-overlap",
        "store b 16 words of 1 bit\n    address upc\nchip U1 16 x 10\n    holds control, spare, 0\n    address upc\n"
        "    holds 0b0000_0000, b, 1\n    address upc",
        "store b 16 words of 1 bit\n    address upc\nchip U1 16 x 10\n    holds control, spare, 0\n    address upc\n"
        "    holds 0b0000_0000, b, spare\n    address upc", "holds 0b0000_0000, b, 1"),
    "two banks at the same pins": Case(
        "bank-overlap",
        "store b 16 words of 4 bits\n    address upc\nchip U1 16 x 8\n"
        "    holds control[7:4], spare, spare, spare, spare\n"
        "    address upc\n    holds spare, spare, spare, b, spare\n    address upc\n"
        "chip U2 16 x 4\n    holds control[3:0]\n    address upc",
        "store b 16 words of 4 bits\n    address upc\nchip U1 16 x 8\n"
        "    holds control[7:4], spare, spare, spare, spare\n"
        "    address upc\n    holds spare, spare, spare, spare, b\n    address upc\n"
        "chip U2 16 x 4\n    holds control[3:0]\n    address upc", "holds spare, spare, spare, b, spare"),
    "a bit at two pins": Case(
        "bit-twice", "chip U1 16 x 8\n    holds control\n    address upc\nchip U2 16 x 1\n    holds go\n"
        "    address upc",
        "chip U1 16 x 8\n    holds control\n    address upc\nchip U2 16 x 1\n    repeats go\n    address upc",
        "holds go",
        "[1] of `control` (go) stands at two pins"),
    "a bit at two pins of one chip": Case(
        "bit-twice", "chip U1 16 x 9\n    holds control, go\n    address upc",
        "chip U1 16 x 9\n    holds control, spare\n    address upc", "holds control, go"),
    "bits in no chip": Case(
        "bit-without-chip", "chip U1 16 x 4\n    holds control[7:4]\n    address upc",
        "chip U1 16 x 4\n    holds control[7:4]\n    address upc\nchip U2 16 x 4\n    holds control[3:0]\n"
        "    address upc",
        "store control 16 words of 8 bits", "[3:0] of `control` (halt, go, target[0], target[1]) stand in no chip"),
    "repeated bits that stand nowhere else": Case(
        "bit-without-chip", "chip U1 16 x 8\n    repeats control\n    address upc",
        "chip U1 16 x 8\n    holds control\n    address upc", "store control 16 words of 8 bits"),
    "looking back in hardware": Case(
        "prior-in-hardware", "state t 1 bit, reset 0\n    next prior(go)", "state t 1 bit, reset 0\n    next go",
        "prior(go)"),
    "looking back through a signal": Case(
        "prior-in-hardware", "signal s = prior(go)\nregister r 4 bits, loads upc when s",
        "signal s = prior(go)\nrule \"r\" never s", "s"),
    "looking back in an address": Case(
        "prior-in-hardware", "    address prior(upc)", "    address upc", "prior(upc)", "", "    address upc"),
    "looking back in a driver": Case(
        "prior-in-hardware", "bus b 4 bits, floats\n    driven by upc when prior(go)",
        "bus b 4 bits, floats\n    driven by upc when go", "driven by upc when prior(go)"),
    "a state that nothing changes": Case(
        "no-next", "state t 2 bits, reset 0", "state t 2 bits, reset 0\n    next t", "state t 2 bits, reset 0"),
    "a next value that may be none of the codes": Case(
        "not-a-code", "state t (a, b, c), reset a\n    next branch", "state t (a, b, c, d), reset a\n    next branch",
        "branch"),
    "a next value from a state with more codes": Case(
        "not-a-code", "state t (a, b, c), reset a\n    next u\nstate u (d, e, f, g), reset d\n    next u",
        "state t (a, b, c), reset a\n    next u\nstate u (d, e, f), reset d\n    next u", "u"),
    "a number that is none of the codes": Case(
        "not-a-code", "state t (a, b, c), reset a\n    next 3", "state t (a, b, c), reset a\n    next 2", "3"),
    "a signal that excludes nothing": Case("too-few", "exclusive go", "exclusive go, halt", "exclusive go"),
    "a hole that is not used": Case(
        "unused-hole", "order turn <a> : branch jump", "order turn <a> : branch jump, target <a>", "<a>"),
    "a hole that the phrase has not": Case(
        "unknown-name unused-hole", "order turn <there> : target <three>", "order turn <there> : target <there>",
        "<there>"),
    "a field set to nothing": Case("no-value", "order o : branch", "order o : branch jump", "branch", "its codes are"),
    "a field that nothing is called": Case(
        "unknown-name", "order o : brnch jump", "order o : branch jump", "brnch", "did you mean `branch`?"),
    "a field set twice": Case(
        "field-conflict", "order o : branch jump, branch loop", "order o : branch jump, go", "branch loop"),
    "an order that contains itself": Case(
        "order-loop", "order p : q\norder q : go, p", "order p : q\norder q : go", "order p : q", "`p` -> `q` -> `p`"),
    "an unknown check": Case(
        "unknown-name", "allow contension at x \"why\"", "allow contention at x \"why\"", "contension",
        "did you mean `contention`?"),
    "an allowance on something unknown": Case(
        "unknown-name", "allow contention on bus_a \"why\"",
        "bus bus_a 1 bit, floats\n    driven by go\nallow contention on bus_a \"why\"", "bus_a"),
}


NO_CLOCK = {
    "a phase without a clock": Case(
        "no-clock", "state a 1 bit, reset 0, on second\n    next a",
        "clock clk (first, second)\nstate a 1 bit, reset 0, on second\n    next a", "second", "no clock"),
    "the machine's own clock without a clock": Case(
        "no-clock", "register a 1 bit, on oscillator", "register a 1 bit, on own clock", "oscillator"),
    "phases are counted without a clock": Case(
        "no-clock", "bus b 1 bit, floats, turnaround 1 phase", "bus b 1 bit, floats, turnaround 1 cycle",
        "bus b 1 bit, floats, turnaround 1 phase", "how long is a phase?"),
    "phases are counted, and the clock has none": Case(
        "no-clock", "clock clk\nbus b 1 bit, floats, turnaround 1 phase",
        "clock clk (first, second)\nbus b 1 bit, floats, turnaround 1 phase",
        "bus b 1 bit, floats, turnaround 1 phase", "name the phases"),
    "a phase that the clock has not": Case(
        "unknown-name", "clock clk (first, second)\nregister a 1 bit, on secnd",
        "clock clk (first, second)\nregister a 1 bit, on second", "secnd", "did you mean `second`?"),
    "moves in a phase that the clock has not": Case(
        "unknown-name", "clock clk (first, second)\n    moves in frist",
        "clock clk (first, second)\n    moves in first", "frist", "did you mean `first`?"),
    "two clocks": Case(
        "defined-twice", "clock clk\nclock other", "clock clk\nregister other 1 bit, on own clock", "clock other"),
    "two phases of one name": Case(
        "defined-twice", "clock clk (a, a)", "clock clk (a, b)", "a"),
    "too many phases": Case(
        "bad-size", f"clock clk ({', '.join(f'p{number}' for number in range(17))})",
        f"clock clk ({', '.join(f'p{number}' for number in range(16))})",
        f"clock clk ({', '.join(f'p{number}' for number in range(17))})"),
    "the phase of a clock that has none": Case(
        "wrong-kind", "clock clk\nsignal s = clk", "clock clk (low, high)\nsignal s = clk is low", "clk"),
    "a part of an agent on a clock of its own": Case(
        "wrong-kind", "agent a\n    state m 1 bit, reset 0, on own clock\n        next m",
        "agent a, on own clock\n    state m 1 bit, reset 0\n        next m", "own clock", "say it of the agent"),
    "a strobe in no phase": Case(
        "wrong-kind", "clock clk (low, high)\nstrobe go on clk", "clock clk (low, high)\nstrobe go on low", "clk"),
    "what holds the clock stands still itself": Case(
        "held-for-ever", "clock clk\n    held while go and a\nstate a 1 bit, reset 0\n    next not a",
        "clock clk\n    held while go and a\nstate a 1 bit, reset 0, on oscillator\n    next not a", "go and a"),
    "a latch that is open in another phase": Case(
        "out-of-phase", "clock clk (low, high)\nlatch a 4 bits, loads target when go and low",
        "clock clk (low, high)\nlatch a 4 bits, loads target when go and low, on low", "go and low", "on low"),
    "a latch of which no phase is said": Case(
        "latch-phase", "clock clk (low, high)\nrule \"r\" reach low\nlatch a 4 bits, loads target when go",
        "clock clk (low, high)\nrule \"r\" reach low\nlatch a 4 bits, loads target when go and high", "a"),
    "a latch that may be open while the clock is held": Case(
        "latch-phase",
        "clock clk (low, high)\n    held while up\ninput up 1 bit\nlatch a 4 bits, loads target when go",
        "clock clk (low, high)\n    held while up\ninput up 1 bit\nlatch a 4 bits, loads target when go, on clk",
        "a", "on high"),
    "an input on the clock cannot let it go": Case(
        "held-for-ever", "clock clk\n    held while stop\ninput stop 1 bit on clk",
        "clock clk\n    held while stop\ninput stop 1 bit", "stop"),
}
CASES |= NO_CLOCK


def with_lines(case: Case, lines: str) -> str:
    frame = FRAME
    if "starts at" in case.instead:
        frame = FRAME.replace("    address upc\n", "    address upc\n    starts at ir[3:0]\n") + "register ir 8 bits\n"
    if "second.word" in case.faulty:
        second = "store second 16 words of 4 bits\n    address target\nregister ir 4 bits\n"
        return frame.replace("    address upc\n", lines + "\n") + second
    if not case.instead:
        return frame + lines + "\n"
    assert frame.count(case.instead) == 1, case.instead
    return frame.replace(case.instead, lines)


@pytest.mark.parametrize("case", CASES.values(), ids=CASES.keys())
def test_the_fault_is_found_once_and_at_its_place(case: Case) -> None:
    _, findings = understood(with_lines(case, case.faulty))
    assert sorted(item.name for item in findings) == sorted(case.names.split()), shown(findings)
    first = findings[0]
    assert first.span is not None and first.span.text == case.at
    assert case.says in first.message + first.help + first.label + "".join(place.label for place in first.places)
    assert all(item.help for item in findings), "every finding has a way out"


@pytest.mark.parametrize("case", CASES.values(), ids=CASES.keys())
def test_a_step_away_there_is_nothing_to_find(case: Case) -> None:
    _, findings = understood(with_lines(case, case.sound))
    assert findings == [], shown(findings)


def test_the_frame_itself_is_sound() -> None:
    assert understood(FRAME)[1] == []


def test_a_machine_needs_a_store() -> None:
    machine, findings = understood("machine small\n")
    assert machine is None and [item.name for item in findings] == ["no-store"]


def test_a_machine_needs_fields() -> None:
    _, findings = understood("machine small\ninput a 4 bits\nstore control 16 words of 8 bits\n    address a\n")
    assert [item.name for item in findings] == ["no-fields"]


def names_in_source() -> set[str]:
    """Every name of a finding that the package can make."""
    names = set()
    for path in MACHINE.glob("*.py"):
        if path.name == "effects.py":       # about the microprogram: tests/meaning/test_reading.py
            continue
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in ("error", "note"):
                names |= {part.value for part in ast.walk(node.args[0]) if isinstance(part, ast.Constant)}
    return {name for name in names if isinstance(name, str)}


def test_every_fault_has_a_case() -> None:
    tested = {name for case in CASES.values() for name in case.names.split()} | {"no-store", "no-fields"}
    assert names_in_source() == tested
