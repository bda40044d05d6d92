"""Files are written whole or not at all.

What is promised, and what is not:

- Every file is old or new, never a part, whatever happens: it is written and synced under a
  temporary name in the same folder, then renamed over its place.
- A set of files is all old or all new after any error (a full disk, a file held open by
  another program, an interrupt): what was renamed already is put back.
- Only a kill or a power cut within the renaming itself, well under a millisecond, can leave
  some files of a set new and some old, each still whole. No file system that a field laptop
  may have renames several files in one step; exchanging whole folders would, but would carry
  away what else a person keeps there. So the file that stands for all comes last in a set (the
  page after its tables), and running the command again puts the rest right.
- A kill may leave hidden temporary files; a later run into the same folder clears them away.
"""

from __future__ import annotations

import contextlib
import errno
import os
import random
import shutil
import signal
import stat
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping
from pathlib import Path

_PREFIX, _SUFFIX = ".orient-", ".part"
#: What this run has written, in order: for what it says at its end.
WRITTEN: list[Path] = []
#: A temporary file older than this belongs to no run that is still going.
_LEFT_BEHIND_S = 3600.0


def write_whole(folder: Path | str, contents: Mapping[str, str | bytes]) -> list[Path]:
    """Write the named files into a folder: all of them whole, or none.

    Args:
        folder: made, with its parents, where it does not exist.
        contents: file name to text (written as UTF-8, newlines untouched) or bytes, in the
            order in which they take their places. A file that is replaced keeps its mode and
            its owners.

    Returns:
        The paths written, in the order given.

    Raises:
        OSError: the folder or a file cannot be written, a folder or a symbolic link is in a
            file's place; everything is as it was. `filename` names the place.
    """
    folder = Path(folder)
    targets = [folder / name for name in contents]
    made: list[Path] = []
    staged: list[str] = []
    try:
        for target in targets:
            check_place(target)
        for parent in dict.fromkeys([folder, *(target.parent for target in targets)]):
            _make_folders(parent, made)
            _clear_left_behind(parent)
        for target, content in zip(targets, contents.values(), strict=True):
            _stage(target, content, staged)
        with _undisturbed():
            _put_in_place(staged, targets)
    except BaseException:
        _remove(staged)
        for each in reversed(made):
            with contextlib.suppress(OSError):
                each.rmdir()
        raise
    return targets


@contextlib.contextmanager
def locked(folder: Path | str, wait_s: float = 30.0) -> Iterator[None]:
    """Hold a folder against other runs of this program that lock it too.

    The system gives the lock back when a run ends, however it ends. Where a file system has no
    locks, nothing is held.

    Args:
        folder: that is there.
        wait_s: how long another run is waited for.

    Raises:
        TimeoutError: another run did not give it back.
        OSError: the folder cannot be opened.
    """
    handle = _lock_handle(Path(folder))
    try:
        until = time.monotonic() + wait_s
        while not _try_lock(handle):
            if time.monotonic() > until:
                said = f"another program has been writing here for {wait_s:.0f} s"
                raise TimeoutError(errno.ETIMEDOUT, said, str(folder))
            time.sleep(random.uniform(0.002, 0.02))
        yield
    finally:
        os.close(handle)


@contextlib.contextmanager
def scratch(name: str) -> Iterator[Path]:
    """A file's path in a temporary folder, for libraries that write to nothing else.

    Raises:
        OSError: writing failed, and the folder takes no file: `filename` names it.
    """
    with tempfile.TemporaryDirectory() as folder:
        try:
            yield Path(folder) / name
        except Exception:
            # A library on a full disk tells of its own insides.
            _check_room(Path(folder))
            raise


def _check_room(folder: Path) -> None:
    try:
        _stage(folder / "room", bytes(10_000_000), [])
    except OSError as fault:
        fault.filename = tempfile.gettempdir()
        raise


def _lock_handle(folder: Path) -> int:
    """A folder itself can be locked, except on Windows, where a hidden file stands for it."""
    if os.name == "posix":
        return os.open(folder, os.O_RDONLY)
    return os.open(folder / ".orient-lock", os.O_RDWR | os.O_CREAT)


def _try_lock(handle: int) -> bool:
    """Whether the lock is held now, or cannot be had on this file system at all."""
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as fault:
        return fault.errno not in (errno.EAGAIN, errno.EACCES, errno.EWOULDBLOCK, errno.EDEADLK)
    return True


def check_place(target: Path) -> None:
    """Before long work: whether `write_whole` would put a file there.

    Raises:
        OSError: something stands in its place that is not replaced, or where a folder is wanted.
    """
    try:
        mode = os.lstat(target).st_mode
    except FileNotFoundError:
        return
    except NotADirectoryError:
        wanted = "a file stands where a folder is wanted"
        raise NotADirectoryError(errno.ENOTDIR, wanted, str(target.parent)) from None
    if stat.S_ISLNK(mode):
        # Following it would write where nobody asked to; replacing it would break it.
        said = "a symbolic link, which is not written through"
        raise FileExistsError(errno.EEXIST, said, str(target))
    if stat.S_ISDIR(mode):
        said = "a folder stands where the file is wanted"
        raise IsADirectoryError(errno.EISDIR, said, str(target))
    if not stat.S_ISREG(mode):
        raise FileExistsError(errno.EEXIST, "no ordinary file, so not replaced", str(target))
    if not mode & 0o222:
        # Renaming over it would not ask: whoever set it so is heard all the same.
        raise PermissionError(errno.EACCES, "a file set to be read only", str(target))


def _make_folders(folder: Path, made: list[Path]) -> None:
    """Make a folder with its parents, noting those that were not there, outermost first."""
    missing = [each for each in (folder, *folder.parents) if not each.exists()]
    try:
        for each in reversed(missing):
            each.mkdir(exist_ok=True)
            made.append(each)
        folder.mkdir(exist_ok=True)
    except (FileExistsError, NotADirectoryError):
        said = "something else stands where a folder is wanted"
        raise NotADirectoryError(errno.ENOTDIR, said, str(folder)) from None


def as_bytes(content: str | bytes) -> bytes:
    """A file's content as it is written."""
    return content.encode("utf-8") if isinstance(content, str) else content


def is_left_behind(path: Path) -> bool:
    """Whether a file is a temporary one of this program, left by a run that was killed."""
    return path.name.startswith(_PREFIX) and path.name.endswith(_SUFFIX)


def _clear_left_behind(folder: Path) -> None:
    for path in folder.glob(f"{_PREFIX}*{_SUFFIX}"):
        with contextlib.suppress(OSError):
            if time.time() - path.lstat().st_mtime > _LEFT_BEHIND_S:
                path.unlink()


def _stage(target: Path, content: str | bytes, staged: list[str]) -> None:
    """Write and sync a file's content under a temporary name beside its place."""
    data = as_bytes(content)
    try:
        with _undisturbed():
            # A file that is made is also on the list of those to be removed.
            handle, temporary = tempfile.mkstemp(dir=target.parent, prefix=_PREFIX, suffix=_SUFFIX)
            staged.append(temporary)
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        _take_after(temporary, target)
    except OSError as fault:
        # The temporary name would tell a person nothing.
        fault.filename = str(target)
        raise


def _take_after(temporary: str, target: Path) -> None:
    """Give a file the mode of the one that it replaces, and its owners as far as is allowed."""
    try:
        status = os.stat(target)
    except OSError:
        mask = os.umask(0)
        os.umask(mask)
        os.chmod(temporary, 0o666 & ~mask)
        return
    if hasattr(os, "chown"):
        # Who shares a table by its group, or owns what an administrator changes, keeps it.
        for owners in ((-1, status.st_gid), (status.st_uid, -1)):
            with contextlib.suppress(OSError):
                os.chown(temporary, *owners)
    os.chmod(temporary, stat.S_IMODE(status.st_mode))


@contextlib.contextmanager
def _undisturbed() -> Iterator[None]:
    """Have requests to end wait, where the system can, until the renaming is done or undone."""
    if sys.platform == "win32":
        yield
        return
    waiting = {signal.SIGINT, signal.SIGTERM, signal.SIGHUP}
    before = signal.pthread_sigmask(signal.SIG_BLOCK, waiting)
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _put_in_place(staged: list[str], targets: list[Path]) -> None:
    """Rename every staged file over its place, or put back those that were there before."""
    before: dict[Path, str | None] = {}
    place = None
    try:
        # Nothing can go wrong after the last renaming, so what it replaces is not kept.
        for place in targets[:-1]:
            before[place] = _second_name(place)
        for temporary, place in zip(staged, targets, strict=True):
            os.replace(temporary, place)
        WRITTEN.extend(targets)
    except BaseException as fault:
        # A name that is gone has been renamed; with all of them gone the work is done.
        renamed = [not os.path.lexists(temporary) for temporary in staged]
        if all(renamed):
            WRITTEN.extend(targets)
        else:
            _put_back(
                [target for target, done in zip(targets, renamed, strict=True) if done], before
            )
        if isinstance(fault, OSError):
            fault.filename, fault.filename2 = str(place), None
        raise
    finally:
        _remove([name for name in before.values() if name])
    _sync_folders(targets)


def _put_back(targets: list[Path], before: dict[Path, str | None]) -> None:
    for target in targets:
        with contextlib.suppress(OSError):
            name = before[target]
            if name is None:
                target.unlink()
            else:
                os.replace(name, target)


def _second_name(target: Path) -> str | None:
    """Another name for the file that stands in a place, None where there is none."""
    if not target.exists():
        return None
    handle, name = tempfile.mkstemp(dir=target.parent, prefix=_PREFIX, suffix=_SUFFIX)
    os.close(handle)
    try:
        os.unlink(name)
        os.link(target, name)
    except OSError:
        # A memory card's file system knows no second names.
        shutil.copy2(target, name)
    return name


def _sync_folders(targets: list[Path]) -> None:
    """Have the new names on the disk too, where the system can sync a folder."""
    for folder in {target.parent for target in targets}:
        with contextlib.suppress(OSError):
            handle = os.open(folder, os.O_RDONLY)
            try:
                os.fsync(handle)
            finally:
                os.close(handle)


def _remove(names: list[str]) -> None:
    for name in names:
        with contextlib.suppress(OSError):
            os.unlink(name)
