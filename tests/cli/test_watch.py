"""`ordain watch` in a process of its own: saves, broken files, Ctrl-C. Waits for what is to appear, not for a time."""

import os
import pty
import re
import signal
import subprocess
from collections.abc import Iterator
from pathlib import Path
from queue import Queue
from threading import Thread

import pytest

from ordain.cli import watch
from ordain.cli.manner import Manner
from ordain.cli.watch import CLEAR, Watcher
from tests.cli.shell import COMMAND, call, change, environment, write_starter

LONG = 60.0
"""Seconds after which a test gives up on something that has to appear."""

FIGHT = ("wait: grant, if", "wait: grant, point, if")


class Watching:
    """A running `ordain watch` and the lines that it has said."""

    def __init__(self, directory: Path, *options: str) -> None:
        self.process = subprocess.Popen([COMMAND, "watch", *options], cwd=directory, env=environment(directory),
                                        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        self.lines: Queue[str] = Queue()
        self._reader = Thread(target=self._read)
        self._reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.lines.put(line.rstrip("\n"))

    def until(self, beginning: str) -> list[str]:
        """The lines up to the first that begins so."""
        said = [self.lines.get(timeout=LONG)]
        while not said[-1].startswith(beginning):
            said.append(self.lines.get(timeout=LONG))
        return said

    def end(self, sent: signal.Signals = signal.SIGINT) -> tuple[int, str]:
        """Status, and what stands on standard error."""
        self.process.send_signal(sent)
        status = self.process.wait(LONG)
        self._reader.join(LONG)
        assert self.process.stdout is not None and self.process.stderr is not None
        said = self.process.stderr.read()
        self.process.stdout.close()
        self.process.stderr.close()
        return status, said


@pytest.fixture
def watching(tmp_path: Path) -> Iterator[Watching]:
    write_starter(tmp_path)
    running = Watching(tmp_path)
    yield running
    if running.process.poll() is None:
        running.end(signal.SIGKILL)


ANSWERED = re.compile(r"lamp: .*questions? (proved|broken)")


def test_a_day_at_the_bench(tmp_path: Path, watching: Watching) -> None:
    source = tmp_path / "lamp.micro"
    first = watching.until("longest wait: ")
    assert first[0] == "lamp.machine, watching; Ctrl-C ends it"
    sound = source.read_text()

    change(source, *FIGHT)
    said = watching.until("longest wait: ")
    assert said[0] == "lamp.machine, saved: lamp.micro"
    before_findings = said[:said.index("")]
    assert "  changed: show" in before_findings
    assert any(line.startswith("  chips: U1 (1 word)") for line in before_findings)
    assert any(line.strip().startswith("newly broken: contention: address") for line in said)
    assert any(line.startswith("error[contention]: two drivers share bus `address` at `lend.wait`") for line in said)

    source.write_text(sound[:sound.index("goto lend") + 6])
    said = watching.until("lamp: it does not compile")
    assert said[-2] == "lamp.machine, saved: lamp.micro"
    source.unlink()
    watching.until("lamp.machine, saved: lamp.micro")
    watching.until("error[missing-file]")

    source.write_text(sound)
    said = watching.until("longest wait: ")
    assert any(line.strip() == "repaired: contention: address (was broken)" for line in said)
    assert any(line.startswith("  gone: contention: ") for line in said)
    assert not any(line.startswith("error") for line in said)

    assert watching.end() == (130, "")
    assert watching.lines.empty()


def test_a_save_without_a_change_says_nothing_and_a_remark_says_that_nothing_changed(tmp_path: Path,
                                                                                     watching: Watching) -> None:
    source = tmp_path / "lamp.micro"
    watching.until("longest wait: ")
    source.touch()
    source.write_text(source.read_text())
    source.write_text("# a remark\n" + source.read_text())
    said = watching.until("longest wait: ")
    assert said[0] == "lamp.machine, saved: lamp.micro"
    assert said[2:4] == ["  every instruction behaves as before", "  chips: all as before"]
    assert any(line.startswith("  verdicts: ") and "newly" not in line and line.endswith(" as before") for line in said)


def test_included_files_and_such_as_are_missing_are_watched(tmp_path: Path) -> None:
    machine = write_starter(tmp_path)
    machine.write_text(machine.read_text() + 'include "more.machine"\n')
    watching = Watching(tmp_path)
    watching.until("    help: did you mean")
    watching.until("")
    (tmp_path / "more.machine").write_text('rule "one more" reach panel.owns\n')
    said = watching.until("longest wait: ")
    assert said[0] == "lamp.machine, saved: more.machine"
    change(tmp_path / "more.machine", "one more", "another")
    said = watching.until("longest wait: ")
    assert any("new, proved: reach: another" in line for line in said)
    assert any("not asked any more: reach: one more" in line for line in said)
    assert watching.end()[0] == 130


def test_rounds_and_what_is_left_out(tmp_path: Path) -> None:
    write_starter(tmp_path)
    result = call(tmp_path, "watch", "--rounds", "1", "--no-prove")
    assert (result.returncode, result.stdout, result.stderr) == (
        0, "lamp.machine, watching; Ctrl-C ends it\nlamp: nothing found in the words alone\n\n", "")
    assert not (tmp_path / "cache").exists()
    call(tmp_path, "watch", "--rounds", "1", "--no-cache")
    assert not (tmp_path / "cache").exists()
    assert "proving ..." in call(tmp_path, "watch", "--rounds", "1").stdout
    kept = call(tmp_path, "watch", "--rounds", "1").stdout.splitlines()
    assert "proving ..." not in "".join(kept) and "kept from an earlier run" in kept[1], "it is there at once"


def test_a_name_that_does_not_exist_is_not_waited_for(tmp_path: Path) -> None:
    result = call(tmp_path, "watch", "none.machine")
    assert result.returncode == 2 and "there is no file `none.machine`" in result.stderr


def test_the_screen_is_cleared_on_a_terminal_only(tmp_path: Path) -> None:
    write_starter(tmp_path)
    assert "\x1b" not in call(tmp_path, "watch", "--rounds", "1").stdout
    for term, cleared in (("xterm", True), ("dumb", False)):
        main, other = pty.openpty()
        process = subprocess.Popen([COMMAND, "watch", "--rounds", "1"], cwd=tmp_path, stdin=other, stdout=other,
                                   stderr=other, env=environment(tmp_path, TERM=term))
        os.close(other)
        shown = b""
        try:
            while part := os.read(main, 65536):
                shown += part
        except OSError:         # Linux: the other side is closed
            pass
        os.close(main)
        assert process.wait(LONG) == 0
        assert shown.startswith(CLEAR.encode()) == cleared


# ---------------------------------------------------------------- inside


@pytest.fixture
def watcher(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Watcher:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    return Watcher(write_starter(tmp_path), Manner("text", False, "never"), prove=True, keep=False)


def test_a_save_during_a_proof_gives_it_up_and_is_answered(watcher: Watcher, monkeypatch: pytest.MonkeyPatch,
                                                           capsys: pytest.CaptureFixture[str]) -> None:
    """Also when the file is as it was by the time that it is looked at again."""
    sound, (machine, micro) = watch.snapshot, (watcher.path, watcher.path.with_suffix(".micro"))
    taken = iter([sound(machine), {micro: "half a save"}])
    monkeypatch.setattr(watch, "snapshot", lambda path: next(taken, None) or sound(path))
    monkeypatch.setattr("ordain.cli.background.ProofAside.done", lambda *_: False)
    watcher.check()
    assert "a file was saved: this proof is given up" in capsys.readouterr().out
    assert watcher.overtaken and watcher.seen.report is None
    monkeypatch.undo()
    watcher.wait()
    monkeypatch.chdir(machine.parent)
    watcher.keep = False
    watcher.check()
    assert ANSWERED.search(capsys.readouterr().out)
    assert watcher.seen.report is not None and not watcher.overtaken


def test_a_fault_of_ours_ends_the_round_and_not_the_watch(watcher: Watcher, monkeypatch: pytest.MonkeyPatch,
                                                          capsys: pytest.CaptureFixture[str]) -> None:
    import ordain.pipeline

    def fail(*_: object) -> None:
        raise ZeroDivisionError("planted")

    with monkeypatch.context() as broken:
        broken.setattr(ordain.pipeline, "build_model", fail)
        watcher.check()
    assert "error[own-fault]" in capsys.readouterr().err
    watcher.check()
    assert ANSWERED.search(capsys.readouterr().out)


def test_a_proof_that_fails_in_the_other_process_is_said(watcher: Watcher, monkeypatch: pytest.MonkeyPatch,
                                                         capfd: pytest.CaptureFixture[str]) -> None:
    def fail(*_: object, **__: object) -> None:
        raise ZeroDivisionError("planted")

    monkeypatch.setattr("ordain.cli.background.prove_built", fail)
    watcher.check()
    said = capfd.readouterr()
    assert "ZeroDivisionError: planted" in said.err
    assert "the process that proves has ended without a report" in said.err
    assert not ANSWERED.search(said.out)
