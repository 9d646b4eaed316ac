"""The questions that checks ask, against the judge: on random runs of random machines both must say the same of every
cycle."""

import random

from ordain.checks.owners import fights_allowed
from ordain.checks.run import questions
from ordain.checks.wording import about
from ordain.control.model import Variable
from ordain.machine.expression import Node
from ordain.machine.model import AfterNever, BetweenNever, Never
from ordain.prover.model import Property
from ordain.rom.contents import Contents
from tests.checks import judge
from tests.generated import machine_text, random_words
from tests.oracle import Model

CYCLES = 40
JUDGED = ("contention", "conflicting-enables", "floating", "turnaround", "missing-hold", "lost-state",
          "double-load", "race", "nowhere", "never", "between-never", "after-never")


def random_run(contents: Contents, asked: list[Property],
               chance: random.Random) -> tuple[judge.Run, list[list[int]]]:
    """The facts of each cycle, and beside them the value of each question's node."""
    machine = contents.machine
    facts = list(dict.fromkeys([*judge.nodes_of(machine), *_of_rules(contents)]))
    monitors: dict[str, Variable] = {monitor.name: monitor for question in asked for monitor in question.monitors}
    model = Model(contents, [*(question.node for question in asked), *facts], list(monitors.values()))
    state = chance.choice(model.starts())
    run: judge.Run = []
    answers: list[list[int]] = []
    floating = [place for place, key in enumerate(model.frees) if key.startswith("bus ")]
    for _ in range(CYCLES):
        for _ in range(60):
            frees = tuple(chance.choice(domain) for domain in model.domains)
            holds, following, addresses, values = model.evaluate(state, frees)
            if holds:
                break
        else:
            break
        known: dict[Node, int] = dict(zip(facts, values[len(asked):], strict=True))
        known.update({contents.machine.terms.leaf("address", name, machine.stores[name].address_width): address
                      for name, address in zip(model.stores, addresses, strict=True)})
        # which states would step elsewhere if a bus had another value
        for place in floating:
            moved = set()
            for value in model.domains[place]:
                other = (*frees[:place], value, *frees[place + 1:])
                after = model.evaluate(state, other)[1]
                moved |= {slot.name for slot, a, b in zip(model.slots, following, after, strict=True)
                          if a != b and slot.origin == "state"}
            known[machine.terms.leaf("free", f"looked at {list(model.frees)[place]}", 1)] = int(bool(moved))
        run.append(judge.Facts(known))
        answers.append(list(values[:len(asked)]))
        state = following
    return run, answers


def _of_rules(contents: Contents) -> list[Node]:
    return [part for rule in contents.machine.rules for part in rule.form if isinstance(part, Node)]


def judged(contents: Contents, question: Property, run: judge.Run, k: int) -> bool:
    """What the judge says of cycle k."""
    machine = contents.machine
    detail = about(question).detail
    match question.check:
        case "contention":
            return judge.fights(machine.buses[question.subject], run, k)
        case "conflicting-enables":
            return sum(run[k].holds(signal) for signal in machine.exclusives[detail[0]].signals) > 1
        case "floating":
            return judge.without_level(machine, machine.buses[question.subject], run, k) and judge.is_taken(
                machine, question.subject, run[k])
        case "turnaround":
            bus = machine.buses[question.subject]
            exact = fights_allowed(machine, bus) or bus.undriven in ("wired-and", "wired-or")
            return judge.hand_over(bus, run, k, exact)
        case "missing-hold":
            strobe = machine.strobes[detail.strobe]
            return judge.missing_hold(machine, strobe, strobe.needs[detail.need], run, k) == detail.part
        case "lost-state":
            keep = machine.keeps[detail[0]]
            return run[k].holds(keep.condition) and any(judge.changes(machine, name, run[k]) for name in keep.names)
        case "double-load":
            return judge.loads_twice(machine, question.subject, run[k])
        case "race":
            return judge.races(machine, question.subject, run[k])
        case "nowhere":
            store = machine.stores[question.subject]
            address = run[k].values[machine.terms.leaf("address", store.name, store.address_width)]
            used = store.fill == "microprogram" or run[k].values[machine.terms.leaf("field", "branch", 2)] == 3
            return used and address not in contents.sites[store.name]
    form = machine.rules[detail].form
    match form:
        case Never(condition=condition):
            return run[k].holds(condition)
        case BetweenNever(start=start, end=end, forbidden=forbidden, after=after):
            return judge.forbidden_between(start, end, after, forbidden, run, k)
        case AfterNever(start=start, forbidden=forbidden, until=until):
            return judge.forbidden_between(start, until, machine.terms.const(1, 1), forbidden, run, k)
    raise AssertionError(question.check)


def test_the_questions_mean_what_the_prose_says() -> None:
    seen: dict[str, set[bool]] = {check: set() for check in JUDGED}
    for seed in range(300):
        chance = random.Random(seed)
        text = machine_text(chance.choice)
        contents = random_words(text, chance.choice)
        asked = [question for _, question in questions(contents) if question.check in JUDGED]
        run, answers = random_run(contents, asked, chance)
        for k, row in enumerate(answers):
            for question, answer in zip(asked, row, strict=True):
                expected = judged(contents, question, run, k)
                seen[question.check].add(expected)
                assert bool(answer) == expected, (seed, k, question.check, question.subject, text.machine)
    for check in JUDGED:
        assert seen[check] == {True, False}, f"{check}: the machines never put it to the test"
