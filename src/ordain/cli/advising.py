"""Advice about a build, with the question that needs the prover."""

from typing import TYPE_CHECKING

from ordain.text.findings import Finding, note

if TYPE_CHECKING:
    from ordain.pipeline import Built


def advice_of(built: "Built") -> list[Finding]:
    """Notes only."""
    from ordain.control.system import build_system
    from ordain.measure.advice import Piece, Use, advice
    from ordain.measure.cycle_counts import Stopped
    from ordain.measure.polling import unpolled

    headers = {body.name: body.span for body in built.program.bodies if body.kind == "instruction"}
    uses = [Use(use.opcode, use.title, use.others, headers[use.title]) for use in built.program.opcodes]
    titles = dict.fromkeys(use.title for use in uses)
    more: list[Piece]
    try:
        more = unpolled(build_system(built.contents), titles)
    except Stopped:
        more = [Piece(note("unpolled", "whether every instruction looks at requests in time was not found out: "
                           "interrupted", None), frozenset(), frozenset())]
    return advice(built.contents, uses, more)
