"""Whoever changes a certificate, or the prover that makes one, is found out."""

from collections.abc import Callable
from typing import Any

import pytest
from oxidd.bdd import BDDFunction

from ordain.audit.audit import differs
from ordain.audit.certificate import Certificate, Claim, Damaged, read, written
from ordain.prover.symbolic import cases
from ordain.prover.symbolic import cone as cones
from ordain.prover.symbolic.layers import Layers
from ordain.prover.symbolic.relation import Relation
from ordain.rom.contents import Contents
from tests.audit.kept import kept, outcomes, proved
from tests.audit.test_audit import ROUND, SMALL
from tests.workshop import contents_of


@pytest.fixture(scope="module")
def sound() -> tuple[Contents, Certificate]:
    contents = contents_of(SMALL, ROUND)
    return contents, kept(contents, proved(contents))


def changed(certificate: Certificate, check: str, change: Callable[[Claim], Claim]) -> Certificate:
    assert sum(claim.check == check for claim in certificate.claims) == 1
    return certificate._replace(claims=tuple(change(claim) if claim.check == check else claim
                                             for claim in certificate.claims))


def claim_of(certificate: Certificate, check: str) -> Claim:
    (found,) = (claim for claim in certificate.claims if claim.check == check)
    return found


CHANGES: dict[str, tuple[str, Callable[[Claim], dict[str, Any]]]] = {
    "no state at all": ("contention", lambda claim: {"states": 0}),
    "every state": ("contention", lambda claim: {"states": 1}),
    "a part of the set": ("contention", lambda claim: {"states": claim.states - 1}),
    "a shorter wait": ("when-then", lambda claim: {"worst": (claim.worst or 0) - 1}),
    "the set of another question": ("after-never", lambda claim: {"states": 1}),
    "no ranks": ("stuck", lambda claim: {"ranks": ()}),
    "a rank left out": ("stuck", lambda claim: {"ranks": (*claim.ranks[:1], *claim.ranks[2:])}),
    "the last rank left out": ("stuck", lambda claim: {"ranks": claim.ranks[:-1]}),
    "ranks the other way round": ("stuck", lambda claim: {"ranks": claim.ranks[::-1]}),
    "all at once": ("always-reach", lambda claim: {"ranks": (claim.states,)}),
    "no way": ("reach", lambda claim: {"path": ()}),
    "the end of the way alone": ("reach", lambda claim: {"path": claim.path[-1:]}),
    "a cycle of the way left out": ("reach", lambda claim: {"path": (*claim.path[:1], *claim.path[2:])}),
}


@pytest.mark.parametrize("change", CHANGES)
def test_a_changed_claim_is_refused(change: str, sound: tuple[Contents, Certificate]) -> None:
    contents, certificate = sound
    check, made = CHANGES[change]
    tampered = changed(certificate, check, lambda claim: claim._replace(**made(claim)))
    assert tampered != certificate
    found = {name: outcome for (name, _), outcome in outcomes(contents, tampered).items()}
    assert found[check] == "refused"
    assert {outcome for name, outcome in found.items() if name != check} == {"confirmed"}, "and only that one"


def test_no_changed_node_gets_a_false_claim_confirmed(sound: tuple[Contents, Certificate]) -> None:
    """Of a machine in which something is broken, with the sets of one in which it is not: whatever the nodes say."""
    certificate = sound[1]
    broken = contents_of(SMALL.replace("next lend and asks", "next asks"), ROUND)
    false = {("contention", "data"), ("turnaround", "data"), ("never", "lent before it is taken"),
             ("after-never", "silent until it is lent")}
    for at, (bit, low, high) in enumerate(certificate.nodes):
        for node in ((bit, high, low), (bit, 1, high), (bit, low, 1), (bit, 0, high), ((bit + 1) % 3, low, high)):
            nodes = (*certificate.nodes[:at], node, *certificate.nodes[at + 1:])
            found = outcomes(broken, certificate._replace(nodes=nodes))
            assert not [question for question in false if found[question] == "confirmed"]


def test_bits_that_the_machine_does_not_have_are_refused(sound: tuple[Contents, Certificate]) -> None:
    contents, certificate = sound
    others = certificate.bits[1:]
    for bit in (("nothing", 0), ("pc", 3), others[0], ("rule 9 open", 0), ("data", 0)):
        tampered = certificate._replace(bits=(bit, *others))
        assert "confirmed" not in outcomes(contents, tampered).values() or bit == ("data", 0)
        assert outcomes(contents, tampered)["contention", "data"] == "refused"


def test_a_question_that_the_audit_does_not_know_is_never_confirmed(sound: tuple[Contents, Certificate]) -> None:
    contents, certificate = sound
    made = claim_of(certificate, "contention")
    more = [made._replace(check="torn"), made._replace(check="made-up"), made._replace(subject="no such bus"),
            made._replace(outcome="broken"), made._replace(outcome="vacuous")]
    for claim in more:
        found = outcomes(contents, certificate._replace(claims=(claim,)))
        assert list(found.values()) == ["not audited"]


@pytest.mark.parametrize("change", [{"machine": "other"}, {"sources": (("m.machine", "01"),)}, {"sources": ()},
                                    {"stores": (("control", "00" * 32),)}, {"stores": ()}])
def test_a_certificate_of_something_else_is_told(change: dict[str, Any], sound: tuple[Contents, Certificate]) -> None:
    contents, certificate = sound
    assert not differs(contents, [("m.machine", "00")], certificate)
    assert differs(contents, [("m.machine", "00")], certificate._replace(**change))


def test_what_differs_is_named(sound: tuple[Contents, Certificate]) -> None:
    contents, certificate = sound
    other = certificate._replace(sources=(("m.machine", "00"), ("gone.micro", "02")))
    assert differs(contents, [("m.machine", "01"), ("new.micro", "02")], other) == \
        "it is about other sources: gone.micro, m.machine, new.micro"


def test_another_word_in_a_chip_is_told(sound: tuple[Contents, Certificate]) -> None:
    contents, certificate = sound
    words = contents.words["control"]
    other = contents._replace(words={"control": (*words[:-1], words[-1] ^ 1)})
    assert differs(other, [("m.machine", "00")], certificate)


def test_no_damaged_file_is_read(sound: tuple[Contents, Certificate]) -> None:
    data = written(sound[1])
    for place in range(0, len(data), 7):
        for damaged in (data[:place], data[:place] + bytes((data[place] ^ 4,)) + data[place + 1:],
                        data[:place] + b"0" + data[place:]):
            with pytest.raises(Damaged):
                read(damaged)


# ---------------------------------------------------------------- a prover with a fault


def _missed(monkeypatch: pytest.MonkeyPatch) -> None:
    """The image function forgets what follows a state of the guest."""
    after = Relation.after

    def less(self: Relation, states: BDDFunction) -> BDDFunction:
        found = after(self, states)
        return found & ~states.manager.var(0)

    monkeypatch.setattr(Relation, "after", less)


def _stopped_early(monkeypatch: pytest.MonkeyPatch) -> None:
    """The search believes after two cycles that nothing is new."""
    search = Layers.search

    def short(self: Layers, after: Any, level_done: Any) -> None:
        search(self, lambda states: after(states) if len(self.new) < 3 else states & ~states, level_done)

    monkeypatch.setattr(Layers, "search", short)


def _without_a_bit(monkeypatch: pytest.MonkeyPatch) -> None:
    """The cone leaves out the lowest bit of what counts."""
    cone = cones.cone

    def narrower(*args: Any) -> Any:
        kept, needed = cone(*args)
        return kept, {leaf: mask & ~1 if leaf.width > 1 else mask for leaf, mask in needed.items()}

    monkeypatch.setattr(cones, "cone", narrower)


def _another_column(monkeypatch: pytest.MonkeyPatch) -> None:
    """Words are read with two neighbouring bits exchanged: a mask that is one off."""
    from ordain.control.bits import BitValues

    column = BitValues._column
    monkeypatch.setattr(BitValues, "_column", lambda self, store, bit: column(self, store, bit ^ 1))


def _started_elsewhere(monkeypatch: pytest.MonkeyPatch) -> None:
    """The machine begins in the cycle after that in which it does."""
    start = cases.start_of

    def later(model: cases.Model, atoms: int) -> BDDFunction:
        parts = model.parts(atoms, lambda: None)
        return Relation(model.space, parts, atoms, model.required, lambda: None).after(start(model, atoms))

    monkeypatch.setattr(cases, "start_of", later)


@pytest.mark.parametrize("fault", [_missed, _stopped_early, _another_column, _without_a_bit, _started_elsewhere])
def test_a_prover_with_a_fault_does_not_get_a_wrong_set_past_the_audit(
        fault: Callable[[pytest.MonkeyPatch], None], monkeypatch: pytest.MonkeyPatch) -> None:
    """The report is right, or says that all is proved; the sets come from the prover with the fault. A set with a bit
    less, or one that is right although the first state was forgotten, does not make a claim false."""
    machine = SMALL.replace("state guest 1 bit, reset 0", "state guest 1 bit, reset 1")
    for text, false in ((SMALL, set()), (machine, {("contention", "data"), ("never", "lent before it is taken")})):
        contents = contents_of(text, ROUND)
        report = proved(contents_of(SMALL, ROUND))
        with monkeypatch.context() as patched:
            fault(patched)
            certificate = kept(contents, report)
        found = outcomes(contents, certificate)
        assert not [question for question in false if found[question] == "confirmed"]
        if fault in (_missed, _stopped_early, _another_column) or (fault is _started_elsewhere and false):
            assert "refused" in found.values()
