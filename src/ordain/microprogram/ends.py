"""Words from which the hardware goes on past the end of their body: what stands there, if the text says it."""

from collections.abc import Iterator, Mapping, Sequence
from types import MappingProxyType
from typing import NamedTuple

from ordain.machine.expression import Join, leaves
from ordain.machine.model import Machine
from ordain.microprogram.bodies import BodyPlan
from ordain.microprogram.layout import Layout
from ordain.microprogram.model import Microinstruction
from ordain.microprogram.stepping import Counter, sums_at
from ordain.text.findings import Finding, Place, error
from ordain.text.source import Span

_MOST_SHOWN = 3


class Past(NamedTuple):
    """From word `word` (counted through all bodies) of a body the hardware can go on `over` words past its last one.
    `kept`: it only keeps that address, to come back to."""

    plan: BodyPlan
    word: int
    over: int
    kept: bool


def runs_off(machine: Machine, past: Sequence[Past], counter: Counter, plans: Sequence[BodyPlan],
             words: Sequence[Microinstruction], fixed: Mapping[int, tuple[int, ...]],
             deciding: Mapping[str, Span] = MappingProxyType({})) -> Iterator[Finding]:
    """Of one store: words after which nothing comes. `deciding`: what else was found to have a part in it.

    After the last word of a routine that fills its ring of addresses from an address that is said comes its first
    one again. Where words decide nothing, as of a store that a free counter addresses, the routine that is said to
    stand at the next address comes: there is no order that could name it."""
    places = {plan.first: _addresses(plan, words, fixed, counter) for plan in plans} if past else {}
    pipeline = _pipeline(machine, plans[0].store.name) if past and not counter.bits else ()
    for plan, word, over, kept in past:
        own = places[plan.first]
        others = [address for known in places.values() for address in known] if counter.bits == 0 else own
        ahead = [_next(own[-1], step + 1, counter) for step in range(over)] if len(own) == plan.end - plan.first else []
        if ahead and set(ahead) <= set(others):
            continue
        if kept and not pipeline:
            yield error(
                "runs-off", f"here the hardware keeps the next address, to come back to, and `{plan.name}` ends",
                words[word].span, "nothing follows" if over == 1 else f"{over} words are missing",
                places=_keepers(machine, counter),
                help="put the word below it to which control comes back; where it never does, one that nobody "
                     "executes, or let only the words that call keep the address")
            continue
        if deciding and not pipeline:
            yield error(
                "runs-off", f"from here the hardware can go on to the next address, and `{plan.name}` ends",
                words[word].span, "nothing follows" if over == 1 else f"{over} words are missing",
                places=tuple([Place(where, f"`{name}` has a part in it")
                              for name, where in deciding.items()][:_MOST_SHOWN]),
                help="end with a word from which control cannot go on, whatever these are when it is obeyed; or put "
                     "another one below it, to which it goes on")
            continue
        yield error(
            "runs-off", f"from here the hardware can go on to the next address, and `{plan.name}` ends",
            words[word].span, "nothing follows" if over == 1 else f"{over} words are missing",
            places=pipeline or (() if counter.bits else (
                Place(plan.store.span, "no word decides where control goes on"),)),
            help="end with an order that names the next word" if counter.bits else
            "a word decides in the cycle in which its address is there: let the store's address be a state that takes "
            "the next address, in place of the register that takes the word (`ordain new --kind slices` has one)"
            if pipeline else
            "say `at` which address each routine starts, so that one stands behind the other, up to the last address")


def counted_on(machine: Machine, layout: Layout, counter: Counter, past: Sequence[Past],
               words: Sequence[Microinstruction], fixed: Mapping[int, tuple[int, ...]],
               labels: Mapping[str, int]) -> list[Past]:
    """Those of `past` from which the hardware does count on where they stand, as far as that is said: a counter that
    begins again at a number (`0 if upc is 5 else upc + 1`) does not, there."""
    left = []
    copied = _perhaps_copied(machine, words, labels) if past else frozenset()
    for one in past:
        address = one.plan.store.address
        if (counter.delay or (address.args[-1] if isinstance(address, Join) else address) not in counter.place[:1]
                or not copied.isdisjoint(range(one.plan.first, one.plan.end))):
            left.append(one)
            continue
        own = _addresses(one.plan, words, fixed, counter)
        if one.kept or len(own) != one.plan.end - one.plan.first:
            left.append(one)
            continue
        at = one.word - one.plan.first
        over = max(sums_at(machine, layout, counter, words[one.word], own[at]), default=0) - (len(own) - 1 - at)
        if over > 0:
            left.append(one._replace(over=over))
    return left


def _perhaps_copied(machine: Machine, words: Sequence[Microinstruction], labels: Mapping[str, int]) -> frozenset[int]:
    """Words that may have to stand a second time elsewhere: those named otherwise than by a whole address."""
    width = {store.name: store.address_width for store in machine.stores.values()}
    named = {labels[label] for word in words for name, target in word.targets for label in target.labels
             if target.kind != "label" or machine.fields[name].width < width[words[labels[label]].store]}
    tables = any(store.fill in ("map", "start") and store.bits < max(width.values())
                 for store in machine.stores.values())
    return frozenset(range(len(words)) if tables else named)


def _keepers(machine: Machine, counter: Counter) -> tuple[Place, ...]:
    """The states and registers that keep an address."""
    kept = [(state.name, state.span) for state in machine.states.values() if state.next in counter.others]
    return tuple(Place(span, f"`{name}` keeps it") for name, span in kept)[:1]


def _pipeline(machine: Machine, store: str) -> tuple[Place, ...]:
    """The state that takes the whole word: what its bits decide is not read off the words."""
    return tuple(Place(state.span, f"`{state.name}` takes the word, and decides a cycle later")
                 for state in machine.states.values()
                 if any(leaf.kind == "word" and leaf.name == store for leaf in leaves((state.next,))))[:1]


def _addresses(plan: BodyPlan, words: Sequence[Microinstruction], fixed: Mapping[int, tuple[int, ...]],
               counter: Counter) -> list[int]:
    """The addresses of the first words of a routine, as far as they are said: by `at`, and one by one from there."""
    said = fixed.get(plan.first, ())
    if plan.kind != "routine" or len(said) != 1:
        return []
    found = [said[0]]
    for word in words[plan.first:plan.end - 1]:
        if not word.succeeds:
            break
        found.append(_next(found[-1], 1, counter))
    return found


def _next(address: int, step: int, counter: Counter) -> int:
    low = (1 << counter.width) - 1
    return address & ~low | address + step & low
