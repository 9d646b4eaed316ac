"""The frame of the command line: help, unknown commands, statuses."""

import resource
import signal
import subprocess
import sys
from pathlib import Path

import click
import pytest

from ordain.cli import main
from ordain.cli.main import COMMANDS, run
from ordain.cli.writing import write_file


def ordain(*arguments: str, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-c", "from ordain.cli.main import main; main()", *arguments],
                          capture_output=True, text=True, cwd=cwd, check=False)


def test_help_names_every_command_and_imports_none(capsys: pytest.CaptureFixture[str]) -> None:
    code = "import sys; from ordain.cli.main import run; run(['--help']); " \
           "print([m for m in sys.modules if m.startswith('ordain.cli.') or m in ('pyparsing', 'bitarray', 'json')])"
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert all(f"  {name} " in shown for name in COMMANDS)
    assert shown.splitlines()[-1] == "['ordain.cli.main']"


def test_an_unknown_command_names_the_nearest_and_gives_status_2() -> None:
    result = ordain("biuld")
    assert result.returncode == 2
    assert "no command `biuld`. Did you mean `build`?" in result.stderr


@pytest.mark.parametrize(("raised", "status"), [
    (KeyboardInterrupt(), 130), (FileNotFoundError(2, "No such file or directory", "x.machine"), 2),
    (AssertionError("planted"), 70), (click.UsageError("planted"), 2),
])
def test_every_ending_has_one_status(
    raised: BaseException, status: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def fail(*_: object, **__: object) -> None:
        raise raised

    monkeypatch.setattr(main.ordain, "main", fail)
    assert run([]) == status
    said = capsys.readouterr().err
    assert said
    assert "Traceback" not in said


def test_a_closed_pipe_ends_quietly() -> None:
    process = subprocess.Popen([sys.executable, "-c", "from ordain.cli.main import main; main()", "--help"],
                               stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    assert process.stdout is not None
    assert process.stderr is not None
    process.stdout.close()
    assert process.stderr.read() == b""
    process.wait()
    process.stderr.close()


def test_interrupted_while_loading_it_leaves_with_130_and_one_line() -> None:
    code = "import sys, importlib.abc, runpy\n" \
           "class Stop(importlib.abc.MetaPathFinder):\n" \
           "    def find_spec(self, name, path, target=None):\n" \
           "        if name == 'ordain.cli.main': raise KeyboardInterrupt\n" \
           "sys.meta_path.insert(0, Stop())\n" \
           "runpy.run_module('ordain', run_name='__main__')"
    ended = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert (ended.returncode, ended.stderr) == (130, "interrupted\n")


def test_a_file_is_written_whole_or_stays_as_it_was(tmp_path: Path) -> None:
    """The limit on file sizes stands in for the full disk."""
    (tmp_path / "real").write_bytes(b"old")
    (tmp_path / "link").symlink_to("real")
    write_file(tmp_path / "link", b"new")
    assert (tmp_path / "link").is_symlink() and (tmp_path / "real").read_bytes() == b"new"
    handler, limit = signal.signal(signal.SIGXFSZ, signal.SIG_IGN), resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (4096, limit[1]))
    try:
        with pytest.raises(OSError, match="link") as raised:
            write_file(tmp_path / "link", bytes(5000))
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limit)
        signal.signal(signal.SIGXFSZ, handler)
    assert (tmp_path / "real").read_bytes() == b"new" and len(list(tmp_path.iterdir())) == 2
    assert raised.value.errno in main.WAYS_OUT


@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="wants Linux, where a process can see what it has")
@pytest.mark.parametrize(("megabytes", "status", "told"), [
    (600, 2, "error: memory: a proof sets aside "), (2000, 0, "carillon: all 42 questions proved")])
def test_a_small_address_space_gets_a_proof_or_a_message(megabytes: int, status: int, told: str) -> None:
    """`ulimit -v`: the library of diagrams would end the process with a panic of its own."""
    limit = (megabytes << 20, megabytes << 20)
    machine = Path(__file__).parents[2] / "examples" / "stepper"
    ended = subprocess.run([sys.executable, "-m", "ordain", "prove", str(machine), "--no-cache"], capture_output=True,
                           text=True, check=False, preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_AS, limit))
    assert ended.returncode == status and told in ended.stdout + ended.stderr
