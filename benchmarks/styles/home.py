"""The machine that most people build first: three EPROMs addressed by flags, opcode and step.

Decoders say who drives the data bus and who loads from it. The clock has two halves, and everything changes at the end
of the second, in which the write pulse is given too; a panel stops the clock, looks into memory and writes it; a slow
memory stretches it. A reset button, the ready line and the interrupt come through flip-flops. Opcode, flags and a few
latches hold anything at power-up.

The half clock is written out by hand: `state clk` and `and tick`.
"""

from benchmarks.styles.source import rules

INSTRUCTIONS = (
    ("load a, n", ("acc",), None), ("load b, n", ("b",), None), ("add n", ("temp",), "plus"),
    ("subtract n", ("temp",), "minus"), ("both n", ("temp",), "both"), ("either n", ("temp",), "either"),
    ("differ n", ("temp",), "differ"), ("compare n", ("temp",), "compare"),
)
"""Title, what the operand goes to, and what is done with it then."""


def machine() -> str:
    return _MACHINE.replace("PULSE_RULES", rules(
        fault="write_pulse and panel.runs and panel.owns", start="step is 0 and tick", end="over and tick",
        rare="write_pulse", other="panel.writes", goal="take and load is ir and tick", home="step is 0",
        asked="over and tick", answer="step is 0", within=1, forgiven="not panel.runs or waiting or reset_2"))


def micro(count: int) -> str:
    """The first `count` of 29 instructions; the rest of the opcodes do nothing."""
    lines = [_PROLOGUE]
    for opcode, (title, body) in enumerate(_bodies()[:count - 1]):
        lines += [f'instruction {opcode} "{title}"', *body, ""]
    lines += ['instruction 31 "interrupt"', *_INTERRUPT, "", 'instruction others "nothing"', "        over", ""]
    return "\n".join(lines)


def _bodies() -> list[tuple[str, list[str]]]:
    absolute = ["        pc_out, low <- memory, read, count_pc", "        pc_out, high <- memory, read, count_pc"]
    every: list[tuple[str, list[str]]] = []
    for title, (target,), function in INSTRUCTIONS:
        if function is None:
            every.append((title, [f"        pc_out, {target} <- memory, read, count_pc, over"]))
        elif function == "compare":
            every.append((title, ["        pc_out, temp <- memory, read, count_pc",
                                  "        function minus, keep, over"]))
        else:
            every.append((title, ["        pc_out, temp <- memory, read, count_pc",
                                  f"        acc <- sum, function {function}, keep, over"]))
    every += [(f"load {name}, [nn]", [*absolute, f"        ea_out, {register} <- memory, read, over"])
              for name, register in (("a", "acc"), ("b", "b"))]
    every += [(f"store {name}, [nn]", [*absolute, f"        ea_out, memory <- {register}, write",
                            f"        ea_out, source {register}, over"])
              for name, register in (("a", "acc"), ("b", "b"))]
    jump = ["        pc_out, low <- memory, read, count_pc", "        pc_out, high <- memory, read, jump, over"]
    skip = ["        count_pc", "        count_pc, over"]
    every.append(("go nn", jump))
    for condition in ("zero", "not zero", "carry", "not carry"):
        every.append((f"go nn if {condition}", [f"    when {condition}", *jump, "    otherwise", *skip]))
    every += [
        ("push a", ["        sp_down", "        sp_out, memory <- acc, write", "        sp_out, source acc, over"]),
        ("pull a", ["        sp_out, acc <- memory, read, sp_up, over"]),
        ("call nn", [*absolute, "        sp_down", "        sp_out, memory <- pc_high, write",
                     "        sp_out, source pc_high, sp_down", "        sp_out, memory <- pc_low, write",
                     "        sp_out, source pc_low, jump, over"]),
        ("return", ["        sp_out, low <- memory, read, sp_up", "        sp_out, high <- memory, read, sp_up",
                 "        jump, over"]),
        ("copy b, a", ["        b <- acc, over"]), ("copy a, b", ["        acc <- b, over"]),
        ("increase", ["        acc <- sum, function increase, keep, over"]),
        ("decrease", ["        acc <- sum, function decrease, keep, over"]),
        ("send", ["        out <- acc, over"]), ("receive", ["        acc <- port, over"]),
        ("interrupts on", ["        allow, over"]),
    ]
    return every


_PROLOGUE = """prologue
        pc_out, ir <- memory, read, count_pc
"""

_INTERRUPT = ["        forbid, sp_down", "        sp_out, memory <- pc_high, write",
              "        sp_out, source pc_high, sp_down",
              "        sp_out, memory <- pc_low, write", "        sp_out, source pc_low, vector, over"]

_MACHINE = """machine homely "three EPROMs addressed by flags, opcode and step, a half clock and a panel"
microprogram "bench.micro"

store control 2048 words of 24 bits
    address {carry, zero, ir, step}
    instruction ir
    step step
    unused over

field source 4 bits                     # a decoder enables who drives data
    none    0 idle
    memory  1
    acc     2
    b       3
    sum     4
    pc_low  5
    pc_high 6
    port    7
field load 4 bits                       # a decoder clocks who loads from it
    none    0 idle
    ir      1
    acc     2
    b       3
    temp    4
    low     5
    high    6
    out     7
field pointer 2 bits                    # who drives address
    none    0 idle
    pc      1
    ea      2
    sp      3
field function 3 bits, idle any
    plus     0
    minus    1
    both     2
    either   3
    differ   4
    increase 5
    decrease 6
field keep     1 bit
field read     1 bit, active low
field write    1 bit, active low
field count_pc 1 bit
field move_pc 2 bits
    stay   0 idle
    jump   1
    vector 2
field move_sp 2 bits
    stay 0 idle
    up   1
    down 2
field attend 2 bits
    leave  0 idle
    allow  1
    forbid 2
field over     1 bit, active low

chip U1 2048 x 8
    holds   control[23:16]
    address {carry, zero, ir, step}
chip U2 2048 x 8
    holds   control[15:8]
    address {carry, zero, ir, step}
chip U3 2048 x 8
    holds   control[7:0]
    address {carry, zero, ir, step}

order pc_out  : pointer pc
order ea_out  : pointer ea
order sp_out  : pointer sp
order jump    : move_pc jump
order vector  : move_pc vector
order sp_up   : move_sp up
order sp_down : move_sp down
order allow   : attend allow
order forbid  : attend forbid

# the clock: two halves; it moves on in the second, if nobody holds it
state clk 1 bit, reset 0
    next not clk
signal tick = clk and panel.runs and not waiting

input ready 1 bit
state ready_1 1 bit, reset 0
    next ready
state ready_2 1 bit, reset 0
    next ready_1
register address_high 4 bits, reset any
    loads data[7:4] when load is high and tick
signal slow    = (read or write) and pointer is ea and address_high >= 0xC
signal waiting = slow and not ready_2

input reset_button 1 bit
state reset_1 1 bit, reset 0
    next reset_button
state reset_2 1 bit, reset 0
    next reset_1

state step 4 bits, reset 0
    next (0 if over or (reset_2 and not write) else step + 1) if tick else step

input irq 1 bit
state irq_1 1 bit, reset 0
    next irq
state irq_2 1 bit, reset 0
    next irq_1
state asking 1 bit, reset 0
    next 0 if take and step is 0 and tick else (asking or irq_2)
state allowed 1 bit, reset 0
    next choose attend
        leave     : 0 if take and step is 0 and tick else allowed
        allow     : 1 if tick else allowed
        forbid    : 0 if tick else allowed
        otherwise : allowed
signal take = asking and allowed

register ir 5 bits, reset any
    loads 31 if take else data[4:0] when load is ir and tick
condition sum_zero 1 bit
condition sum_carry 1 bit
register zero 1 bit, reset any
    loads sum_zero when keep and tick
register carry 1 bit, reset any
    loads sum_carry when keep and tick
register acc 8 bits
    loads data when load is acc and tick
register b 8 bits
    loads data when load is b and tick
register temp 8 bits
    loads data when load is temp and tick
register low 8 bits
    loads data when load is low and tick
register high 8 bits
    loads data when load is high and tick
register out 8 bits
    loads data when load is out and tick
register pc 16 bits
    loads pc + 1 when count_pc and tick
    loads {high, low} when move_pc is jump and tick
    loads 8 when move_pc is vector and tick
register sp 16 bits
    loads sp + 1 when move_sp is up and tick
    loads sp - 1 when move_sp is down and tick

signal write_pulse = (write and clk and panel.runs and not waiting) or panel.pulse
strobe write_pulse
    address steady 1 cycle before, 1 cycle after
    data    steady 1 cycle before, 1 cycle after

bus address 16 bits, floats
    driven by pc    when pointer is pc and panel.runs
    driven by ea    when pointer is ea and panel.runs, steady while pointer is ea and not (load in (low, high) and tick)
    driven by sp    when pointer is sp and panel.runs
    driven by panel when panel.owns, steady while panel.still
    sampled by memory when write_pulse or (read and tick)
bus data 8 bits, floats
    driven by memory  when source is memory and read and panel.runs, follows address
    driven by acc     when source is acc and panel.runs
    driven by b       when source is b and panel.runs
    driven by sum     when source is sum and panel.runs
    driven by pc_low  when source is pc_low and panel.runs, steady while not (count_pc and tick)
    driven by pc_high when source is pc_high and panel.runs, steady while not (count_pc and tick)
    driven by port    when source is port and panel.runs
    driven by panel   when panel.drives, steady while panel.still
    driven by memory_for_panel when panel.looks, follows address
    sampled by ir   when load is ir and tick
    sampled by acc  when load is acc and tick
    sampled by b    when load is b and tick
    sampled by temp when load is temp and tick
    sampled by low  when load is low and tick
    sampled by high when load is high and tick
    sampled by out  when load is out and tick
    sampled by memory when write_pulse
    sampled by lamps  when panel.looks

keep acc, b, temp, ir, zero, carry, pc, sp, step while panel.owns
exclusive read, write
exclusive count_pc, moves_pc
signal moves_pc = move_pc is not stay

agent panel "switches that stop the clock, show memory and write it"
    input halt 1 bit, press 1 bit
    state mode (running, stopping, stopped, looking, setting, writing, written, leaving), reset running
        next choose mode
            running  : stopping if halt and clk else running
            stopping : stopped
            stopped  : looking if press else (stopped if halt or clk else leaving)
            looking  : setting if press else (looking if halt else stopped)
            setting  : writing
            writing  : written
            written  : stopped
            leaving  : running if clk else leaving
    signal runs   = mode is running
    signal owns   = mode in (looking, setting, writing, written)
    signal looks  = mode is looking
    signal drives = mode in (setting, writing, written)
    signal still  = mode in (looking, setting, writing, written)
    signal pulse  = mode is writing
    signal writes = mode is writing

home step is 0

PULSE_RULES"""
