"""What words are called: labels inside their body, `body.label` everywhere, a label alone where one body has it."""

from collections.abc import Sequence

from ordain.machine.model import Machine
from ordain.microprogram.bodies import BodyPlan
from ordain.text.findings import Finding, Place, error
from ordain.text.source import Span
from ordain.text.spelling import nearest


class Labels:
    """`words`: every name that means one word -> its index. `local`: for each body its own labels -> their full names.
    `doubtful`: labels of several bodies -> the full names."""

    __slots__ = ("doubtful", "findings", "local", "words")

    def __init__(self, plans: Sequence[BodyPlan]) -> None:
        self.words: dict[str, int] = {}
        self.local: list[dict[str, str]] = []
        self.doubtful: dict[str, list[str]] = {}
        self.findings: list[Finding] = []
        places: dict[str, tuple[int, Span]] = {}
        self._bodies(plans, places)
        self._labels(plans, places)

    def _bodies(self, plans: Sequence[BodyPlan], places: dict[str, tuple[int, Span]]) -> None:
        for plan in plans:
            if plan.words and plan.kind != "prologue":
                self._reserved(plan.name, plan.span)
                self.words.setdefault(plan.name, plan.first)
                places.setdefault(plan.name, (plan.first, plan.span))

    def _labels(self, plans: Sequence[BodyPlan], places: dict[str, tuple[int, Span]]) -> None:
        alone: dict[str, list[tuple[str, int]]] = {}
        for plan in plans:
            own: dict[str, str] = {}
            spans: dict[str, Span] = {}
            for index, word in enumerate(plan.words, plan.first):
                if word.label is None:
                    continue
                name, full = word.label.text, f"{plan.name}.{word.label.text}"
                body = places.get(name)
                self._reserved(name, word.label.span)
                if name in own:
                    self._twice(f"the label `{name}` stands twice in `{plan.name}`", word.label.span, spans[name])
                elif body is not None and body[0] != index:
                    self._twice(f"`{name}` is a label and the name of a body", word.label.span, body[1])
                else:
                    own[name], spans[name] = full, word.label.span
                    self.words[full] = index
                    alone.setdefault(name, []).append((full, index))
            self.local.append(own)
        for name, found in alone.items():
            if len(found) == 1:
                self.words.setdefault(name, found[0][1])
            elif name not in self.words:
                self.doubtful[name] = [full for full, _ in found]

    def _reserved(self, name: str, span: Span) -> None:
        if name == "following":
            self.findings.append(error("reserved", f"`{name}` cannot be a name of yours", span,
                                       "what stands below in the text", help="give it another name"))

    def _twice(self, message: str, span: Span, first: Span) -> None:
        self.findings.append(error("defined-twice", message, span, "the second", places=(Place(first, "the first"),),
                                   help="give one of them another name"))

    def unknown(self, name: str, span: Span) -> Finding:
        """The finding for a name that means no word, or not one word only."""
        if name in self.doubtful:
            full = [f"`{other}`" for other in self.doubtful[name]]
            return error("ambiguous-label", f"`{name}` is a label of {len(full)} bodies", span, "which one?",
                         help=f"write {' or '.join(full[:3])}{' ...' if full[3:] else ''}")
        close = nearest(name, [*self.words, *self.doubtful])
        help = f"did you mean `{close}`?" if close else "put the label before a word, as in `wait: ...`"
        if name == "following":                         # in a `pair`, where it is meant as it is elsewhere
            help = "`following` is written alone; put a label before the word below, and name that"
        return error("unknown-label", f"there is no label `{name}`", span, "unknown", help=help)


def check_machine_labels(machine: Machine, labels: Labels, plans: Sequence[BodyPlan]) -> list[Finding]:
    """Every name after `at` and `in` in the machine file is one of a word or a body; the one after `home` is not two
    things."""
    bodies = {plan.name for plan in plans}
    findings = []
    for kind, name, span in machine.labels:
        if kind == "in" and name not in bodies:
            close = nearest(name, bodies)
            findings.append(error("unknown-label", f"there is no routine or instruction `{name}`", span, "unknown",
                                  help=f"did you mean `{close}`?" if close else "name a routine or an instruction"))
        elif kind == "at" and name not in labels.words:
            findings.append(labels.unknown(name, span))
    home = machine.home_name
    if home is not None and (home.text in labels.words or home.text in labels.doubtful) \
            and machine.home is not machine.terms.leaf("at", home.text, 1):
        findings.append(error(
            "ambiguous-label", f"`{home.text}` is a label, and something in the machine is called so", home.span,
            "which of them is home?", help=f"write `home at {home.text}` or `home {home.text} is 1`"))
    return findings
