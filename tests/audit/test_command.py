"""`ordain prove --keep` and `ordain audit`, as a user calls them."""

from pathlib import Path

import pytest

from ordain.audit.certificate import read, written
from ordain.cli.main import run
from tests.audit.test_audit import ROUND, SMALL


@pytest.fixture
def kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A directory with a machine, its build, and its certificate `proof`."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    home = tmp_path / "home"
    home.mkdir()
    monkeypatch.chdir(home)
    (home / "small.machine").write_text(SMALL + "chip U1 8 x 8\n    holds after, drive, lend, spared\n    address pc\n")
    (home / "m.micro").write_text(ROUND)
    assert run(["build", "-q"]) == 0 and run(["prove", "-q", "--keep", "proof"]) == 0
    return home


def test_what_was_kept_is_confirmed(kept: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["audit", "proof"]) == 0
    assert "small: 10 of 10 claims confirmed" in capsys.readouterr().out


def test_many_claims_that_are_not_audited_take_one_line(kept: Path, capsys: pytest.CaptureFixture[str]) -> None:
    certificate = read((kept / "proof").read_bytes())
    unknown = tuple(certificate.claims[0]._replace(check="made-up", subject=f"number {n}") for n in range(50))
    (kept / "proof").write_bytes(written(certificate._replace(claims=(*certificate.claims, *unknown))))
    assert run(["audit", "proof"]) == 0
    said = capsys.readouterr().out
    assert "50 not audited" in said and "50 claims" in said and len(said.splitlines()) == 2
    assert run(["audit", "proof", "--all"]) == 0
    assert len(capsys.readouterr().out.splitlines()) == 1 + 50 + 10


def test_two_proofs_are_the_same_byte_for_byte(kept: Path) -> None:
    assert run(["prove", "-q", "--keep", "again"]) == 0
    assert (kept / "again").read_bytes() == (kept / "proof").read_bytes()


@pytest.mark.parametrize("name", ["small.machine", "m.micro"])
def test_with_another_source_everything_is_refused(name: str, kept: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (kept / name).write_text((kept / name).read_text() + "# a remark\n")
    assert run(["audit", "proof"]) == 1
    assert name in capsys.readouterr().out


def test_with_another_image_everything_is_refused(kept: Path, capsys: pytest.CaptureFixture[str]) -> None:
    image = kept / "build" / "U1.bin"
    image.write_bytes(bytes((image.read_bytes()[0] ^ 1,)) + image.read_bytes()[1:])
    assert run(["audit", "proof"]) == 1
    assert "U1.bin" in capsys.readouterr().out


def test_without_sources_nothing_is_audited(kept: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (kept / "small.machine").unlink()
    assert run(["audit", "proof"]) == 2
    (kept / "m.micro").unlink()
    assert run(["audit", "proof"]) == 2
    assert "confirmed" not in capsys.readouterr().out


@pytest.mark.parametrize("content", [b"", b"ordain certificate 1 ", b"\xff\n", b"ordain certificate 2 00\n{}\n"])
def test_a_file_that_is_no_certificate_is_told(content: bytes, kept: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (kept / "proof").write_bytes(content)
    assert run(["audit", "proof"]) == 2
    assert "cannot be audited" in capsys.readouterr().err
    assert run(["audit", "missing"]) == 2


def test_a_proof_that_came_to_no_end_is_not_kept(kept: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["prove", "-q", "--limit-states", "1", "--keep", "short"]) == 3
    assert "no certificate" in capsys.readouterr().err and not (kept / "short").exists()


def test_a_machine_that_the_audit_cannot_read_gets_no_certificate(kept: Path,
                                                                  capsys: pytest.CaptureFixture[str]) -> None:
    """Two latches that are never open together, each with the other before it: an audit would go round in a cycle."""
    text = (kept / "small.machine").read_text()
    (kept / "small.machine").write_text(f"{text}latch one 1 bit, reset 0\n    loads other when drive\n"
                                        "latch other 1 bit, reset 0\n    loads one when lend and not drive\n"
                                        'rule "filled" reach one\n')
    assert run(["prove", "-q", "--keep", "rings"]) == 2
    told = capsys.readouterr().err
    assert "no certificate" in told and "a ring of latches" in told and not (kept / "rings").exists()
    (kept / "small.machine").write_text(f"{text}latch one 1 bit, reset 0\n    loads drive when drive\n"
                                        "latch other 1 bit, reset 0\n    loads one when lend and not drive\n"
                                        'rule "filled" reach one\n')
    assert run(["prove", "-q", "--keep", "chain"]) == 0 and (kept / "chain").exists()
