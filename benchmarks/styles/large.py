"""A large machine: a control word in twelve PROMs behind a pipeline register, and most of what can stand beside one.

A stack of microsubroutines four deep; two DMA masters and a refresh counter in a daisy chain; pages that may be
absent, so that an instruction is begun anew after the page was fetched; wait states; eight interrupt lines with a mask;
a panel.
The microprogram has a routine for each of 24 to 96 instructions, drawn by a seed: operands by mode subroutines, which
call a memory subroutine, which calls another.
"""

import random
from collections.abc import Iterator

from benchmarks.styles.source import Source, rules


def large(instructions: int, seed: int = 11) -> Source:
    rng = random.Random(seed)
    return Source(_machine(), "\n".join(_micro(instructions, rng)) + "\n")


def _machine() -> str:
    chips = "\n".join(f"chip U{one + 1} 4096 x 8\n    holds   control[{95 - 8 * one}:{88 - 8 * one}]\n"
                      "    address active" for one in range(12))
    lines = "\n".join(f"input irq{one} 1 bit\nstate irq{one}_1 1 bit, reset 0\n    next irq{one}\n"
                      f"state irq{one}_2 1 bit, reset 0\n    next irq{one}_1\n"
                      f"state pending{one} 1 bit, reset 0\n"
                      f"    next 0 if served is {one} and accept and go else (irq{one}_2 or pending{one})"
                      for one in range(8))
    return _MACHINE.replace("CHIPS", chips).replace("LINES", lines).replace("MASTERS", _masters()) + rules(
        fault="(disk.owns or net.owns or refresher.owns) and write", start="at fetch", end="branch is dispatch",
        rare="read", other="write", goal="write and go", home="at fetch", asked="asked and at fetch.look",
        answer="grant or faulted", within=24, forgiven="waiting or panel.stops or not go", long=200)


def _masters() -> str:
    names = ("refresher", "disk", "net")
    parts = []
    for place, one in enumerate(names):
        free = ["grant", f"{one}_2", *(f"not {other}.asks" for other in names[:place]),
                *(f"not {other}.owns" for other in names[place + 1:]), "not panel.has"]
        burst = "" if one == "refresher" else "\n        ".join((
            "\n    state left 3 bits, reset 0", "next choose mode", "    owning    : left - 1",
            "    otherwise : 7"))
        wants = "row_due" if one == "refresher" else "wants"
        ends = "1" if one == "refresher" else "left is 0 or not wants"
        parts.append(f"state {one}_1 1 bit, reset 0\n    next {one}.asks\nstate {one}_2 1 bit, reset 0\n"
                     f"    next {one}_1\nagent {one}"
                     + ("" if one == "refresher" else "\n    input wants 1 bit")
                     + "\n    state mode (idle, asking, owning, leaving), reset idle\n        next choose mode\n"
                     f"            idle    : asking if {wants} else idle\n"
                     f"            asking  : owning if {' and '.join(free)} else asking\n"
                     f"            owning  : leaving if {ends} else owning\n"
                     "            leaving : idle if not grant else leaving"
                     + burst
                     + "\n    signal asks = mode in (asking, owning)\n    signal owns = mode is owning\n")
    return "".join(parts)


_MACHINE = """machine large "a control word in twelve PROMs behind a pipeline register"
microprogram "bench.micro"

store control 4096 words of 96 bits
    address active
    unused  restart
    starts  at {0b1, ir[6:0], 0b0000}
    instruction ir[6:0]

CHIPS

field branch 3 bits
    step     0 idle
    jump     1
    test     2                      # the word at `target` if the tested line is 1
    dispatch 3
    call     4
    back     5
    again    6                      # the instruction that could not be finished
    restart  7
field line 5 bits, idle any
    zero     0
    carry    1
    minus    2
    over     3
    asked    4                      # a master wants the buses
    urgent   5                      # an interrupt that is not masked
    done     6                      # the loop counter is 0
    stopped  7                      # the panel
    dirty    8
    mode0    9
    mode1   10
    faulted 11
    odd     12
field target 12 bits address, idle 0
field literal 8 bits, idle any
field source 4 bits                 # who drives data
    none    0 idle
    memory  1
    acc     2
    temp    3
    sum     4
    literal 5
    pc_low  6
    pc_high 7
    sp_low  8
    status  9
    page   10
    loops  11
    port   12
field load 4 bits                   # who takes it
    none    0 idle
    ir      1
    acc     2
    temp    3
    mar_low 4
    mar_high 5
    page    6
    status  7
    loops   8
    mask    9
    out    10
    pc_low 11
    pc_high 12
field pointer 3 bits                # who drives address
    none    0 idle
    mar     1
    pc      2
    sp      3
    table   4
field function 4 bits, idle any
    add     0
    subtract 1
    both    2
    either  3
    differ  4
    pass    5
    increase 6
    decrease 7
    shift   8
field move 3 bits
    stay    0 idle
    pc_up   1
    sp_up   2
    sp_down 3
    mar_up  4
    pc_jump 5
field loop 1 bit                    # loops counts down
field keep_flags 1 bit
field read     1 bit, active low
field write    1 bit, active low
field mapped   1 bit                # the access goes by the page table
field begin    1 bit                # an instruction begins here
field commit   1 bit                # from here on it cannot be begun anew
field grant    1 bit, active low
field accept   1 bit
field attend 2 bits
    leave   0 idle
    allow   1
    forbid  2
field forget   1 bit                # the fault is dealt with
field show     1 bit
field out_pulse 1 bit
field lamps    4 bits, idle 0
field probe   24 bits, idle 0       # brought out to a connector
spare 7 bits
field check    1 bit = odd parity of {control[95:1]}

order goto <there>           : branch jump, target <there>
order if <what> goto <there> : branch test, line <what>, target <there>
order call <there>           : branch call, target <there>
order back                   : branch back
order dispatch               : branch dispatch
order again                  : branch again
order restart                : branch restart
order pc_up                  : move pc_up
order pc_jump                : move pc_jump
order sp_up                  : move sp_up
order sp_down                : move sp_down
order mar_up                 : move mar_up
order allow                  : attend allow
order forbid                 : attend forbid
order let go                 :

# ---- the sequencer

state active 12 bits, reset 0       # what the pipeline register was loaded from
    next active if not go else (0x020 if faulting else following)
state upc 12 bits, reset 1          # the word behind it
    next upc if not go else ((0x020 if faulting else following) + 1)
signal following = choose branch
    step      : upc
    jump      : target
    test      : target if tested else upc
    dispatch  : {0b1, ir[6:0], 0b0000}
    call      : target
    back      : choose depth
        1 : stack0
        2 : stack1
        3 : stack2
        4 : stack3
        otherwise : 0
    again     : begun
    otherwise : 0
signal tested = choose line
    zero      : flag_zero
    carry     : flag_carry
    minus     : flag_minus
    over      : flag_over
    asked     : asked
    urgent    : urgent
    done      : loops is 0
    stopped   : panel.stops
    dirty     : flag_dirty
    mode0     : mode[0]
    mode1     : mode[1]
    faulted   : faulted
    odd       : flag_zero xor flag_carry
    otherwise : 0
state depth 3 bits, reset 0
    next depth if not go else 0 if faulting or branch in (again, restart)
        else depth + 1 if branch is call else depth - 1 if branch is back else depth
state stack0 12 bits, reset any
    next upc if go and branch is call and depth is 0 else stack0
state stack1 12 bits, reset any
    next upc if go and branch is call and depth is 1 else stack1
state stack2 12 bits, reset any
    next upc if go and branch is call and depth is 2 else stack2
state stack3 12 bits, reset any
    next upc if go and branch is call and depth is 3 else stack3

# ---- instructions begun anew

state begun 12 bits, reset 0
    next active if begin and go else begun
condition absent 1 bit
signal faulting = mapped and (read or write) and absent and not committed
state faulted 1 bit, reset 0
    next 0 if forget and go else (1 if faulting and go else faulted)
state committed 1 bit, reset 0
    next 0 if begin and go else (1 if commit and go else committed)

# ---- clock: stretched by slow memory, stopped by the panel between instructions

input ready 1 bit
state ready_1 1 bit, reset 0
    next ready
state ready_2 1 bit, reset 0
    next ready_1
signal waiting = (read or write) and mar_top[1] and not ready_2
signal go = not waiting and not panel.holds
register mar_top 2 bits, reset any
    loads data[7:6] when load is mar_high and go

# ---- interrupts

LINES
register mask 8 bits, reset 0
    loads data[7:0] when load is mask and go
state enabled 1 bit, reset 0
    next choose attend
        leave     : 0 if accept and go else enabled
        allow     : 1 if go else enabled
        forbid    : 0 if go else enabled
        otherwise : enabled
signal open = mask and {pending7, pending6, pending5, pending4, pending3, pending2, pending1, pending0}
signal served = 7 if open[7] else 6 if open[6] else 5 if open[5] else 4 if open[4] else 3 if open[3]
    else 2 if open[2] else 1 if open[1] else 0b000
signal urgent = enabled and open is not 0

# ---- data

register ir 8 bits, reset any
    loads data[7:0] when load is ir and go
register mode 2 bits, reset any
    loads data[7:6] when load is ir and go
condition sum_zero 1 bit
condition sum_carry 1 bit
condition sum_minus 1 bit
condition sum_over 1 bit
register flag_zero 1 bit, reset any
    loads sum_zero when keep_flags and go
register flag_carry 1 bit, reset any
    loads sum_carry when keep_flags and go
register flag_minus 1 bit, reset any
    loads sum_minus when keep_flags and go
register flag_over 1 bit, reset any
    loads sum_over when keep_flags and go
register flag_dirty 1 bit, reset 0
    loads 1 when write and mapped and go and not load_status
    loads data[0] when load_status
signal load_status = load is status and go
register loops 5 bits, reset any
    loads data[4:0] when load is loops and go
    loads loops - 1 when loop and go and load is not loops
register acc 8 bits
    loads data when load is acc and go
register temp 8 bits
    loads data when load is temp and go
register page 8 bits
    loads data when load is page and go
register out 8 bits
    loads data when load is out and go
register mar 16 bits
    loads {mar[15:8], data} when load is mar_low and go
    loads {data, mar[7:0]} when load is mar_high and go
    loads mar + 1 when move is mar_up and go
register pc 16 bits
    loads {pc[15:8], data} when load is pc_low and go
    loads {data, pc[7:0]} when load is pc_high and go
    loads pc + 1 when move is pc_up and go
    loads mar when move is pc_jump and go
register sp 16 bits
    loads sp + 1 when move is sp_up and go
    loads sp - 1 when move is sp_down and go

# ---- buses

bus address 16 bits, floats
    driven by mar   when pointer is mar
    driven by pc    when pointer is pc
    driven by sp    when pointer is sp
    driven by page_table when pointer is table, steady while pointer is table
    driven by panel when panel.owns, steady while panel.still
    driven by disk  when disk.owns, steady while disk.owns
    driven by net   when net.owns, steady while net.owns
    driven by row   when refresher.owns, steady while refresher.owns
    sampled by memory when write_pulse or (read and go)
bus data 8 bits, floats
    driven by memory  when source is memory and read, follows address
    driven by acc     when source is acc
    driven by temp    when source is temp
    driven by sum     when source is sum
    driven by literal when source is literal
    driven by pc_low  when source is pc_low, steady while move is stay
    driven by pc_high when source is pc_high, steady while move is stay
    driven by sp_low  when source is sp_low, steady while move is stay
    driven by status  when source is status
    driven by page    when source is page
    driven by loops   when source is loops
    driven by port    when source is port
    driven by disk    when disk.owns
    driven by net     when net.owns
    driven by panel   when panel.drives, steady while panel.still
    driven by memory_for_panel when panel.looks, follows address
    sampled by ir     when load is ir and go
    sampled by acc    when load is acc and go
    sampled by temp   when load is temp and go
    sampled by mar    when load in (mar_low, mar_high) and go
    sampled by page   when load is page and go
    sampled by status when load is status and go
    sampled by loops  when load is loops and go
    sampled by mask   when load is mask and go
    sampled by out    when load is out and go
    sampled by pc     when load in (pc_low, pc_high) and go
    sampled by memory when write_pulse
    sampled by lamps  when panel.looks
bus cable 8 bits, floats
    driven by out     when show or out_pulse
    sampled by device when out_pulse

signal write_pulse = (write and go and not faulting) or panel.pulse
strobe write_pulse
    address steady 1 cycle before, 1 cycle after
    data    steady 1 cycle after
strobe out_pulse
    cable   steady 1 cycle before, 1 cycle after

keep acc, temp, mar, pc, sp, ir, page while disk.owns or net.owns or refresher.owns or panel.owns
keep flag_zero, flag_carry, flag_minus, flag_over, mask, depth while disk.owns or net.owns or refresher.owns
exclusive read, write
exclusive begin, commit
exclusive disk.owns, net.owns, refresher.owns, panel.owns
exclusive accept, forget
exclusive calls, begin
signal calls = branch is call
signal nobody = not (refresher.asks or disk.asks or net.asks)
signal asked = refresher_2 or disk_2 or net_2 or panel_asks_2

# ---- masters

state rows 7 bits, reset 0
    next rows + 1
state row_due 1 bit, reset 0
    next 0 if refresher.owns else (1 if rows is 127 else row_due)
MASTERS
input halt_key 1 bit, press_key 1 bit
state halt_1 1 bit, reset 0
    next halt_key
state halt_2 1 bit, reset 0
    next halt_1
state press_1 1 bit, reset 0
    next press_key
state press_2 1 bit, reset 0
    next press_1
state panel_asks_1 1 bit, reset 0
    next panel.asks
state panel_asks_2 1 bit, reset 0
    next panel_asks_1
agent panel "switches that stop the machine, show memory and write it"
    state mode (running, stopping, stopped, looking, setting, writing, written, leaving), reset running
        next choose mode
            running  : stopping if halt_2 else running
            stopping : stopped if grant and panel_asks_2 and nobody else stopping
            stopped  : looking if press_2 else (stopped if halt_2 else leaving)
            looking  : setting if press_2 else (looking if halt_2 else stopped)
            setting  : writing
            writing  : written
            written  : stopped
            leaving  : running if not grant else leaving
    signal asks   = mode in (stopping, stopped, looking, setting, writing, written)
    signal stops  = mode is not running
    signal has    = mode in (stopped, looking, setting, writing, written)
    signal holds  = mode in (looking, setting, writing, written)
    signal owns   = mode in (looking, setting, writing, written)
    signal looks  = mode is looking
    signal drives = mode in (setting, writing, written)
    signal still  = mode in (looking, setting, writing, written)
    signal pulse  = mode is writing

home fetch

rule "no page twice"               never faulting and faulted and at page_fault
rule "a write is whole"            never write_pulse and faulting
rule "stack is empty at fetch"     never at fetch and depth is not 0
rule "never too deep"              never calls and depth is 4 and go
rule "disk gets it"                reach disk.owns
rule "net gets it"                 reach net.owns
rule "rows are refreshed"          reach refresher.owns
rule "the panel gets it"           reach panel.pulse
rule "interrupts are accepted"     reach accept and go
rule "pages are fetched"           reach faulted and at page_fault
rule "again after the page"        reach branch is again and go
rule "nothing half done"           between at fetch and at fetch never faulting after commit
rule "lent in time"
    when refresher_2 and at fetch.look then grant within 12 cycles unless waiting or panel.stops or not go
rule "no lending before"           after refresher.owns never disk.owns until not grant
"""

_SUBROUTINES = """routine boot at 0
        forbid
        goto fetch

routine page_fault at 0x020
        pointer table, call settle
        pointer table, page <- memory, read
        pointer table, show
        pointer table, show, out_pulse
        pointer table, show
        forget
        again

routine fetch
        begin, pointer pc
  look: pointer pc, if asked goto pause
        pointer pc, if urgent goto interrupt
        pointer pc, ir <- memory, read, mapped, pc_up
        dispatch

routine pause
        let go
  wait: grant, if asked goto wait
        let go
        goto fetch

routine interrupt
        accept, forbid, sp_down
        pointer sp, source pc_high
        pointer sp, memory <- pc_high, write
        pointer sp, source pc_high
        sp_down
        pointer sp, source pc_low
        pointer sp, memory <- pc_low, write
        pointer sp, source pc_low
        source literal, load pc_low, literal 8
        source literal, load pc_high, literal 0, goto fetch

routine settle
        let go
        back

routine fetch_byte
        pointer pc, call settle
        pointer pc, temp <- memory, read, mapped, pc_up, back

routine absolute
        call fetch_byte
        source temp, load mar_low
        call fetch_byte
        source temp, load mar_high, back

routine indirect
        call absolute
        pointer mar, temp <- memory, read, mapped, mar_up
        pointer mar, page <- memory, read, mapped
        source temp, load mar_low
        source page, load mar_high, back

routine relative
        call fetch_byte
        acc <- sum, function add, keep_flags
        if carry goto absolute
        source acc, load mar_low, back

routine keep_acc
        pointer mar, temp <- memory, read, mapped
        pointer mar, source acc, commit
        pointer mar, memory <- acc, write, mapped
        pointer mar, source acc, back
"""

_MODES = ("absolute", "indirect", "relative")
_FUNCTIONS = ("add", "subtract", "both", "either", "differ", "pass", "increase", "decrease", "shift")
_LINES = ("zero", "carry", "minus", "over", "dirty", "mode0", "mode1", "odd")


def _micro(instructions: int, rng: random.Random) -> Iterator[str]:
    yield _SUBROUTINES
    for opcode in range(instructions):
        yield f'instruction {opcode} "do {opcode}"'
        yield from (f"        {word}" for word in _body(opcode, rng))
        yield ""
    yield from ('instruction others "nothing"', "        goto fetch")


def _body(opcode: int, rng: random.Random) -> Iterator[str]:
    """The words of an instruction: where its operand is, what is done, on what it depends, and what becomes of it."""
    yield f"call {_MODES[opcode % 3]}" if opcode % 4 else "call fetch_byte"
    if opcode % 4:
        yield "pointer mar, temp <- memory, read, mapped"
    if rng.random() < 0.5:
        yield f"if {rng.choice(_LINES)} goto fetch"
    for _ in range(rng.randrange(1, 4)):
        yield f"acc <- sum, function {rng.choice(_FUNCTIONS)}, keep_flags"
    match opcode % 8:
        case 1 | 5:
            yield "call keep_acc"
        case 2:
            yield from ("commit, status <- acc", "mask <- temp", "allow")
        case 3:
            yield from ("commit, loops <- temp", "  turn: source acc, load temp, loop, if done goto end",
                        "acc <- sum, function shift", "goto turn", "  end: let go")
        case 4:
            yield from ("commit, out <- acc", "show", "show, out_pulse", "show")
        case 6:
            yield from ("commit, pc_jump", "forbid")
        case 7:
            yield from ("commit, sp_down", "pointer sp, source acc", "pointer sp, memory <- acc, write",
                        "pointer sp, source acc", "temp <- status")
    yield "goto fetch"
