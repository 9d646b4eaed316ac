"""A machine with much that moves by itself: a timer that nobody sets, a refresh counter, a serial receiver, interrupts
of three levels, two channels that take the bus from the processor; and a sequencer with a counter of loops and a stack
of subroutines. What its instructions do is up to chance, always the same; two faults are in it on purpose."""

from random import Random

from benchmarks.styles.source import Source

MACHINE = """\
machine otter "16 bits; a sequencer with loops, a timer, a serial line, three levels of interrupt, two channels"
microprogram "bench.micro"
store cs 1024 words of 40 bits
    address pipe
    unused seq jump, to trap
field seq 4 bits
    cont 0 idle
    jump 1
    cjump 2
    call 3
    ret 4
    push 5
    loop 6
    map 7
    ldct 8
    rpct 9
    cret 10
    twoway 11
field to 10 bits address, idle 0
field cond 4 bits
    true 0 idle
    z 1
    c 2
    n 3
    irq 4
    granted 5
    timer 6
    rxfull 7
    ready 8
    busreq 9
field src 3 bits
    nosrc 0 idle
    acc 1
    xreg 2
    mdr 3
    alu 4
    status 5
    serial 6
    timerv 7
field dst 3 bits
    nodst 0 idle
    dacc 1
    dx 2
    dmdr 3
    dmar 4
    dir 5
    dstat 6
    dtim 7
field mem 2 bits
    nomem 0 idle
    rd 1
    wr 2
    ack 3
field breq 1 bit
field aen 1 bit
field setf 1 bit
field num 8 bits, idle any
spare 3 bits
# pipeline: next address chosen from the word in the pipeline register
state pipe 10 bits, reset 0
    next choose seq
        cont  : pipe + 1
        jump  : to
        cjump : to if test else pipe + 1
        call  : to
        ret   : s0
        push  : pipe + 1
        loop  : s0 if count is not 0 else pipe + 1
        map   : entry
        ldct  : pipe + 1
        rpct  : to if count is not 0 else pipe + 1
        cret  : s0 if test else pipe + 1
        twoway: s0 if test else to
        otherwise: 0x3FF
state s0 10 bits, reset any
    next pipe + 1 if seq in (call, push) else (s1 if seq in (ret, cret) and (test or seq is ret) else s0)
state s1 10 bits, reset any
    next s0 if seq in (call, push) else (s2 if seq in (ret, cret) and (test or seq is ret) else s1)
state s2 10 bits, reset any
    next s1 if seq in (call, push) else s2
state count 8 bits, reset any
    next num if seq is ldct else (count - 1 if seq in (loop, rpct) else count)
store entry 256 words of 10 bits
    address ir
    word start of instruction
register ir 8 bits, loads data when dst is dir
state fz 1 bit, reset any
    next aluz if setf else fz
state fc 1 bit, reset any
    next aluc if setf else fc
state fn 1 bit, reset any
    next alun if setf else fn
condition aluz 1 bit
condition aluc 1 bit
condition alun 1 bit
signal test = choose cond
    true: 0b1
    z: fz
    c: fc
    n: fn
    irq: pending
    granted: grant_cpu
    timer: timer is 0
    rxfull: rx_count is 10
    ready: ready_2
    busreq: ch0_req or ch1_req
    otherwise: 0
# timer
state timer 8 bits, reset any
    next timer - 1
# serial receiver
input rx 1 bit
state rx_count 4 bits, reset 0
    next (0 if rx else 1) if rx_count is 0 else
        (0 if rx_count is 10 and src is serial else (rx_count if rx_count is 10 else rx_count + 1))
# ready synchroniser
input ready 1 bit
state ready_1 1 bit, reset 0
    next ready
state ready_2 1 bit, reset 0
    next ready_1
# interrupts
input int 3 bits
state level 2 bits, reset 0
    next 0 if dst is dstat else (3 if int[2] else 2 if int[1] and level < 2 else 1 if int[0] and level < 1 else level)
signal pending = level is not 0
# refresh
state refc 6 bits, reset 0
    next refc + 1
signal ref_want = refc is 63
state ref_req 1 bit, reset 0
    next 1 if ref_want else (0 if ref_on else ref_req)
# arbiter: refresh, ch0, ch1, cpu
state grant (none, g_ref, g_0, g_1, g_cpu), reset none
    next choose grant
        none : g_ref if ref_req else g_0 if ch0_req else g_1 if ch1_req else g_cpu if breq else none
        g_ref: none
        g_0  : g_0 if ch0_req else none
        g_1  : g_1 if ch1_req else none
        g_cpu: g_cpu if breq else none
signal ref_on = grant is g_ref
signal grant_cpu = grant is g_cpu
agent ch0 "disk channel"
    input go 1 bit
    state left 3 bits, reset 0
        next (0b111 if go else 0) if left is 0 else (left - 1 if grant is g_0 else left)
    signal req = left is not 0
signal ch0_req = ch0.req
agent ch1 "tape channel"
    input go 1 bit
    state left 4 bits, reset 0
        next (0b1010 if go else 0) if left is 0 else (left - 1 if grant is g_1 else left)
    signal req = left is not 0
signal ch1_req = ch1.req
register acc 16 bits, loads inner when dst is dacc
register xreg 16 bits, loads inner when dst is dx
register mdr 16 bits
    loads inner when dst is dmdr
    loads {0x00, data} when dst is dmdr and mem is rd
register mar 16 bits, loads inner when dst is dmar
bus inner 16 bits, floats
    driven by acc when src is acc
    driven by xreg when src is xreg
    driven by alu when src is alu
    driven by status when src is status
    driven by serial when src is serial
    driven by timerv when src is timerv
    driven by inbuf when src is mdr and mem is not wr, follows data
bus data 8 bits, pulled high, turnaround 1
    driven by memory when mem is rd and grant_cpu, follows address
    driven by mdr_low when mem is wr and grant_cpu
    driven by ch0 when grant is g_0 and ch0.req, steady while grant is g_0
    driven by ch1 when grant is g_1 and ch1.req, steady while grant is g_1
bus address 16 bits, floats
    driven by mar when grant_cpu and aen
    driven by ch0 when grant is g_0, steady while grant is g_0
    driven by ch1 when grant is g_1, steady while grant is g_1
    driven by refresher when ref_on
    sampled by memory when mem is rd and grant_cpu
strobe wr_pulse
    address steady 1 cycle before, 1 cycle after
signal wr_pulse = mem is wr and grant_cpu
keep acc, xreg while ref_on and dst is nodst
exclusive ref_on, grant_cpu
home fetch
rule "interrupt gets in" when pending then at intr within 4000 cycles unless level is 0
rule "always back" always reach at fetch
rule "grant before memory" never mem in (rd, wr) and not grant_cpu
rule "refresh in time" when ref_req then ref_on within 40 cycles
rule "no trap" never at trap
rule "write possible" reach wr_pulse
rule "ch0 served" when ch0.req then grant is g_0 within 40 cycles
rule "between" between at fetch and at fetch never seq is push and mem is wr
order goto <t> : seq jump, to <t>
order if <c> goto <t> : seq cjump, cond <c>, to <t>
order call <t> : seq call, to <t>
order return : seq ret
order get bus : breq, aen
"""

ROUTINES = """\
routine fetch at 0
        seq cjump, cond irq, to intr
        src xreg, dst dmar
  w:    breq, aen, seq cjump, cond granted, to got
        breq, aen, goto w
  got:  breq, aen, mem rd, dst dir
        breq, aen
        seq map
routine intr
        src status, dst dacc
        dst dstat
        goto fetch
routine trap
        goto trap
routine readop
        src xreg, dst dmar
  w:    breq, aen, seq cjump, cond granted, to got
        breq, aen, goto w
  got:  breq, aen, mem rd, dst dmdr, src nosrc
        breq, aen
        return
routine writeop
  w:    breq, aen, seq cjump, cond granted, to got
        breq, aen, goto w
  got:  breq, aen
        breq, aen, mem wr
        breq, aen
        return
routine delay
        seq ldct, num 40
  l:    seq rpct, to l
        return
"""


def timers(instructions: int) -> Source:
    """The machine with so many instructions."""
    choose = Random(1)
    parts = [ROUTINES, *(_instruction(number, choose) for number in range(instructions)),
             'instruction others "bad"\n        goto fetch\n']
    return Source(MACHINE, "".join(parts))


def _instruction(number: int, choose: Random) -> str:
    words = [_step(number, step, choose) for step in range(choose.randint(3, 14))]
    return f'instruction {number} "op{number}"\n' + "\n".join([*words, f"  end{number}: goto fetch"]) + "\n"


def _step(number: int, step: int, choose: Random) -> str:
    """A word or a few."""
    target = choose.choice(("dacc", "dx", "dmar", "dmdr"))
    source = choose.choice(("acc", "xreg", "alu", "status"))
    flag = choose.choice(("z", "c", "n", "timer", "rxfull"))
    ways = ((7, f"        src {source}, dst {target}"), (2, "        call readop"), (2, "        call writeop"),
            (2, f"        if {flag} goto end{number}"), (1, "        call delay"),
            (1, f"        seq ldct, num {choose.randint(1, 60)}\n"
                f"  lp{step}: src alu, dst dacc, seq rpct, to lp{step}"),
            (1, "        src serial, dst dacc"), (3, f"        src alu, dst {target}, setf"),
            (1, f"  r{step}:  if ready goto s{step}\n        goto r{step}\n  s{step}:  src timerv, dst dx"))
    return choose.choices([text for _, text in ways], [weight for weight, _ in ways])[0]
