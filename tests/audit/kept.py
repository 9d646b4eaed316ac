"""Certificates of machines in tests: by the prover, of what it says or of what it would like to say."""

from ordain.audit.audit import audit
from ordain.audit.certificate import Certificate, read, written
from ordain.certifying import certificate_of
from ordain.checks.check import Report
from ordain.checks.run import prove
from ordain.control.system import build_system
from ordain.prover.decide import ProofRounds
from ordain.rom.contents import Contents


def proved(contents: Contents) -> Report:
    rounds = ProofRounds(build_system(contents))
    return prove(contents, lambda asked: rounds.decide(asked))


def kept(contents: Contents, report: Report) -> Certificate:
    """By way of the bytes of a file."""
    certificate = certificate_of(contents, [("m.machine", "00")], report, lambda done: None)
    assert read(written(certificate)) == certificate
    return certificate


def boasting(report: Report) -> Report:
    """The same report, in which everything that is broken is said to be proved."""
    return report._replace(rows=tuple(row._replace(outcome="proved", worst=None) if row.outcome == "broken" else row
                                      for row in report.rows))


def outcomes(contents: Contents, certificate: Certificate) -> dict[tuple[str, str], str]:
    """What the audit says, by check and subject."""
    return {(one.check, one.subject): one.outcome for one in audit(contents, certificate, lambda finding: None)}
