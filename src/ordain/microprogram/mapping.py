"""What stands in stores that hold no microinstructions: start addresses, rows of a map, worked-out words."""

from collections.abc import Sequence

from ordain.language import tree
from ordain.machine.expression import Terms
from ordain.machine.lines import computed_by_lines
from ordain.machine.model import Machine, Store
from ordain.microprogram.bodies import BodyPlan
from ordain.microprogram.labels import Labels
from ordain.microprogram.model import MapCell
from ordain.microprogram.opcodes import Opcodes, matching, stretches
from ordain.microprogram.tables import numbers, table
from ordain.text.findings import Finding, Place, error
from ordain.text.source import Span
from ordain.text.spelling import nearest


def start_entries(machine: Machine, plans: Sequence[BodyPlan], opcodes: Opcodes) -> list[MapCell]:
    """The cells of every store with `word start of instruction`: the start of the instruction of its opcode, for every
    value of its other address lines."""
    entries = []
    for store in machine.stores.values():
        if store.fill == "start" and store.instruction is not None:
            high, low = store.instruction
            own = (1 << (high - low + 1)) - 1
            others = [value for value in range(1 << store.address_width) if not value & own << low]
            for opcode, number in opcodes.plans.items():
                plan = plans[number]
                if plan.words and not opcode & ~own:
                    entries += [MapCell(store.name, other | opcode << low, plan.name, plan.span) for other in others
                                if other | opcode << low < store.words]
    return entries


def map_entries(machine: Machine, maps: Sequence[tree.Map], labels: Labels) -> tuple[list[MapCell], list[Finding]]:
    """The cells that `map` rows fill."""
    entries: list[MapCell] = []
    findings: list[Finding] = []
    known: dict[tuple[str, int], Span] = {}
    others: dict[str, tree.MapRow] = {}
    for drawn in maps:
        store = _store(machine, drawn, findings)
        if store is None:
            continue
        for row in drawn.rows:
            if not _is_known(row, labels, findings):
                continue
            if row.patterns:
                entries += _row(store, row, known, findings)
            elif store.name in others:
                findings.append(error("defined-twice", f"`others` of `{store.name}` stands twice", row.span,
                                      "the second", places=(Place(others[store.name].span, "the first"),),
                                      help="leave one of them out"))
            else:
                others[store.name] = row
    for name, row in others.items():
        entries += [MapCell(name, address, row.target.text, row.span)
                    for address in range(machine.stores[name].words) if (name, address) not in known]
    return entries, findings


def _store(machine: Machine, drawn: tree.Map, findings: list[Finding]) -> Store | None:
    store = machine.stores.get(drawn.store.text)
    if store is not None and store.fill == "map":
        return store
    wanted = [other.name for other in machine.stores.values() if other.fill == "map"]
    close = nearest(drawn.store.text, wanted)
    findings.append(error(
        "unknown-name" if store is None else "wrong-kind",
        f"there is no store `{drawn.store.text}`" if store is None else
        f"`{drawn.store.text}` is not filled by a map", drawn.store.span, "cannot take these rows",
        help=f"did you mean `{close}`?" if close else "declare the store with its `address`, no `field`, no `word`"))
    return None


def _is_known(row: tree.MapRow, labels: Labels, findings: list[Finding]) -> bool:
    if row.target.text in labels.words:
        return True
    findings.append(labels.unknown(row.target.text, row.target.span))
    return False


def _row(store: Store, row: tree.MapRow, known: dict[tuple[str, int], Span], findings: list[Finding]) -> list[MapCell]:
    entries = []
    for pattern in row.patterns:
        if pattern.value >= store.words:
            findings.append(error("too-wide", f"`{store.name}` has no address 0x{pattern.value:X}", pattern.span,
                                  f"the last is 0x{store.words - 1:X}", help="correct the number"))
            continue
        twice = []
        for address in matching(pattern, store.address_width):
            if (store.name, address) in known:
                twice.append(address)
            else:
                known[store.name, address] = pattern.span
                entries.append(MapCell(store.name, address, row.target.text, row.span))
        if twice:
            findings.append(error(
                "opcode-clash", f"{stretches(twice, store.address_width)} of `{store.name}` leads to two places",
                pattern.span, "the second", places=(Place(known[store.name, twice[0]], "the first"),),
                help="give each value to one row"))
    return entries


def computed_words(terms: Terms, stores: Sequence[Store]) -> dict[str, tuple[int, ...]]:
    """All words of the stores whose word is an expression over their address."""
    found = {}
    for store in stores:
        if store.computed is not None:
            node, _ = computed_by_lines(terms, store.name, store.address, store.computed)
            assert node is not None                     # else the store would not have been understood
            address = terms.leaf("address", store.name, store.address_width)
            found[store.name] = tuple(numbers(table(address, node), store.words))
    return found
