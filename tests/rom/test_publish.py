"""Publishing: all files or none, whatever happens on the way."""

import errno
import os
import resource
import signal
import subprocess
import sys
import textwrap
import threading
import time
from pathlib import Path

import pytest

from ordain.rom import publish as module
from ordain.rom.publish import PublishRefused, publish

OLD = {"U1.bin": b"old one", "U2.bin": b"old two", "heron.json": b"old record"}
NEW = {"U1.bin": b"new one" * 1000, "U3.bin": b"new three", "heron.json": b"new record"}


def earlier(place: Path) -> frozenset[str] | None:
    """The build in a directory, by its record, as these tests write it."""
    if not (place / "heron.json").exists():
        return None
    return frozenset(OLD) | frozenset(NEW)


def content(place: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in place.iterdir() if path.is_file()}


def put(place: Path, files: dict[str, bytes], check: object = None) -> None:
    publish(place, files, earlier, check or (lambda path: None))  # type: ignore[arg-type]


def nothing_left_behind(parent: Path, *expected: str) -> bool:
    return sorted(os.listdir(parent)) == sorted(expected)


def test_a_build_appears_and_replaces_an_earlier_one(tmp_path: Path) -> None:
    place = tmp_path / "deep" / "build"
    put(place, OLD)
    assert content(place) == OLD
    put(place, NEW)
    assert content(place) == NEW, "the file of the chip that is no more is gone"
    assert nothing_left_behind(place.parent, "build")


def test_an_empty_directory_is_used_with_its_permissions(tmp_path: Path) -> None:
    place = tmp_path / "build"
    place.mkdir(mode=0o750)
    put(place, NEW)
    assert content(place) == NEW and place.stat().st_mode & 0o777 == 0o750


def test_what_no_build_wrote_is_kept(tmp_path: Path) -> None:
    place = tmp_path / "build"
    put(place, OLD)
    (place / "report.html").write_bytes(b"report")
    (place / "link").symlink_to("nowhere")
    (place / "photos").mkdir()
    (place / "photos" / "board.jpg").write_bytes(b"board")
    put(place, NEW)
    assert content(place) == {**NEW, "report.html": b"report"}
    assert os.readlink(place / "link") == "nowhere" and (place / "photos" / "board.jpg").read_bytes() == b"board"
    assert nothing_left_behind(tmp_path, "build")


def test_a_directory_that_is_no_build_is_not_touched(tmp_path: Path) -> None:
    place = tmp_path / "precious"
    place.mkdir()
    (place / "U1.bin").write_bytes(b"read from the only working chip")
    with pytest.raises(PublishRefused, match="no earlier build"):
        put(place, NEW)
    assert content(place) == {"U1.bin": b"read from the only working chip"}
    assert nothing_left_behind(tmp_path, "precious")


def test_a_foreign_file_or_directory_of_a_new_name_is_not_overwritten(tmp_path: Path) -> None:
    place = tmp_path / "build"
    put(place, OLD)
    before = content(place)
    (place / "U9.bin").write_bytes(b"a dump")
    with pytest.raises(PublishRefused, match="move it away"):
        put(place, {**NEW, "U9.bin": b"x"})
    assert content(place) == {**before, "U9.bin": b"a dump"}
    (place / "U3.bin").mkdir()
    with pytest.raises(PublishRefused, match="move it away"):
        put(place, NEW)
    assert content(place) == {**before, "U9.bin": b"a dump"}
    assert nothing_left_behind(tmp_path, "build")


def test_a_failed_check_publishes_nothing(tmp_path: Path) -> None:
    place = tmp_path / "build"
    put(place, OLD)
    seen: list[dict[str, bytes]] = []

    def check(path: Path) -> None:
        seen.append(content(path))
        assert content(place) == OLD, "nobody sees the new files yet"
        raise RuntimeError("reads back wrongly")

    with pytest.raises(RuntimeError, match="reads back wrongly"):
        put(place, NEW, check)
    assert seen == [NEW] and content(place) == OLD and nothing_left_behind(tmp_path, "build")
    with pytest.raises(RuntimeError):
        put(tmp_path / "other", NEW, lambda path: (_ for _ in ()).throw(RuntimeError()))
    assert nothing_left_behind(tmp_path, "build")


def test_a_file_in_the_way_and_symbolic_links(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"text")
    with pytest.raises(PublishRefused, match="is a file"):
        put(tmp_path / "file", NEW)
    assert (tmp_path / "file").read_bytes() == b"text"
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to("real")
    put(tmp_path / "link", NEW)
    assert (tmp_path / "link").is_symlink() and content(tmp_path / "real") == NEW
    (tmp_path / "dangling").symlink_to("later")
    put(tmp_path / "dangling", NEW)
    assert content(tmp_path / "later") == NEW


def test_the_current_directory_is_not_replaced_under_our_feet(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    put(tmp_path / "build", OLD)
    monkeypatch.chdir(tmp_path / "build")
    with pytest.raises(PublishRefused, match="go one up"):
        put(Path("."), NEW)
    assert content(tmp_path / "build") == OLD


@pytest.mark.parametrize("start", [None, OLD])
def test_a_full_disk_leaves_everything_as_it_was(start: dict[str, bytes] | None, tmp_path: Path) -> None:
    """The limit on file sizes stands in for the full disk: writing stops in the middle of a file with an OSError."""
    place = tmp_path / "build"
    if start:
        put(place, start)
    handler = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    limit = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (4096, limit[1]))
    try:
        with pytest.raises(OSError, match=r"build/U1\.bin") as raised:
            put(place, NEW)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limit)
        signal.signal(signal.SIGXFSZ, handler)
    assert not isinstance(raised.value, PublishRefused)
    assert (content(place) if start else place.exists()) == (start or False)
    assert nothing_left_behind(tmp_path, *(["build"] if start else []))


@pytest.mark.skipif(os.geteuid() == 0 and not Path("/usr/bin/setpriv").exists(), reason="root may write everywhere")
def test_a_directory_that_may_not_be_written(tmp_path: Path) -> None:
    place = tmp_path / "locked" / "build"
    place.parent.mkdir()
    put(place, OLD)
    os.chmod(tmp_path, 0o755)
    os.chmod(place.parent, 0o555)
    script = tmp_path / "try.py"
    script.write_text(PREAMBLE + "publish(Path(sys.argv[1]), NEW, earlier, lambda path: None)\n")
    unprivileged = ["setpriv", "--reuid=65534", "--clear-groups"] if os.geteuid() == 0 else []
    for parent in tmp_path.parents:
        if os.geteuid() == 0 and parent.stat().st_uid == 0 and parent.is_relative_to("/tmp") and parent != Path("/tmp"):
            os.chmod(parent, 0o755)
    ended = subprocess.run([*unprivileged, sys.executable, str(script), str(place)], capture_output=True, text=True)
    assert ended.returncode == 1 and "PermissionError" in ended.stderr and str(place) in ended.stderr
    assert content(place) == OLD


# ---------------------------------------------------------------- killed at any point

PREAMBLE = textwrap.dedent(f"""
    import os, signal, sys
    from pathlib import Path
    sys.path.insert(0, {str(Path(module.__file__).parents[2])!r})
    from ordain.rom import publish as module
    from ordain.rom.publish import publish
    OLD, NEW = {OLD!r}, {NEW!r}

    def earlier(place):
        return frozenset(OLD) | frozenset(NEW) if (place / "heron.json").exists() else None
""")

KILLED = PREAMBLE + textwrap.dedent("""
    import io
    place, last, two_steps = Path(sys.argv[1]), int(sys.argv[2]), sys.argv[3] == "two"
    calls = 0

    def deadly(call):
        def counted(*args, **kwargs):
            global calls
            calls += 1
            if calls == last:
                os.kill(os.getpid(), signal.SIGKILL)
            return call(*args, **kwargs)
        return counted

    if two_steps:
        module._exchanged = lambda one, other: False
    for name in ("mkdir", "fsync", "rename", "link", "unlink", "rmdir", "open", "close", "stat", "scandir", "listdir"):
        setattr(os, name, deadly(getattr(os, name)))
    module._exchanged = deadly(module._exchanged)
    publish(place, NEW, earlier, lambda path: None)
    print("done", calls)
""")


@pytest.mark.parametrize("steps", ["one", "two"])
def test_killed_at_any_point_leaves_the_old_or_the_new_build(steps: str, tmp_path: Path) -> None:
    script = tmp_path / "killed.py"
    script.write_text(KILLED)
    seen = set()
    last = 0
    done = False
    while not done:
        last += 1
        ground = tmp_path / str(last)
        place = ground / "build"
        put(place, OLD)
        (place / "notes.txt").write_bytes(b"mine")
        (place / "photos").mkdir()
        (place / "photos" / "board.jpg").write_bytes(b"board")
        ended = subprocess.run([sys.executable, "-S", str(script), str(place), str(last), steps], capture_output=True)
        done = ended.returncode == 0
        assert done or ended.returncode == -signal.SIGKILL, ended.stderr.decode()
        if place.exists():
            found = content(place)
            assert found.pop("notes.txt") == b"mine"
            assert found in (OLD, NEW), f"a mixture after call {last}"
            seen.add("old" if found == OLD else "new")
        else:
            assert steps == "two", "with an exchange there is never nothing"
            seen.add("none")
        final = {**NEW, "U4.bin": b"four"}
        put(place, final)                           # the next build mends what is left
        assert content(place) == {**final, "notes.txt": b"mine"}
        assert (place / "photos" / "board.jpg").read_bytes() == b"board"
        assert nothing_left_behind(ground, "build")
    assert last > 25 and seen == ({"old", "new"} if steps == "one" else {"old", "new", "none"})


def test_two_builds_at_once_give_one_of_the_two_whole(tmp_path: Path) -> None:
    script = tmp_path / "many.py"
    script.write_text(PREAMBLE + textwrap.dedent("""
        place, mark = Path(sys.argv[1]), sys.argv[2].encode()
        for turn in range(40):
            files = {f"U{chip}.bin": mark * 500 + b"%d" % turn for chip in range(6)} | {"heron.json": mark}
            publish(place, files, lambda path: frozenset(os.listdir(path)), lambda path: None)
    """))
    place = tmp_path / "build"
    builders = [subprocess.Popen([sys.executable, "-S", str(script), str(place), mark], stderr=subprocess.PIPE)
                for mark in "ab"]
    looks = 0
    while any(builder.poll() is None for builder in builders):
        try:
            handle = os.open(place, os.O_RDONLY)
        except FileNotFoundError:
            assert looks == 0, "once there, the build never disappears"
            continue
        try:                                        # what one opened directory shows is one build
            record = os.open("heron.json", os.O_RDONLY, dir_fd=handle)
            os.close(record)
            names = set(os.listdir(handle))
            assert len(names) == 7 or not os.path.samestat(os.fstat(handle), os.stat(place))
            looks += 1
        except FileNotFoundError:
            assert not os.path.samestat(os.fstat(handle), os.stat(place)), "a visible build lacks its record"
        finally:
            os.close(handle)
    for builder in builders:
        assert builder.wait() == 0, builder.stderr.read().decode() if builder.stderr else ""
        if builder.stderr:
            builder.stderr.close()
    assert looks > 3
    kinds = {data[:1] for data in content(place).values()}
    assert len(content(place)) == 7 and len(kinds) == 1
    assert nothing_left_behind(tmp_path, "build", "many.py")


def test_a_build_that_never_ends_is_not_waited_for_for_ever(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "WAIT_SECONDS", 0.05)
    with module._locked(tmp_path, tmp_path), pytest.raises(PublishRefused, match="another build"):
        put(tmp_path / "build", NEW)
    put(tmp_path / "build", NEW)
    assert content(tmp_path / "build") == NEW


def test_a_build_waits_for_another_that_ends(tmp_path: Path) -> None:
    begun = threading.Event()

    def other() -> None:
        with module._locked(tmp_path, tmp_path):
            begun.set()
            time.sleep(0.1)

    at_work = threading.Thread(target=other)
    at_work.start()
    begun.wait()
    put(tmp_path / "build", NEW)
    at_work.join()
    assert content(tmp_path / "build") == NEW


def test_where_directories_cannot_be_locked_it_goes_on_without(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Some network file systems refuse."""
    def refuse(handle: int, operation: int) -> None:
        raise OSError(errno.ENOLCK, "no locks available")

    monkeypatch.setattr(module.fcntl, "flock", refuse)
    monkeypatch.setattr(module, "WAIT_SECONDS", 0.05)
    put(tmp_path / "build", NEW)
    assert content(tmp_path / "build") == NEW


def test_links_stay_links(tmp_path: Path) -> None:
    """To a file as to a directory, wherever they lead."""
    place, album = tmp_path / "build", tmp_path / "album"
    put(place, OLD)
    album.mkdir()
    (tmp_path / "letter").write_bytes(b"dear")
    (place / "photos").symlink_to(album)
    (place / "post").symlink_to(tmp_path / "letter")
    put(place, NEW)
    assert os.readlink(place / "photos") == str(album) and os.readlink(place / "post") == str(tmp_path / "letter")
    assert not (tmp_path / "letter").is_symlink() and (tmp_path / "letter").read_bytes() == b"dear"


def test_where_directories_cannot_change_places_at_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """They do it one after the other; what stood there comes back when the second step fails."""
    place, rename = tmp_path / "build", os.rename
    put(place, OLD)
    monkeypatch.setattr(module, "_exchanged", lambda one, other: False)

    def refuse(old: Path, new: Path) -> None:
        if Path(new) == place and ".new-" in Path(old).name:
            raise OSError(errno.EACCES, "permission denied")
        rename(old, new)

    with monkeypatch.context() as patch, pytest.raises(OSError, match="cannot be replaced"):
        patch.setattr(module.os, "rename", refuse)
        put(place, NEW)
    assert content(place) == OLD
    put(place, NEW)
    assert content(place) == NEW and nothing_left_behind(tmp_path, "build")


def test_why_two_directories_were_not_exchanged(tmp_path: Path) -> None:
    """The system's own reason is told: here there is only one of them."""
    (tmp_path / "one").mkdir()
    if not module._exchanged(tmp_path / "one", tmp_path / "one"):
        pytest.skip("this system exchanges no directories in one step")
    with pytest.raises(FileNotFoundError):
        module._exchanged(tmp_path / "one", tmp_path / "other")


def test_remains_with_directories_and_links_in_them_are_cleared_away(tmp_path: Path) -> None:
    """Of a directory that is there already nothing changes, nor in one that a link leads to."""
    place, remains, album = tmp_path / "build", tmp_path / ".build.new-1", tmp_path / "album"
    put(place, OLD)
    for directory in (place / "photos", album, remains / "photos"):
        directory.mkdir(parents=True)
    for photo in (place / "photos" / "a", album / "b"):
        photo.write_bytes(b"c")
    (remains / "post").symlink_to(album)
    (remains / "U1.bin").write_bytes(b"half")
    put(place, NEW)
    assert nothing_left_behind(tmp_path, "album", "build") and content(place) == NEW
    assert content(place / "photos") == {"a": b"c"} and content(album) == {"b": b"c"}


def test_where_nothing_can_be_locked_only_old_remains_are_cleared_away(tmp_path: Path,
                                                                       monkeypatch: pytest.MonkeyPatch) -> None:
    """Another build may be at work on the others."""
    monkeypatch.setattr(module, "fcntl", None)
    for name, hours in (("1", 0), ("2", 2)):
        remains = tmp_path / f".build.new-{name}"
        remains.mkdir()
        long_ago = time.time() - 3600 * hours
        os.utime(remains, (long_ago, long_ago))
    put(tmp_path / "build", NEW)
    assert nothing_left_behind(tmp_path, ".build.new-1", "build") and content(tmp_path / "build") == NEW


def test_a_directory_that_is_called_as_a_file_of_the_earlier_build_is_kept(tmp_path: Path) -> None:
    """Somebody put it there in its place."""
    place = tmp_path / "build"
    put(place, OLD)
    (place / "U2.bin").unlink()
    (place / "U2.bin").mkdir()
    (place / "U2.bin" / "notes").write_bytes(b"mine")
    put(place, NEW)
    assert content(place) == NEW and content(place / "U2.bin") == {"notes": b"mine"}
