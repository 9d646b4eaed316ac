"""Control can arrive where no input sequence leads back to `home`."""

from collections.abc import Iterator

from ordain.checks.check import About, Check, Explanation
from ordain.checks.wording import fault, spot
from ordain.prover.model import Break, Property, Verdict
from ordain.rom.contents import Contents
from ordain.text.findings import Finding

EXPLANATION = Explanation(
    name="stuck",
    fault="control can arrive where no input sequence leads back to `home`",
    about="""\
`home` is the instruction boundary. From every state that can be reached some sequence of inputs must lead back
to it; otherwise the machine hangs until somebody presses reset. Waiting for an input is not being stuck: the
question is whether any input at all would help.""",
    example="""\
home fetch

wait: goto wait                               # no input can end this""",
    repair="""\
Give the loop a way out, or correct the target. A deliberate halt is declared as an allowance, `allow stuck at
halt "waits for reset"`: then every state must be able to reach home or that place.""",
)


def ask(contents: Contents) -> Iterator[Property]:
    """One question, when the machine file says where home is."""
    machine = contents.machine
    if machine.home is not None:
        yield Property(EXPLANATION.name, "home", "always", machine.home, data=About((), machine.span))


def tell(contents: Contents, verdict: Verdict, found: Break | None) -> Finding:
    asked = verdict.property
    at = spot(contents, found)
    return fault(asked, f"no input sequence leads back to home {at.phrase.replace('at ', 'from ', 1)}".rstrip(), at,
                 "from here home is out of reach", found,
                 help="give the loop that the trace ends in a way out; a deliberate halt is an allowance, `allow stuck "
                      "at LABEL \"reason\"`")


CHECK = Check(EXPLANATION, ask, tell)
