"""The witness circuit is inductive, says a tool that knows nothing of this project; with a set changed it is not."""

import re
import subprocess
from pathlib import Path

import pytest

from ordain.audit.audit import Audit
from ordain.audit.certificate import Certificate
from ordain.audit.witness import circuits
from ordain.rom.contents import Contents
from tests.audit.kept import boasting, kept, proved
from tests.audit.test_audit import ROUND, SMALL
from tests.outside.model_checker import MISSING, PREPARE, PROGRAM
from tests.workshop import contents_of

pytestmark = pytest.mark.skipif(PROGRAM is None, reason=MISSING)


def written(contents: Contents, certificate: Certificate, place: Path) -> tuple[Path, Path]:
    audit = Audit(contents, certificate)
    audit.read()
    model, witness = circuits(audit, "model.aig")
    (place / "model.aig").write_bytes(model)
    (place / "witness.aig").write_bytes(witness)
    return place / "model.aig", place / "witness.aig"


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
    model, witness = written(contents, kept(contents, proved(contents)), tmp_path)
    assert inductive(witness)
    assert "No output asserted" in asked(model, "bmc3 -a -x -F 30")


def test_the_witness_of_a_broken_machine_is_not(tmp_path: Path) -> None:
    """And its model shows the fault, as many cycles deep as the plain search says: in the first, here."""
    contents = contents_of(SMALL.replace("reset 0\n    next lend", "reset 1\n    next lend"), ROUND)
    model, witness = written(contents, kept(contents, boasting(proved(contents))), tmp_path)
    assert not inductive(witness)
    assert re.search(r"Output \d+ was asserted in frame +0 ", asked(model, "bmc3 -a -x -F 30"))


@pytest.mark.parametrize("states", [0, 1])
def test_with_another_set_it_is_not(states: int, tmp_path: Path) -> None:
    """No state at all is closed, but the machine begins; every state has the faults that it never comes to."""
    contents = contents_of(SMALL, ROUND)
    certificate = kept(contents, proved(contents))
    claims = tuple(claim._replace(states=states) for claim in certificate.claims)
    _, witness = written(contents, certificate._replace(claims=claims), tmp_path)
    assert not inductive(witness)


def test_inputs_and_latches_of_the_witness_are_those_of_the_model(tmp_path: Path) -> None:
    contents = contents_of(SMALL, ROUND)
    model, witness = written(contents, kept(contents, proved(contents)), tmp_path)
    head, other = (path.read_bytes().split(b"\n", 1)[0].split() for path in (model, witness))
    inputs, latches = int(head[2]), int(head[3])
    assert head[2:4] == other[2:4]
    symbols = witness.read_bytes().rpartition(b"\nc\n")[0].decode("latin-1")
    assert "i0 = 2\n" in symbols and f"\nl0 = {2 * inputs + 2}\n" in symbols
    assert f"l{latches - 1} = {2 * (inputs + latches)}" in symbols
    assert witness.read_bytes().endswith(b"\nc\nWITNESS b0 model.aig\n")
