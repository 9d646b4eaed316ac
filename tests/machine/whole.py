"""A machine that uses every statement of the language: a kiln's door and draught, tended from a panel."""

KILN = """\
machine kiln "opens the draught of a kiln by the clock, tended from a panel"
microprogram "kiln.micro"

store control 1024 words of 40 bits
    address upc
    unused  goto fetch

field source 4 bits
    none    0 idle
    acc     1
    memory  2
    literal 3
field write   1 bit, active low
field target 10 bits address, idle 0
field number  8 bits, idle 0
field branch  3 bits
    step     0 idle
    jump     1
    if_zero  2
    dispatch 3
    hold     4
field drive_address 1 bit
field grant         1 bit
field read_enable   1 bit
field load 2 bits
    none 0 idle
    acc  1
    mar  2
    ir   3
field check 1 bit = even parity of control[39:9]
spare 8 bits ones

store entry 256 words of 10 bits
    address ir
    word    start of instruction

store decoder 16 words of 3 bits
    address source
    word    {source is acc, not source is memory, parity(source)}

chip U20 1024 x 16
    holds   control[39:24]
    address upc
    technology flash sector 256
chip U21 32768 x 8
    holds   control[23:16]
    address {any, 0b0000, upc}
    erased  zeros
chip U22 2048 x 8
    holds   load, not check, control[11], spare, spare, drive_address, branch[0]
    address {0, upc[0], upc[9:1]}
    holds   entry[9:2]
    address {1, 0b00, not address}
chip U23 1024 x 8
    holds   branch[1], spare, spare, grant, spare, spare, 0, 1
    address upc
    repeats spare, entry[1:0], spare, spare, spare, spare, spare
    address {0b11, ir}
chip U24 256 x 2
    holds   entry[1:0]
    address ir
chip U25 16 x 4
    holds   spare, decoder
    address source

state upc 10 bits, reset 0
    next choose branch
        step     : upc + 1
        jump     : target
        if_zero  : target if zero else upc + 1
        dispatch : hold_vector if request_2 else entry.word
        hold     : upc if request_2 else target
state request_1 1 bit, reset 0
    next panel.asks or clock.asks
state request_2 1 bit, reset 0
    next request_1
register acc 8 bits, loads data when load is acc, reset 0
register ir 8 bits, loads data when load is ir
latch mar 16 bits
    loads {0x00, data} when load is mar
    changes when panel.pulse
input draught 3 bits
condition zero 1 bit = acc is 0
constant  hold_vector = 0x3F0
constant  trap_vector = hold_vector + 1
signal    pulse = write or panel.pulse
signal    granted = grant and not prior(grant)
assume    not (panel.asks and panel.mode is writing)
home      fetch

bus address 16 bits, floats
    driven by mar   when drive_address
    driven by panel when panel.owns, steady while panel.mode is writing
bus data 8 bits, floats, turnaround 1
    driven by acc    when source is acc
    driven by memory when read_enable, follows address
    driven by number when source is literal
    driven by panel  when panel.pulse
    sampled by acc   when load is acc
    sampled by memory when pulse

strobe pulse
    address steady 1 cycle before, 1 cycle after
    data    steady 1 cycle after

keep acc, ir, upc while panel.owns
exclusive read_enable, pulse

agent panel "whoever tends the kiln"
    input want 1 bit, turn (left, right, none)
    state mode (idle, asking, looking, writing), reset idle
        next choose mode
            idle    : asking if want else idle
            asking  : looking if grant else asking
            looking : idle if not want else (writing if turn is left else looking)
            writing : looking
    signal asks = mode is not idle
    signal owns = mode in (looking, writing)
    signal pulse = mode is writing
agent clock
    input hour 5 bits
    assume hour < 24
    signal asks = hour is 6

rule "grant only after the drivers are off"  never granted and drive_address
rule "the panel can write"                   reach panel.pulse and pulse
rule "it always can"                         always reach panel.pulse
rule "the buses are given up in time"        when request_2 then grant within 40 cycles unless draught is 7
rule "nothing is left half done"             between at fetch and at fetch never read_enable after write
rule "the panel waits"                       after panel.asks never panel.pulse until grant

allow contention on data at hold.release "series resistors R11 to R18"

order read                  : read_enable, drive_address
order goto <there>          : branch jump, target <there>
order fork <yes> <no>       : branch dispatch, target pair(<no>, <yes>)
order read and goto <there> : read, goto <there>
"""
