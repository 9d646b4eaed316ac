"""A canal lock: two gates, a keeper and boats, and a long count. Faults of rules of every form are planted here,
some of them hundreds of cycles deep."""

from tests.planted.plant import Planted, Sound

MACHINE = """\
machine lock "canal lock"
microprogram "m.micro"

store control 16 words of 16 bits
    address upc
    unused  goto idle

field branch 2 bits
    step     0 idle
    jump     1
    if_boat  2
    if_level 3
field target 4 bits address, idle 0
field upper 1 bit
field lower 1 bit
field valve 1 bit
field alarm 1 bit
spare 6 bits

state upc 4 bits, reset 0
    next choose branch
        step    : upc + 1
        jump    : target
        if_boat : target if boat_2 else upc + 1
        if_level: target if level is 15 else upc + 1
state boat_1 1 bit, reset 0
    next boats.waits
state boat_2 1 bit, reset 0
    next boat_1
state level 4 bits, reset 0
    next level + 1 if valve and level is not 15 else (0 if lower else level)
state locked 4 bits, reset 0
    next locked + 1 if upper and not counted else locked
state counted 1 bit, reset 0
    next upper

agent boats "boats from above"
    input comes 1 bit, patient 1 bit
    state queue (nobody, waiting, inside), reset nobody
        next choose queue
            nobody : waiting if comes else nobody
            waiting: inside if upper else (waiting if patient else nobody)
            inside : nobody if lower else inside
    signal waits = queue is waiting

home idle

rule "never both gates"            never upper and lower
rule "no gate against the water"   never upper and level is not 15
rule "a boat gets in"              reach boats.queue is inside
rule "always another boat"         always reach boats.waits and upper
rule "boats are served"            when boat_2 and boats.waits then upper within 40 cycles unless not boats.waits
rule "the gate opens soon"         when upper then lower within 3 cycles
rule "dry between"                 between upper and lower never valve
rule "no alarm once it is full"    between valve and lower never alarm after level is 15
rule "no filling before emptying"  after upper never valve until lower

order goto <there>     : branch jump, target <there>
order if boat <there>  : branch if_boat, target <there>
order if full <there>  : branch if_level, target <there>
order quiet            : branch step
"""

MICRO = """\
routine idle at 0
        if boat fill
        goto idle
routine fill
  more: valve, if full open
        alarm, goto more
routine open
        quiet
        upper
        quiet
        lower
        goto idle
"""

LOCK = Sound(MACHINE, MICRO)

PLANTED = (
    Planted("both gates", LOCK, "never", (("        lower\n", "        lower, upper\n"),), "lower, upper",
            "never both gates", also=("between-never", "after-never")),
    Planted("the gate opens before it is full", LOCK, "never",
            (("level is 15 else upc + 1", "level > 12 else upc + 1"),), "upper", "no gate against the water",
            also=("vacuous",)),
    Planted("the count runs over after ten locks", LOCK, "never",
            (("rule \"dry between\"", "rule \"not too many\" never locked is 11 and lower\nrule \"dry between\""),
             ("locked + 1 if upper and not counted else locked", "locked + 1 if upper and locked < 13 else locked"),
             ("never locked is 11", "never locked is 10 and level is 3"),
             ("is 10 and level is 3", "is 10 and level is 15")), "lower", "not too many"),
    Planted("a gate that is not wired to the boats", LOCK, "reach",
            (("waiting: inside if upper else", "waiting: inside if upper and valve else"),), "rule \"a boat gets in\"",
            "no sequence reaches"),
    Planted("the count stops at seven", LOCK, "reach",
            (("rule \"dry between\"", "rule \"the twelfth boat\" reach locked is 12\nrule \"dry between\""),
             ("locked + 1 if upper and not counted else locked",
              "{0b0, locked[2:0] + 1} if upper and not counted else "
              "locked"),), "rule \"the twelfth boat\"", "no sequence reaches"),
    Planted("the fifteenth boat closes the lock", LOCK, "always-reach",
            (("if_boat : target if boat_2 else", "if_boat : target if boat_2 and locked is not 15 else"),), "goto idle",
            "always another boat", also=("when-then",)),
    Planted("a valve that does not count on", LOCK, "always-reach",
            (("if valve and level is not 15", "if valve and level < 14"),), "goto idle", "always another boat",
            also=("stuck", "unreachable", "vacuous", "when-then", "reach")),
    Planted("a longer way to the gate", LOCK, "when-then",
            (("        upper\n        quiet\n        lower",
              "        upper\n        quiet\n        quiet\n        quiet\n"
              "        lower"),), "quiet", "the response can take 4 cycles (3 cycles allowed)"),
    Planted("a wait that can last for ever", LOCK, "when-then",
            (("        upper\n        quiet\n", "        upper\n  wait: if boat wait\n"),
             ("within 3 cycles", "within 4 cycles"), ("waits = queue is waiting", "waits = queue is waiting or comes")),
            "wait: if boat", "can fail to come at all"),
    Planted("one cycle too many for the boats", LOCK, "when-then",
            (("within 40 cycles unless", "within 36 cycles unless"), ("within 36", "within 35")), "quiet",
            "the response can take 36 cycles (35 cycles allowed)"),
    Planted("water runs between the gates", LOCK, "between-never",
            (("        upper\n        quiet\n", "        upper\n        valve\n"),), "valve", "dry between",
            also=("after-never",)),
    Planted("an alarm when it is full", LOCK, "between-never",
            (("        quiet\n        upper\n", "        alarm\n        upper\n"),), "alarm",
            "no alarm once it is full"),
    Planted("the gate opens while the alarm rings", LOCK, "after-never",
            (("rule \"dry between\"",
              "rule \"alarms end\" after alarm never upper until level is 15\nrule \"dry between\""),
             ("level is 15 else upc + 1", "level > 12 else upc + 1")), "upper", "alarms end",
            also=("never", "vacuous")),
    Planted("the valve is opened in the dark", LOCK, "after-never",
            (("        upper\n        quiet\n", "        upper\n        quiet, valve\n"),), "quiet, valve",
            "no filling before emptying", also=("between-never",)),
)
