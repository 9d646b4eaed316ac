"""A few hostile inputs of every kind, and what was found by many: `python -m tests.attack` tries more."""

from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path
from random import Random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ordain.audit.certificate import Damaged, read, written
from tests.attack.kills import kill
from tests.attack.readers import READERS, trials
from tests.attack.trials import KINDS, Found, trial, workplace
from tests.audit.kept import kept, proved
from tests.audit.test_audit import ROUND, SMALL
from tests.workshop import contents_of


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    with workplace(tmp_path_factory.mktemp("attack") / "work", "examples/two-masters") as found:
        yield found


def test_the_workplace_has_a_file_of_every_kind(place: Path) -> None:
    for kind in KINDS.values():
        assert any(path.is_file() for path in place.glob(kind.files)), kind.files


@pytest.mark.parametrize("kind", KINDS)
@settings(max_examples=12, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(data=st.data())
def test_no_change_of_a_file_ends_a_command_otherwise_than_with_a_message(kind: str, place: Path,
                                                                          data: st.DataObject) -> None:
    found = trial(place, kind, lambda members: data.draw(st.sampled_from(members)))
    assert found is None, found


@pytest.mark.parametrize("kind", READERS)
def test_no_change_of_a_file_makes_what_reads_it_raise(kind: str, place: Path) -> None:
    assert [found for found in trials(place, kind, range(100)) if found is not None] == []


def test_what_a_reader_raises_is_noticed(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("ordain.rom.ledger._record", lambda row: 1 // 0)
    assert all(found is not None and found.fault.startswith("ZeroDivisionError")
               for found in trials(place, "ledgers", range(10)))


def test_what_goes_wrong_is_noticed(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A command that fails, and one that lets through what acts on a terminal."""
    monkeypatch.setattr("ordain.cli.decode._verdict", lambda *whatever: 1 // 0)
    found = trial(place, "images", Random(1).choice)
    assert isinstance(found, Found) and "status 70" in found.fault
    monkeypatch.setattr("ordain.cli.decode._verdict", lambda *whatever: "all is well")
    monkeypatch.setattr("ordain.cli.decode.say", lambda manner, text: print("\x1b[2J"))
    found = trial(place, "images", Random(1).choice)
    assert isinstance(found, Found) and "reach the terminal" in found.fault


def test_a_certificate_that_announces_more_nodes_than_follow_is_no_certificate() -> None:
    """Found by `python -m tests.attack --only certificates`."""
    contents = contents_of(SMALL, ROUND)
    certificate = kept(contents, proved(contents))
    data = written(certificate).replace(b'"nodes":%d' % len(certificate.nodes), b'"nodes":%d' % 10 ** 9)
    head, _, body = data.partition(b"\n")
    with pytest.raises(Damaged):
        read(b" ".join((*head.split(b" ")[:3], sha256(body).hexdigest().encode())) + b"\n" + body)


def test_builds_and_records_outlive_kills_full_disks_and_company() -> None:
    assert kill(8, 0)["FOUND"] == 0
