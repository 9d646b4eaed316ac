"""A siding with a set of points: two ways out of one address field. What the text must name is planted here."""

from tests.planted.plant import Planted, Sound

MACHINE = """\
machine siding "a siding of which the points are set by a treadle"
microprogram "m.micro"

store control 16 words of 8 bits
    address upc
    unused  goto rest

field seq 2 bits
    step 0 idle
    jump 1
    test 2
    over 3
field target 4 bits address, idle 0
field left 1 bit
field turn 1 bit

state upc 4 bits, reset 0
    next choose seq
        step: upc + 1
        jump: target
        test: {target[3:1], target[0] or pressed_2}
        over: {page, target[1:0]}
state page 2 bits, reset 0
    next target[3:2] if turn else page
state pressed_1 1 bit, reset 0
    next treadle
state pressed_2 1 bit, reset 0
    next pressed_1
input treadle 1 bit

home rest

order goto <there>         : seq jump, target <there>
order either <no> <yes>    : seq test, target pair(<no>, <yes>)
order page of <there>      : turn, target part(<there>)
order over <there>         : seq over, target part(<there>)
"""

MICRO = """\
routine rest at 0
        either still coming
routine still
        goto near
routine coming
        left, page of far
        over far
routine far at 13
        left
        goto rest
routine near
        goto rest
"""

SOUND = Sound(MACHINE, MICRO)

PLANTED = (
    Planted("the page that nobody loads", SOUND, "strays", (("        left, page of far\n", "        left\n"),),
            "over far", "from `coming+1` (0x4) to `near` (0x1), which it does not name", also=("unreachable",)),
    Planted("a condition at one more input of the multiplexer", SOUND, "strays",
            (("jump: target\n", "jump: target or {0b000, pressed_2}\n"),), "goto rest",
            "to `near` (0x1), which it does not name"),
)
