"""A barrel organ: a sequencer with a mapping store and a wind chest that must be asked. Faults of sequencing, of
assumptions and of things that never happen are planted here."""

from tests.planted.plant import Planted, Sound

MACHINE = """\
machine organ "barrel organ"
microprogram "m.micro"

store control 16 words of 16 bits
    address upc

field branch 2 bits
    step    0 idle
    jump    1
    decode  2
    if_wind 3
field target 4 bits address, idle 0
field level 2 bits
    soft   0 idle
    medium 1
    loud   2
field read 1 bit
field take 1 bit
field blow 1 bit
field ring 1 bit
spare 4 bits

store entry 4 words of 4 bits
    address op
    word    start of instruction

chip U1 16 x 8
    holds   control[15:8]
    address upc
    erased  ones
chip U2 16 x 8
    holds   control[7:0]
    address upc
    erased  ones
chip U3 4 x 4
    holds   entry[3:0]
    address op
    erased  ones

state upc 4 bits, reset 0
    next choose branch
        step   : upc + 1
        jump   : target
        decode : entry.word
        if_wind: target if chest.full else upc + 1
register op 2 bits, loads data when take
state bars 3 bits, reset 0
    next bars + 1 if ring else bars

bus data 2 bits, floats
    driven by drum when read
    sampled by op  when take

strobe ring
keep bars while not ring

agent chest "wind chest"
    input leak 1 bit
    state air (empty, filling, ready), reset empty
        next choose air
            empty  : filling if blow else empty
            filling: ready
            ready  : empty if leak else ready
    signal full = air is ready
assume not (blow and chest.leak)

home start

order goto <there>    : branch jump, target <there>
order if wind <there> : branch if_wind, target <there>
order decode          : branch decode
order quiet           : branch step
"""

MICRO = """\
routine start at 0
  pump: blow, if wind turn
        goto pump
  turn: take, op <- drum
        decode
routine rest
        goto start
instruction 0 "pause"
        goto start
instruction 1 "bell"
        ring, level medium, goto start
instruction others "chord"
        quiet
        level loud, goto rest
"""

ORGAN = Sound(MACHINE, MICRO)

PLANTED = (
    Planted("a target where nothing stands", ORGAN, "nowhere",
            (("        level loud, goto rest", "        level loud, branch jump, target 15"),), "target 15",
            "control arrives at 0xF", also=("undefined-code", "stuck", "unreachable")),
    Planted("an opcode that has no instruction", ORGAN, "nowhere",
            (("instruction others \"chord\"", "instruction 2 \"chord\""),), "decode",
            "cell 0x3 of mapping store `entry`", also=("undefined-code", "stuck")),
    Planted("a jump to itself", ORGAN, "stuck",
            (("instruction 0 \"pause\"\n        goto start\n", "instruction 0 \"pause\"\n  halt: goto halt\n"),),
            "halt: goto halt", "no input sequence leads back to home"),
    Planted("a chest that keeps its air", ORGAN, "stuck",
            (("        quiet\n        level loud", "  hold: if wind hold\n        level loud"),
             ("ready  : empty if leak else ready", "ready  : ready")), "hold: if wind", "no input sequence leads back",
            also=("unreachable",)),
    Planted("the branch to the routine is missing", ORGAN, "unreachable",
            (("        level loud, goto rest", "        level loud, goto start"),), "goto start",
            "`rest` is never executed"),
    Planted("a word behind a jump", ORGAN, "unreachable",
            (("        ring, level medium, goto start", "        ring, level medium, goto start\n        goto rest"),),
            "goto rest", "no sequence executes"),
    Planted("an erased cell that is executed on purpose", ORGAN, "undefined-code",
            (("home start", "home start\nallow nowhere \"the last word is a patch socket\"\n"
              "allow unreachable at rest \"while it is patched\""),
             ("        level loud, goto rest", "        level loud, branch jump, target 15"),
             ("[15:8]\n    address upc\n    erased  ones", "[15:8]\n    address upc\n    erased  zeros"),
             ("erased  zeros", "erased  ones")), "field level", "`level` holds 3", also=("stuck",)),
    Planted("an erased entry that leads into erased cells", ORGAN, "undefined-code",
            (("home start", "home start\nallow nowhere \"patched\""),
             ("instruction others \"chord\"", "instruction 2 \"chord\""),
             ("[15:8]\n    address upc\n    erased  ones", "[15:8]\n    address upc\n    erased  zeros"),
             ("erased  zeros", "erased  ones")), "field level", "`level` holds 3", also=("stuck",)),
    Planted("an assumption that nobody can keep", ORGAN, "over-assumed",
            (("assume not (blow and chest.leak)", "assume not (blow and chest.leak)\n"
              "assume chest.leak or not level is loud"),
             ("assume chest.leak or not level is loud", "assume chest.leak or not (level is loud or blow)")), "assume",
            "the assumptions leave no input"),
    Planted("assumptions that part after a while", ORGAN, "over-assumed",
            (("home start", "home start\nassume not chest.leak or bars < 7"),
             ("not chest.leak or bars < 7", "not chest.leak or bars < 7\nassume chest.leak or bars is not 7")),
            "assume", "the assumptions leave no input"),
    Planted("an allowance for something that was mended", ORGAN, "stale-allowance",
            (("home start", "home start\nallow unreachable at rest \"kept for later\""),), "allow unreachable",
            "allows nothing"),
    Planted("an allowance at the wrong place", ORGAN, "stale-allowance",
            (("    driven by drum when read", "    driven by drum when read\n    driven by stop when take"),
             ("home start", "home start\nallow contention on data at start.turn \"the same level\""),
             ("at start.turn \"the same", "at start.pump \"the same")), "allow contention", "allows nothing",
            also=("contention",)),
    Planted("a strobe that never comes", ORGAN, "vacuous",
            (("        ring, level medium, goto start", "        level medium, goto start"),), "strobe ring",
            "strobe `ring` can never occur"),
    Planted("a rule about a bell that never rings so", ORGAN, "vacuous",
            (("home start", "home start\n"
              "rule \"loud bells\" when ring and level is medium then at start within 1 cycle"),
             ("when ring and level is medium", "when ring and level is loud")), "rule \"loud bells\"",
              "want of anything"),
    Planted("a part of a rule that cannot occur", ORGAN, "vacuous",
            (("home start", "home start\nrule \"quiet pumping\" never blow and level is loud"),
             ("never blow and level is loud", "never blow and level is 3")), "quiet pumping",
              "`level is 3` never occurs"),
    Planted("a sampling that never comes", ORGAN, "vacuous",
            (("    sampled by op  when take",
              "    sampled by op  when take\n    sampled by gauge when take and bars is 7"),
             ("when take and bars is 7", "when take and ring")), "sampled by gauge", "sampling of `data` by `gauge`"),
)
