"""The witness circuit is inductive, says a tool that knows nothing of this project; with a set changed it is not."""

import re
import subprocess
from pathlib import Path

import pytest

from ordain.audit.audit import Audit
from ordain.audit.certificate import Certificate
from ordain.audit.witness import circuits
from ordain.cli.main import run
from ordain.rom.contents import Contents
from tests.audit.kept import boasting, kept, proved
from tests.audit.test_audit import ROUND, SMALL, SOUND
from tests.outside.model_checker import MISSING, PREPARE, PROGRAM
from tests.workshop import contents_of

REFERENCE = Path(__file__).parents[2] / "microcode" / "heron.machine"

pytestmark = pytest.mark.skipif(PROGRAM is None, reason=MISSING)


def written(contents: Contents, certificate: Certificate, place: Path) -> list[tuple[Path, Path]]:
    audit = Audit(contents, certificate)
    audit.read()
    found = []
    for name, model, witness in circuits(audit, "m"):
        (place / name).write_bytes(model)
        (place / f"witness-{name}").write_bytes(witness)
        found.append((place / name, place / f"witness-{name}"))
    return found


def asked(path: Path, command: str) -> str:
    assert PROGRAM is not None
    script = f"read_aiger {path}; fold; {PREPARE}; {command}"
    return subprocess.run([PROGRAM, "-q", script], capture_output=True, text=True, timeout=120, check=True).stdout


def inductive(path: Path) -> bool:
    """The bad state is not there at the start, and comes from no state that is not bad."""
    begun = "No output asserted" in asked(path, "bmc3 -a -x -F 1")
    return begun and "Networks are equivalent" in asked(path, "ind -F 2")


def test_the_witness_of_a_sound_machine_is_inductive(tmp_path: Path) -> None:
    contents = contents_of(SMALL, ROUND)
    pairs = written(contents, kept(contents, proved(contents)), tmp_path)
    assert pairs
    for model, witness in pairs:
        assert inductive(witness)
        assert "No output asserted" in asked(model, "bmc3 -a -x -F 30")


def test_each_set_that_something_is_claimed_of_has_a_witness(tmp_path: Path) -> None:
    """What looks back has a set of its own; every claim without ranks or a way is a bad state of one of the models."""
    contents = contents_of(SMALL, ROUND)
    certificate = kept(contents, proved(contents))
    pairs = written(contents, certificate, tmp_path)
    never = [claim for claim in certificate.claims if not claim.ranks and not claim.path]
    bad = [said for model, _ in pairs for said in re.findall(r"^b\d+ (.*)$", symbols(model), re.MULTILINE)]
    assert sorted(bad) == sorted(f"{one.check}: {one.subject}" for one in never)
    assert len(pairs) == len({claim.states for claim in never}) > 1
    assert all(inductive(witness) for _, witness in pairs)


def test_the_witness_of_a_broken_machine_is_not(tmp_path: Path) -> None:
    """And its model shows the fault, as many cycles deep as the plain search says: in the first, here."""
    contents = contents_of(SMALL.replace("reset 0\n    next lend", "reset 1\n    next lend"), ROUND)
    pairs = written(contents, kept(contents, boasting(proved(contents))), tmp_path)
    models = [model for model, witness in pairs if not inductive(witness)]
    assert any(re.search(r"Output \d+ was asserted in frame +0 ", asked(model, "bmc3 -a -x -F 30")) for model in models)


def test_a_set_that_is_closed_and_has_the_fault_is_none(tmp_path: Path) -> None:
    """All that can be reached, of a machine whose drivers fight, and of the one a bit away whose drivers do not."""
    for reset, whether in (("1", False), ("0", True)):
        contents = contents_of(SMALL.replace("reset 0\n    next lend", f"reset {reset}\n    next lend"), ROUND)
        certificate = kept(contents, boasting(proved(contents)))
        (reached,) = {claim.states for claim in certificate.claims if claim.check == "nowhere"}
        claims = tuple(claim._replace(states=reached) for claim in certificate.claims if claim.check == "contention")
        ((_, witness),) = written(contents, certificate._replace(claims=claims), tmp_path)
        assert inductive(witness) == whether


@pytest.mark.parametrize("states", [0, 1])
def test_with_another_set_it_is_not(states: int, tmp_path: Path) -> None:
    """No state at all is closed, but the machine begins; every state has the faults that it never comes to."""
    contents = contents_of(SMALL, ROUND)
    certificate = kept(contents, proved(contents))
    claims = tuple(claim._replace(states=states) for claim in certificate.claims)
    assert {claim.states for claim in certificate.claims} & {0, 1} == set()
    ((_, witness),) = written(contents, certificate._replace(claims=claims), tmp_path)
    assert not inductive(witness)


def test_inputs_and_latches_of_the_witness_are_those_of_the_model(tmp_path: Path) -> None:
    contents = contents_of(SMALL, ROUND)
    for model, witness in written(contents, kept(contents, proved(contents)), tmp_path):
        head, other = (path.read_bytes().split(b"\n", 1)[0].split() for path in (model, witness))
        inputs, latches = int(head[2]), int(head[3])
        assert head[2:4] == other[2:4]
        said = symbols(witness)
        assert "i0 = 2" in said and f"l0 = {2 * inputs + 2}" in said
        assert f"l{latches - 1} = {2 * (inputs + latches)}" in said
        assert witness.read_bytes().endswith(f"\nc\nWITNESS b0 {model.name}\n".encode())


def symbols(path: Path) -> str:
    """What stands behind the gates, which are bytes of their own."""
    return path.read_bytes().rpartition(b"\nc\n")[0].decode("latin-1")


@pytest.mark.parametrize("machine", [*SOUND, REFERENCE], ids=lambda path: path.stem)
def test_what_prove_keeps_is_confirmed_by_the_audit_and_by_the_solver(machine: Path, tmp_path: Path,
                                                                      capsys: pytest.CaptureFixture[str]) -> None:
    """Of the reference machine and each example, as a user asks for it."""
    build, proof, here = f"--out={tmp_path / 'build'}", str(tmp_path / "proof"), str(machine)
    assert run(["build", "-q", build, here]) == 0
    assert run(["prove", "-q", "--no-cache", build, "--keep", proof, here]) == 0
    assert run(["audit", build, proof, here]) == 0
    said = capsys.readouterr().out
    assert " claims confirmed" in said and "refused" not in said
    assert run(["audit", build, proof, here, "--aiger", str(tmp_path / "circuits")]) == 0
    witnesses = sorted((tmp_path / "circuits").glob("*-witness.aig"))
    assert witnesses and all(inductive(witness) for witness in witnesses)
