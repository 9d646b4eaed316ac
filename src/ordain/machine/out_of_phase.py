"""What moves with one phase and asks for another: it would never move, and everything asked about it would hold. And
latches of which nobody has said that only one phase opens them."""

from collections.abc import Sequence
from typing import NamedTuple

from ordain.language import tree
from ordain.machine.expression import Const, Node, Terms, substitute
from ordain.machine.model import Register, State
from ordain.text.findings import Finding, Place, error, note
from ordain.text.source import Span


class ClockPhases(NamedTuple):
    """The clock of a machine whose phases differ. `leaf`: the state that says which of them it is."""

    names: Sequence[str]
    leaf: Node
    span: Span


def register_in_phase(terms: Terms, phases: ClockPhases, register: Register, gate: Node,
                      text: tree.Register) -> list[Finding]:
    """Of the loads of a register or latch that moves under `gate`."""
    if len(register.loads) != len(text.loads):
        return []
    said = f"`{register.name}` never loads", "is open in" if register.transparent else "moves at the end of"
    found = [finding for load, load_text in zip(register.loads, text.loads, strict=True) for finding in _never(
        terms, phases, gate, load.when, terms.const(0, 1), terms.and_((load.when, gate)), load_text.when.span, said)]
    if found or not register.transparent or text.on is not None:
        return found
    return _latch_phase(terms, phases, register, gate, text.name.span)


def state_in_phase(terms: Terms, phases: ClockPhases, state: State, gate: Node, text: tree.State) -> list[Finding]:
    """Of a state that takes its next value under `gate`, and else keeps what it has."""
    if text.next is None:
        return []
    leaf = terms.leaf("state", state.name, state.width)
    return _never(terms, phases, gate, state.next, leaf, terms.if_(gate, state.next, leaf), text.next.span,
                  (f"`{state.name}` never changes", "moves at the end of"))


def _latch_phase(terms: Terms, phases: ClockPhases, latch: Register, gate: Node, span: Span) -> list[Finding]:
    """Of a latch that hangs on the clock because nothing else is said, though its loads may hold in other phases."""
    inside, outside = "", False
    for number, phase in enumerate(phases.names):
        now = {phases.leaf: terms.const(number, phases.leaf.width)}
        moves, *loads = substitute(terms, (gate, *(load.when for load in latch.loads)), now)
        if moves is not terms.const(0, 1):
            inside = phase
        elif any(load is not terms.const(0, 1) for load in loads):
            outside = True
    if not (inside and outside):
        return []
    return [note("latch-phase", f"`{latch.name}` is open in `{inside}` alone", span, "hangs on the clock",
                 places=(Place(phases.span, "this clock"),),
                 help=f"say `on {inside}` if the clock opens it, or `on oscillator` if its condition alone does, as "
                      "with a set/reset latch")]


def _never(terms: Terms, phases: ClockPhases, gate: Node, asked: Node, idle: Node, moved: Node, span: Span,
           said: tuple[str, str]) -> list[Finding]:
    """`asked`: what is written; `moved`: the same with the clock in it; `idle`: what they are when nothing happens."""
    wanted: list[str] = []
    open_in: list[str] = []
    for number, phase in enumerate(phases.names):
        now = {phases.leaf: terms.const(number, phases.leaf.width)}
        this, then, still, moves = substitute(terms, (asked, moved, idle, gate), now)
        if then is not still:
            return []
        if this is not still:
            wanted.append(phase)
        if not (isinstance(moves, Const) and moves.value == 0):
            open_in.append(phase)
    if not wanted or len(open_in) != 1:
        return []
    message, moves_in = said
    only_held = open_in[0] in wanted        # it asks for what holds the clock in this very phase
    asks = "a clock that is held" if only_held else " or ".join(f"`{phase}`" for phase in wanted)
    way_out = (f"say that it moves then: `on {wanted[0]}`; or leave the phase out of what it asks for"
               if len(wanted) == 1 and not only_held else
               "say with `on` when it moves, or leave out what is never so then")
    return [error("out-of-phase", f"{message}: it {moves_in} `{open_in[0]}`, and this asks for {asks}", span,
                  "never so when it could move", places=(Place(phases.span, "this clock"),), help=way_out)]
