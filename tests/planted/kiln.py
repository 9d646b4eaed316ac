"""A pottery kiln: a store addressed by instruction and step, with a flag on an address line. Faults of arms are planted
here."""

from tests.planted.plant import Planted, Sound

MACHINE = """\
machine kiln "pottery kiln"
microprogram "m.micro"

store control 32 words of 6 bits
    address     {hot, op, step}
    instruction op
    step        step

field last 1 bit
field next 1 bit
field look 1 bit
field fire 1 bit
field vent 1 bit
spare 1 bit

state op 1 bit, reset 0
    next order if next else op
state step 3 bits, reset 0
    next 0 if last else step + 1
state hot 1 bit, reset 0
    next cone if look else hot
input order 1 bit, cone 1 bit
home step is 0
"""

MICRO = """\
prologue
        next
instruction 0 "hold"
        look
        when hot
                vent
                vent, last
        otherwise
                fire
                fire, last
instruction 1 "cool"
        vent, look, last
"""

KILN = Sound(MACHINE, MICRO)

PLANTED = (
    Planted("a flag that is read again in the middle of an arm", KILN, "torn",
            (("                fire\n", "                fire, look\n"),), "fire, look",
            "control goes over from `hold+1 otherwise`"),
    Planted("arms of which one is shorter", KILN, "torn",
            (("                vent\n                vent, last\n", "                vent\n"),
             ("                fire\n                fire, last\n", "                fire\n"),
             ('instruction 1 "cool"', '        fire, look\n        last\ninstruction 1 "cool"'),
             ("                vent\n", "                vent\n                vent\n")), "fire, look",
            "control goes over", also=("nowhere",)),
)
