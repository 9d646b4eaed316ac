"""Advice after a change: what could be shared, what is not used, what is left; never an error.

All of it is read off the contents, the machine and the table of opcodes; only the question whether an instruction looks
at a request in time is put to the prover (`polling`). A piece of advice is silenced like a finding of a check: `allow
NAME on FIELD at LABEL "reason"`.
"""

import re
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from ordain.control.sequencing import sequencing
from ordain.machine.model import Allowance, Field, Machine, Order
from ordain.rom.contents import Contents, Site
from ordain.text.findings import Finding, Place, note
from ordain.text.source import Span

NAMES = ("shared-tail", "opcode-in-family", "unpolled", "unused-order", "unused-code", "unused-label", "room-left")
SHORTEST_TAIL = 2
"""Words. A tail of one word is hardly worth a jump."""


class Use(NamedTuple):
    """One opcode and the title of its instruction; `others`: it was given to it by `instruction others`. `header`:
    where the text says so; all members of a family have one."""

    opcode: int
    title: str
    others: bool
    header: Span


class Piece(NamedTuple):
    """A piece of advice. `on`, `at`: what an `allow` may name to silence it."""

    finding: Finding
    on: frozenset[str]
    at: frozenset[str]


def advice(contents: Contents, uses: Sequence[Use], more: Iterable[Piece] = ()) -> list[Finding]:
    """Everything that is not silenced, and a note for each allowance of advice that silences nothing."""
    pieces = [*shared_tails(contents), *in_families(contents, uses), *more, *unused_orders(contents),
              *unused_codes(contents), *unused_labels(contents), *room_left(contents, uses)]
    allowances = [one for one in contents.machine.allowances if one.check in NAMES]
    told = [piece.finding for piece in pieces if not any(_silences(one, piece) for one in allowances)]
    told += [note("stale-allowance", f"this allowance of `{one.check}` silences nothing", one.span, "not needed",
                  help="remove the line, or correct its place")
             for one in allowances if not any(_silences(one, piece) for piece in pieces)]
    return told


def _silences(one: Allowance, piece: Piece) -> bool:
    return (one.check == piece.finding.name and (not one.on or one.on in piece.on)
            and (not one.at or one.at in piece.at))


def names_of(sites: Iterable[Site]) -> frozenset[str]:
    """Everything by which an allowance may name these words."""
    found = set()
    for site in sites:
        found |= {site.owner, site.label, f"{site.owner}.{site.label}"}
    return frozenset(found)


# ---------------------------------------------------------------- tails that stand elsewhere


class _Body(NamedTuple):
    """The words of a routine or instruction in the order of the text, each once; `keys`: equal for equal words."""

    sites: tuple[Site, ...]
    keys: tuple[object, ...]


def shared_tails(contents: Contents) -> list[Piece]:
    """For each body the longest end of it that stands word for word at the end of an earlier one. Only where the word
    before it can jump there: its address field is free; or where the whole body is the same."""
    found = []
    for store in contents.machine.stores.values():
        if store.fill == "microprogram" and store.step is None:
            jumps = _jump_fields(contents.machine, store.name)
            known: dict[tuple[object, ...], _Body] = {}
            for body in _bodies(contents, store.name):
                piece = _shared(contents, body, known, jumps)
                if piece is not None:
                    found.append(piece)
                for length in range(SHORTEST_TAIL, len(body.keys) + 1):
                    known.setdefault(body.keys[-length:], body)
    return found


def _shared(contents: Contents, body: _Body, known: dict[tuple[object, ...], _Body],
            jumps: list[Field]) -> Piece | None:
    for length in range(len(body.keys), SHORTEST_TAIL - 1, -1):
        other = known.get(body.keys[-length:])
        if other is None:
            continue
        first, there = body.sites[-length], other.sites[-length]
        whole = length == len(body.keys)
        if not whole and not any(_is_free(contents, body.sites[-length - 1], field) for field in jumps):
            return None
        what = f"all {length} words" if whole else f"the last {length} words"
        finding = note(
            "shared-tail", f"{what} of `{body.sites[0].owner}` stand word for word in `{other.sites[0].owner}`, from "
            f"0x{there.address:X} on: sharing them saves {length} words", first.span,
            "a sequence writes them in both" if there.span == first.span else "from here on",
            places=() if there.span in (None, first.span) else (Place(there.span, "the same words begin here"),),
            help="go on there instead" if not whole else "give both titles to one body, or go on there")
        return Piece(finding, frozenset(), names_of(body.sites[-length:]))
    return None


def _bodies(contents: Contents, store: str) -> list[_Body]:
    owners: dict[str, dict[int, Site]] = {}
    for site in contents.sites.get(store, {}).values():
        if site.word >= 0:
            owners.setdefault(site.owner, {}).setdefault(site.word, site)
    bodies = []
    for words in owners.values():
        sites = tuple(words[number] for number in sorted(words))
        keys = tuple(_key(contents, site, after) for site, after in zip(sites, (*sites[1:], None)))
        bodies.append(_Body(sites, keys))
    return sorted(bodies, key=lambda body: body.sites[0].word)


def _key(contents: Contents, site: Site, after: Site | None) -> tuple[object, ...]:
    """A word without what does not matter; an address that is only that of the next word of the body is no difference,
    nor is what is derived from it."""
    machine = contents.machine
    store = machine.stores[site.store]
    word, mask = contents.words[site.store][site.address], (1 << store.bits) - 1 & ~site.open
    following = []
    for name in store.fields:
        field = machine.fields[name]
        bits = (1 << field.width) - 1 << field.low
        if field.holds == "derived":
            mask &= ~bits
        elif (field.holds == "address" and after is not None and not site.open & bits
              and _target(field, word) == _bits_of(field, after.address)):
            mask &= ~bits
            following.append(name)
    return (site.store, word & mask, mask, tuple(following))


def _jump_fields(machine: Machine, store: str) -> list[Field]:
    found = sequencing(machine, machine.terms)
    return [field for name in machine.stores[store].fields if (field := machine.fields[name]).holds == "address"
            and name in found.followed]


def _is_free(contents: Contents, site: Site, field: Field) -> bool:
    """Whether a word leaves an address field alone."""
    bits = (1 << field.width) - 1 << field.low
    if site.open & bits == bits:
        return True
    value = _target(field, contents.words[site.store][site.address])
    return value == field.idle or field.idle == "following"


def _target(field: Field, word: int) -> int:
    return field.read(word)


def _bits_of(field: Field, address: int) -> int:
    """What an address field holds of an address."""
    high, low = field.address_bits
    return address >> low & (1 << high - low + 1) - 1


# ---------------------------------------------------------------- families


def in_families(contents: Contents, uses: Sequence[Use]) -> list[Piece]:
    """Opcodes of other instructions that have the fixed bits of a family: hardware that decodes those bits takes them
    for members."""
    width = max((store.opcode_width for store in contents.machine.stores.values()), default=0)
    families: dict[tuple[str, int], list[Use]] = {}
    for use in uses:
        if not use.others:
            families.setdefault((use.header.source.name, use.header.start), []).append(use)
    pieces = []
    for members in families.values():
        titles = dict.fromkeys(use.title for use in members)
        if len(titles) < 2:
            continue
        fixed = (1 << width) - 1
        for use in members:
            fixed &= ~(use.opcode ^ members[0].opcode)
        inside: dict[str, list[Use]] = {}
        for use in uses:
            if not use.others and use.title not in titles and not (use.opcode ^ members[0].opcode) & fixed:
                inside.setdefault(use.title, []).append(use)
        pieces += [_in_family(strangers, members[0], len(titles), width) for strangers in inside.values()]
    return pieces


def _in_family(strangers: list[Use], member: Use, count: int, width: int) -> Piece:
    digits = -(-width // 4)
    shown = ", ".join(f"0x{use.opcode:0{digits}X}" for use in strangers[:4])
    title = strangers[0].title
    finding = note(
        "opcode-in-family", f"opcode {shown} of `{title}` has the bits that `{member.title}` and all {count} of its "
        "family share", strangers[0].header, "has an opcode from among theirs",
        places=(Place(member.header, "the family"),),
        help="see that no hardware takes it for one of the family, or give it another opcode")
    return Piece(finding, frozenset(), frozenset({title}))


# ---------------------------------------------------------------- what nobody uses


def unused_orders(contents: Contents) -> list[Piece]:
    """Orders that no placed word, no unused word and no order in use is written with, by their words."""
    machine = contents.machine
    clauses = {clause for sites in contents.sites.values() for site in sites.values() for clause in site.orders}
    clauses |= {clause.text for store in machine.stores.values() for clause in store.unused or ()}
    waiting = [" ".join(clause.split()) for clause in sorted(clauses)]
    patterns = {order: _pattern(order) for order in machine.orders}
    used: set[Span] = set()
    while waiting:
        text = waiting.pop()
        for order, pattern in patterns.items():
            if order.span not in used and pattern.fullmatch(text):
                used.add(order.span)
                waiting += [" ".join(setting.span.text.split()) for setting in order.settings]
    return [Piece(note("unused-order", f"no word is written with the order `{_spoken(order)}`", order.span,
                       "not used", help="leave it out, unless it is kept for later"), frozenset(), frozenset())
            for order in machine.orders if order.span not in used]


def _pattern(order: Order) -> re.Pattern[str]:
    return re.compile(" ".join(r"\S.*" if part.startswith("<") else re.escape(part) for part in _parts(order)))


def _spoken(order: Order) -> str:
    return " ".join(_parts(order))


def _parts(order: Order) -> list[str]:
    """The words of its phrase, holes as `<name>`."""
    return [str(part[0]) if hasattr(part, "text") else f"<{part[0]}>" for part in order.phrase]


def unused_codes(contents: Contents) -> list[Piece]:
    """Codes that no word holds where its field means anything, one note for each field."""
    pieces = []
    for field in contents.machine.fields.values():
        store = contents.machine.stores[field.store]
        if field.holds != "code" or store.fill != "microprogram" or not field.codes:
            continue
        held = {_target(field, contents.words[store.name][site.address])
                for site in contents.sites.get(store.name, {}).values()
                if site.open >> field.low & (1 << field.width) - 1 != (1 << field.width) - 1}
        held |= {_target(field, word) for word in _unplaced(contents, store.name)}
        idle = [code for code in field.codes if code.value not in held and code.value != field.idle]
        if idle:
            names = ", ".join(f"`{code.name}`" for code in idle)
            which = "code" if len(idle) == 1 else "codes"
            pieces.append(Piece(
                note("unused-code", f"no word sets `{field.name}` to its {which} {names}", idle[0].span, "not used",
                     help="the wire or the part that it stands for does nothing; or a word was meant to use it"),
                frozenset({field.name}), frozenset()))
    return pieces


def _unplaced(contents: Contents, store: str) -> list[int]:
    """The word of the cells in which nothing was placed, where the machine file says it."""
    if contents.machine.stores[store].unused is None:
        return []
    sites = contents.sites.get(store, {})
    return [word for address, word in enumerate(contents.words[store]) if address not in sites][:1]


def unused_labels(contents: Contents) -> list[Piece]:
    """Labels at which no address field of any word, no map row and nothing in the machine file aims."""
    machine = contents.machine
    spoken = {name for _, name, _ in machine.labels}
    spoken |= {allowance.at for allowance in machine.allowances}
    fields = {store: [machine.fields[name] for name in machine.stores[store].fields
                      if machine.fields[name].holds == "address"] for store in contents.sites}
    aimed = {field.name: {_target(field, contents.words[store][site.address]) for site in sites.values()}
             for store, sites in contents.sites.items() for field in fields[store]}
    named = {word for store in machine.stores.values() if store.fill == "map" for word in contents.words[store.name]}
    pieces = []
    for store, sites in contents.sites.items():
        if machine.stores[store].fill != "microprogram":
            continue
        seen: set[tuple[str, str]] = set()
        for site in sites.values():
            name = f"{site.owner}.{site.label}"
            if not site.label or site.label == site.owner or (site.owner, site.label) in seen:
                continue
            seen.add((site.owner, site.label))
            addresses = contents.labels.get(name, contents.labels.get(site.label, ("", frozenset({site.address}))))[1]
            if spoken & {name, site.label} or addresses & named:
                continue
            if any(_bits_of(field, address) in aimed[field.name] for each in fields.values() for field in each
                   for address in addresses):
                continue
            pieces.append(Piece(
                note("unused-label", f"nothing leads to the label `{name}`", site.span, "no word names it",
                     help="leave the label out, or correct the word that was meant to go there"),
                frozenset(), names_of([site])))
    return pieces


# ---------------------------------------------------------------- what is left


def room_left(contents: Contents, uses: Sequence[Use]) -> list[Piece]:
    """Per store of a microprogram the free words (or slots of instructions), and the opcodes that are left."""
    pieces = []
    for store in contents.machine.stores.values():
        if store.fill != "microprogram":
            continue
        free = sorted(set(range(store.words)) - contents.sites.get(store.name, {}).keys())
        text = f"`{store.name}`: {len(free)} of {store.words} words are free"
        text += f", at most {_longest_run(free)} of them in a row" if free else ""
        if store.step is not None:
            text = f"`{store.name}`: {_slots(contents, store.name, store.step, store.steps)}"
        pieces.append(Piece(note("room-left", text, None), frozenset({store.name}), frozenset()))
    width = max((store.opcode_width for store in contents.machine.stores.values()), default=0)
    if width and uses:
        own = {use.opcode for use in uses if not use.others}
        text = f"{(1 << width) - len(own)} of {1 << width} opcodes have no instruction of their own"
        pieces.append(Piece(note("room-left", text, None), frozenset(), frozenset()))
    return pieces


def _longest_run(numbers: list[int]) -> int:
    longest = run = 0
    for index, number in enumerate(numbers):
        run = run + 1 if index and number == numbers[index - 1] + 1 else 1
        longest = max(longest, run)
    return longest


def _slots(contents: Contents, store: str, lines: tuple[int, int], steps: Sequence[int]) -> str:
    """How many steps the longest instruction needs of those that there are."""
    high, low = lines
    place = {step: number for number, step in enumerate(steps, 1)}
    longest: dict[str, int] = {}
    for address, site in contents.sites.get(store, {}).items():
        own = place.get(address >> low & (1 << high - low + 1) - 1, 0)      # a routine may stand where no step is
        longest[site.owner] = max(longest.get(site.owner, 0), own)
    if not longest:
        return f"all {len(steps)} steps of every instruction are free"
    most = max(longest.values())
    owner = next(name for name, length in longest.items() if length == most)
    return f"of {len(steps)} steps the longest instruction, `{owner}`, uses {most}"
