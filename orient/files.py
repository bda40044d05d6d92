"""Files are written whole or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping
from pathlib import Path


def write_whole(folder: Path | str, contents: Mapping[str, str | bytes]) -> list[Path]:
    """Write the named files into a folder, each of them whole or not at all.

    Every file is first written and synced under a temporary name beside its place;
    only when all of them are safely on the disk are they renamed. A full disk or a
    kill before that leaves the old files as they were.

    Args:
        folder: made, with its parents, where it does not exist.
        contents: file name to text (written as UTF-8, newlines untouched) or bytes.

    Returns:
        The paths written, in the order given.

    Raises:
        OSError: the folder or a file cannot be written; nothing was replaced.
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    staged: list[tuple[str, Path]] = []
    try:
        for name, content in contents.items():
            data = content.encode("utf-8") if isinstance(content, str) else content
            target = folder / name
            handle, temporary = tempfile.mkstemp(dir=target.parent, prefix=".", suffix=".part")
            staged.append((temporary, target))
            with os.fdopen(handle, "wb") as stream:
                stream.write(data)
                stream.flush()
                os.fsync(stream.fileno())
            os.chmod(temporary, 0o666 & ~_umask())
        for temporary, target in staged:
            os.replace(temporary, target)
    except BaseException:
        for temporary, _ in staged:
            if os.path.exists(temporary):
                os.unlink(temporary)
        raise
    return [target for _, target in staged]


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
