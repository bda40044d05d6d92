"""Files replace the old whole or not at all, whatever is done to the process or the disk."""

from __future__ import annotations

import errno
import json
import os
import random
import signal
import stat
import subprocess
import sys
import time
from pathlib import Path

import pytest

from orient import files
from orient.files import write_whole

OLD = {"results.csv": "old,1\n", "results.json": "[1]\n", "index.html": "<p>old</p>\n"}
NEW = {"results.csv": "new,2\n" * 9, "results.json": "[2]\n", "new.txt": "n", "index.html": "new\n"}
posix_only = pytest.mark.skipif(os.name != "posix", reason="signals and links of POSIX systems")


def contents(folder: Path) -> dict[str, str]:
    """What a person sees in a folder: the files that are not hidden."""
    return {
        path.name: path.read_text()
        for path in sorted(folder.iterdir())
        if not path.name.startswith(".")
    }


def hidden(folder: Path) -> list[str]:
    return [path.name for path in folder.iterdir() if path.name.startswith(".")]


@pytest.fixture
def folder(tmp_path):
    write_whole(tmp_path / "report", OLD)
    return tmp_path / "report"


def test_a_set_is_written_and_replaced(folder):
    assert contents(folder) == OLD
    paths = write_whole(folder, NEW)
    assert [path.name for path in paths] == list(NEW)
    assert contents(folder) == NEW
    assert not hidden(folder)


def test_text_is_utf8_with_its_newlines_kept(tmp_path):
    write_whole(tmp_path, {"a": "é\r\n\n", "b": b"\x00\xff"})
    assert (tmp_path / "a").read_bytes() == "é\r\n\n".encode()
    assert (tmp_path / "b").read_bytes() == b"\x00\xff"


def test_folders_are_made_and_unmade_with_a_failure(tmp_path, monkeypatch):
    write_whole(tmp_path / "a" / "b", {"c/d": "1"})
    assert (tmp_path / "a" / "b" / "c" / "d").read_text() == "1"

    def full(*_):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(OSError, match="No space"):
        write_whole(tmp_path / "x" / "y", {"z": "1"})
    assert not (tmp_path / "x").exists()


@posix_only
def test_a_replaced_file_keeps_its_mode_and_a_new_one_follows_the_umask(tmp_path):
    (tmp_path / "mine").write_text("1")
    (tmp_path / "mine").chmod(0o640)
    before = os.umask(0o027)
    try:
        write_whole(tmp_path, {"mine": "2", "new": "3"})
    finally:
        os.umask(before)
    modes = {name: stat.S_IMODE((tmp_path / name).stat().st_mode) for name in ("mine", "new")}
    assert modes == {"mine": 0o640, "new": 0o640}


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="gives files away")
def test_a_replaced_file_keeps_its_owners(tmp_path):
    """An administrator's run takes no table from its crew."""
    (tmp_path / "mine").write_text("1")
    os.chown(tmp_path / "mine", 12345, 23456)
    (tmp_path / "mine").chmod(0o660)
    write_whole(tmp_path, {"mine": "2", "new": "3"})
    status = (tmp_path / "mine").stat()
    assert (status.st_uid, status.st_gid, status.st_mode & 0o777) == (12345, 23456, 0o660)
    assert (tmp_path / "new").stat().st_uid == os.geteuid()


@posix_only
@pytest.mark.parametrize("kind", ["link", "dangling link", "folder", "pipe"])
def test_what_is_no_plain_file_is_never_replaced(folder, tmp_path, kind):
    place = folder / "results.json"
    place.unlink()
    elsewhere = tmp_path / "elsewhere"
    if kind == "link":
        elsewhere.write_text("precious")
        place.symlink_to(elsewhere)
    elif kind == "dangling link":
        place.symlink_to(elsewhere)
    elif kind == "folder":
        place.mkdir()
    else:
        os.mkfifo(place)
    with pytest.raises(OSError, match=r"results\.json") as caught:
        write_whole(folder, NEW)
    assert caught.value.filename == str(place)
    assert (folder / "index.html").read_text() == OLD["index.html"]
    assert not (folder / "new.txt").exists()
    if kind == "link":
        assert elsewhere.read_text() == "precious"
    else:
        assert not elsewhere.exists()


@pytest.mark.parametrize("below", ["", "deeper/still"])
def test_a_file_where_a_folder_is_wanted(tmp_path, below):
    (tmp_path / "taken").write_text("precious")
    with pytest.raises(NotADirectoryError, match="where a folder is wanted"):
        write_whole(tmp_path / "taken" / below, NEW)
    assert (tmp_path / "taken").read_text() == "precious"


@posix_only
def test_a_link_to_a_folder_serves_as_that_folder(tmp_path, folder):
    (tmp_path / "link").symlink_to(folder)
    write_whole(tmp_path / "link", NEW)
    assert contents(folder) == NEW


def test_a_run_clears_away_what_a_killed_one_left(folder):
    stale, fresh = folder / ".orient-stale.part", folder / ".orient-fresh.part"
    for path in (stale, fresh):
        path.write_text("half")
    os.utime(stale, (time.time() - 7200,) * 2)
    write_whole(folder, NEW)
    # The fresh one may belong to a run that is still going.
    assert hidden(folder) == [fresh.name]


# Errors at every step --------------------------------------------------------------------

STEPS = ["tempfile.mkstemp", "os.fdopen", "os.fsync", "os.chmod", "os.link", "os.replace"]


@pytest.mark.parametrize("step", STEPS)
@pytest.mark.parametrize("nth", [1, 2, 3, 4])
def test_a_full_disk_at_any_step_leaves_everything_as_it_was(folder, monkeypatch, step, nth):
    module, name = step.split(".")
    owner = getattr(files, module)
    real, calls = getattr(owner, name), 0

    def failing(*arguments, **options):
        nonlocal calls
        calls += 1
        if calls == nth:
            raise OSError(errno.ENOSPC, "No space left on device")
        return real(*arguments, **options)

    monkeypatch.setattr(owner, name, failing)
    if name == "link":
        # A file system without second names: a copy stands in.
        write_whole(folder, NEW)
        assert contents(folder) == NEW
    else:
        with pytest.raises(OSError, match="No space") as caught:
            write_whole(folder, NEW)
        assert Path(caught.value.filename).name in NEW
        assert contents(folder) == OLD
    assert not hidden(folder)


def test_a_copy_that_cannot_be_kept_stops_before_anything_is_replaced(folder, monkeypatch):
    def no_second_names(*_):
        raise OSError(errno.EPERM, "Operation not permitted")

    def full(*_):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "link", no_second_names)
    monkeypatch.setattr(files.shutil, "copy2", full)
    with pytest.raises(OSError, match="No space"):
        write_whole(folder, NEW)
    assert contents(folder) == OLD


#: Ends the process, or raises, at the n-th line that runs in orient.files; forked for every n.
_AT_EVERY_LINE = """
import json, os, sys
from pathlib import Path
from orient import files
folder, way, stride = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])
old, new = map(json.loads, sys.argv[4:])

def stopping(n):
    left = [n]
    def trace(frame, event, argument):
        if frame.f_code.co_filename != files.__file__:
            return None
        if event == "line":
            left[0] -= 1
            if left[0] == 0:
                if way == "kill":
                    os._exit(9)
                sys.settrace(None)
                raise KeyboardInterrupt
        return trace
    return trace

ends = []
for n in range(1, 2000, stride):
    here = folder / str(n)
    files.write_whole(here, old)
    child = os.fork()
    if child == 0:
        sys.settrace(stopping(n))
        try:
            files.write_whole(here, new)
        except KeyboardInterrupt:
            os._exit(9)
        os._exit(0)
    if os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0:
        break
    names = sorted(os.listdir(here))
    ends.append({name: (here / name).read_text() for name in names if name[0] != "."})
print(json.dumps(ends))
"""


EVERY_LINE = pytest.mark.parametrize("stride", [7, pytest.param(1, marks=pytest.mark.slow)])


def _ends(tmp_path: Path, way: str, stride: int) -> list[dict[str, str]]:
    arguments = [str(tmp_path), way, str(stride), json.dumps(OLD), json.dumps(NEW)]
    done = subprocess.run(
        [sys.executable, "-c", _AT_EVERY_LINE, *arguments],
        capture_output=True,
        text=True,
        check=True,
    )
    ends = json.loads(done.stdout)
    assert len(ends) > 100 / stride
    return ends


@posix_only
@EVERY_LINE
def test_an_interrupt_at_any_line_leaves_a_set_all_old_or_all_new(tmp_path, stride):
    ends = _ends(tmp_path, "interrupt", stride)
    assert [end for end in ends if end not in (OLD, NEW)] == []
    assert OLD in ends
    assert NEW in ends


@posix_only
@EVERY_LINE
def test_a_kill_at_any_line_leaves_every_file_whole_and_the_page_last(tmp_path, stride):
    ends = _ends(tmp_path, "kill", stride)
    for end in ends:
        assert set(OLD) <= set(end) <= set(NEW)
        for name, text in end.items():
            assert text in (OLD.get(name), NEW[name])
    mixed = [end for end in ends if end not in (OLD, NEW)]
    # Only within the renaming: two lines for each file but the last.
    assert len(mixed) <= 2 * (len(NEW) - 1)
    assert all(end["index.html"] == OLD["index.html"] for end in mixed)


_OVER_AND_OVER = """
import sys
from orient.files import write_whole
for turn in range(10**9):
    text = str(turn % 10) * 200_000
    write_whole(sys.argv[1], {"a.csv": text, "b.json": text, "index.html": text})
    print(turn, flush=True)
"""


@posix_only
@pytest.mark.slow
def test_a_real_kill_at_any_moment_leaves_every_file_whole(tmp_path):
    generator = random.Random(5)
    for turn in range(60):
        child = subprocess.Popen(
            [sys.executable, "-c", _OVER_AND_OVER, str(tmp_path)], stdout=subprocess.PIPE
        )
        assert child.stdout is not None
        child.stdout.readline()
        time.sleep(generator.uniform(0.0, 0.05))
        child.send_signal(signal.SIGKILL)
        child.wait()
        child.stdout.close()
        for name, text in contents(tmp_path).items():
            assert len(text) == 200_000, (turn, name)
            assert len(set(text)) == 1, (turn, name)


_ASKED_TO_END = """
import signal, sys
for asked in (signal.SIGTERM, signal.SIGHUP):  # whoever runs the tests may not hear them
    signal.signal(asked, signal.SIG_DFL)
from orient.cli import _end_in_good_order
from orient.files import write_whole
_end_in_good_order()
try:
    for turn in range(10**9):
        text = str(turn % 10) * 20_000
        write_whole(sys.argv[1], {f"{n}.csv": text for n in range(12)})
        if turn == 0:
            print("begun", flush=True)
except KeyboardInterrupt:
    sys.exit(1)
"""


@posix_only
@pytest.mark.parametrize("turns", [4, pytest.param(60, marks=pytest.mark.slow)])
def test_a_request_to_end_at_any_moment_leaves_a_set_of_one_age(tmp_path, turns):
    generator = random.Random(7)
    for turn in range(turns):
        child = subprocess.Popen(
            [sys.executable, "-c", _ASKED_TO_END, str(tmp_path)], stdout=subprocess.PIPE
        )
        assert child.stdout is not None
        child.stdout.readline()
        time.sleep(generator.uniform(0.0, 0.05))
        child.send_signal((signal.SIGTERM, signal.SIGHUP, signal.SIGINT)[turn % 3])
        assert child.wait(60) == 1
        child.stdout.close()
        assert len(set(contents(tmp_path).values())) == 1, turn
        assert not hidden(tmp_path), turn


@posix_only
def test_a_locked_folder_is_waited_for_and_given_back_by_a_killed_run(tmp_path):
    holding = (
        "import sys, time\nfrom orient.files import locked\nwith locked(sys.argv[1]):\n"
        "    print('held', flush=True)\n    time.sleep(60)"
    )
    child = subprocess.Popen([sys.executable, "-c", holding, str(tmp_path)], stdout=subprocess.PIPE)
    assert child.stdout is not None
    child.stdout.readline()
    with pytest.raises(TimeoutError, match="another program"), files.locked(tmp_path, 0.1):
        pass
    child.kill()
    child.wait()
    child.stdout.close()
    with files.locked(tmp_path, 0.1):
        pass


# Small disks -----------------------------------------------------------------------------

_LIMITED = """
import resource, signal, sys
from orient.files import write_whole
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000))
try:
    write_whole(sys.argv[1], {"results.csv": "n" * 50_000, "index.html": "n" * 200_000})
except OSError as fault:
    print(fault.errno)
"""


@posix_only
def test_a_quota_leaves_everything_as_it_was(folder):
    done = subprocess.run(
        [sys.executable, "-c", _LIMITED, str(folder)], capture_output=True, text=True, check=True
    )
    assert int(done.stdout) == errno.EFBIG
    assert contents(folder) == OLD
    assert not hidden(folder)


@posix_only
def test_a_small_file_system_leaves_everything_as_it_was(tmp_path):
    place = tmp_path / "small"
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=1m", "none", str(place)]
    try:
        mounted = subprocess.run(mount, capture_output=True, text=True)
    except FileNotFoundError:
        pytest.skip("no mount command")
    if mounted.returncode:
        pytest.skip(f"no right to mount a small file system: {mounted.stderr.strip()}")
    try:
        write_whole(place, OLD)
        with pytest.raises(OSError, match="space"):
            write_whole(place, dict.fromkeys(NEW, "n" * 500_000))
        assert contents(place) == OLD
        assert not hidden(place)
        write_whole(place, NEW)
        assert contents(place) == NEW
    finally:
        subprocess.run(["umount", str(place)], check=True)
