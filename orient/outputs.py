"""What a command writes never lands on what someone else keeps there.

- A single file, such as a sheet or a plan page, replaces only a file of its own kind that this
  program made: both carry the same stamp, as a page's `generator` or a document's creator.
- A set of files, such as a report, stands in a folder with `contents.json`, which says what the
  set is of and the SHA-256 of each file. It replaces only a set of the same thing. While a set
  is being replaced `contents.json` is the first to be new, so a set is whole exactly when every
  file is what `contents.json` says: `is_whole` tells.
- `force` sets both rules aside. It never sets aside the last one: a campaign's own tables are
  not written over, and no set goes into a campaign's folder.

All that is wrong with a place is said at once, and nothing is written then.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import re
import stat
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from orient import __version__
from orient.errors import Fault, InputError
from orient.files import as_bytes, check_place, is_left_behind, locked, scratch, write_whole
from orient.text import as_typed

CONTENTS = "contents.json"
#: Of this much at each end of a file, the stamp is looked for.
_LOOKED_AT = 100_000
_STAMPS = re.compile(
    rb'<meta name="generator" content="(orient[^"]*)"'
    rb"|/Creator \((orient[^)]*)\)"
    rb"|<dc:title>(orient[^<]*)</dc:title>"
    rb'|"made_by": "(orient[^"]*)"'
)
_OTHER_PLACE = "another name or folder"
_OR_FORCE = f"{_OTHER_PLACE}, or --force to replace it"


def write_output(
    folder: Path | str, contents: Mapping[str, str | bytes], force: bool = False
) -> list[Path]:
    """Write files that stand for themselves: all of them, or none.

    Args:
        folder: made where it does not exist.
        contents: file name, or the way to it from the folder, to content. A page carries
            `<meta name="generator" content="orient …">`, a document `orient …` as its creator,
            JSON a first key `made_by`: what carries none replaces only a file of equal content.
        force: replace whatever ordinary file is there.

    Returns:
        The paths written.

    Raises:
        InputError: a file that is there is not to be replaced; nothing was written.
        OSError: as of `write_whole`.
    """
    kinds = {name: (_stamp(as_bytes(content)), content) for name, content in contents.items()}
    _check_output(Path(folder), kinds, force)
    return write_whole(folder, contents)


def check_output(folder: Path | str, name: str, kind: str, force: bool = False) -> None:
    """Before long work: whether `write_output` would write a file of a kind there.

    Args:
        folder: where.
        name: the file's name.
        kind: its stamp, such as "orient plan".
        force: as of `write_output`.

    Raises:
        InputError: it would not.
        OSError: it could not, as of `write_whole`.
    """
    _check_output(Path(folder), {name: (kind.encode("utf-8"), None)}, force)
    check_place(Path(folder) / name)


def _check_output(
    folder: Path, kinds: Mapping[str, tuple[bytes | None, str | bytes | None]], force: bool
) -> None:
    faults: list[Fault] = []
    for path, (stamp, content) in ((folder / each, kind) for each, kind in kinds.items()):
        # A name may lead into another folder.
        name, taken = path.name, _entries(path.parent).get(_folded(path.name))
        if taken is None:
            continue
        owned = _names(_contents_of(path.parent))
        if _is_table(name) or _is_copy(path):
            faults.append(_fault(taken, "a table of a campaign, or its copy", _OTHER_PLACE))
        elif not force and _folded(name) in owned:
            faults.append(_fault(taken, "a file of the set that contents.json lists", _OR_FORCE))
        elif not force and not _may_replace(taken, stamp, content):
            faults.append(_fault(taken, "a file not known to be this command's", _OR_FORCE))
    if faults:
        raise InputError(faults)


def write_campaign(
    folder: Path | str, contents: Mapping[str, str | bytes], force: bool = False
) -> list[Path]:
    """Write a campaign that this program made, into a folder without files: all of it, or none.

    Args:
        folder: made where it does not exist.
        contents: file name to content, tables among them.
        force: replace files of these names, and tables, which the folder's `backups` keeps.

    Raises:
        InputError: there are files in the folder and `force` is not given, or the tables would
            not be read again, as with a name that no table takes; nothing was written.
        OSError: as of `write_whole`.
    """
    check_empty(folder, force=force)
    _check_reads({name: text for name, text in contents.items() if _is_table(name)})
    if force and Path(folder).is_dir():
        from orient.tables.editing import write_anew

        return write_anew(Path(folder), contents)
    return write_whole(folder, contents)


def _check_reads(tables: Mapping[str, str | bytes]) -> None:
    from orient.tables.campaign import read_campaign

    with scratch("campaign") as folder:
        write_whole(folder, tables)
        read_campaign(folder, unplaced=True)


def check_empty(*folders: Path | str, force: bool = False) -> None:
    """Before long work: whether `write_campaign` would write into these folders.

    Raises:
        InputError: it would not.
    """
    faults = [
        _fault(Path(folder), "a folder with files in it", "a new folder, or an empty one")
        for folder in folders
        if not force and any(not is_left_behind(path) for path in _entries(Path(folder)).values())
    ]
    if faults:
        raise InputError(faults)


def write_set(
    folder: Path | str,
    contents: Mapping[str, str | bytes],
    what: str,
    of: Path | str,
    force: bool = False,
) -> list[Path]:
    """Write files that belong together, with `contents.json` beside them: all, or none.

    Args:
        folder: made where it does not exist.
        contents: file name to content, the file that people open last.
        what: what the set is, such as "report".
        of: the campaign's folder that it is made from.
        force: replace another set, or other ordinary files, of these names.

    Returns:
        The paths of `contents`, in their order.

    Raises:
        InputError: the folder holds a campaign's tables or what is not to be replaced; nothing
            was written.
        TimeoutError: another run is writing there and did not finish.
        OSError: as of `write_whole`.
    """
    folder = Path(folder)
    listed = {name: hashlib.sha256(as_bytes(each)).hexdigest() for name, each in contents.items()}
    head: dict[str, Any] = {
        "made_by": f"orient {__version__}",
        "what": what,
        "of": _from_here(Path(of), folder),
    }
    head["files"] = listed
    stated = json.dumps(head, ensure_ascii=False, indent=1) + "\n"
    # Two runs at once would leave files of both.
    with locked(folder) if folder.is_dir() else contextlib.nullcontext():
        check_set(folder, list(contents), what, of, force)
        return write_whole(folder, {CONTENTS: stated, **contents})[1:]


def is_whole(folder: Path | str) -> bool:
    """Whether every file of a set is what its `contents.json` says."""
    folder = Path(folder)
    stated = _contents_of(folder)
    if stated is None:
        return False
    try:
        return all(
            hashlib.sha256((folder / name).read_bytes()).hexdigest() == digest
            for name, digest in stated["files"].items()
        )
    except OSError:
        return False


def check_set(
    folder: Path | str, names: Sequence[str], what: str, of: Path | str, force: bool = False
) -> None:
    """Before long work: whether `write_set` would write files of these names there.

    Raises:
        InputError: it would not.
    """
    folder = Path(folder)
    whose = {"what": what, "of": _from_here(Path(of), folder)}
    there, stated = _entries(folder), _contents_of(folder)
    owned = _names(stated)
    tables = [path for name, path in there.items() if _is_table(name) and name not in owned]
    if tables:
        listed = ", ".join(path.name for path in sorted(tables))
        said = f"a campaign's folder, with {listed}"
        raise InputError(_fault(folder, said, "a folder of its own for what is made"))
    if force:
        return
    if stated is not None and any(stated[key] != value for key, value in whose.items()):
        said = f"the {stated['what']} of {stated['of']}"
        raise InputError(_fault(folder, said, "another folder with -o, or --force to replace it"))
    faults = [
        _fault(there[_folded(name)], "a file that is no part of such a set", _OR_FORCE)
        for name in (CONTENTS, *names)
        if _folded(name) in there and _folded(name) not in owned
    ]
    if faults:
        raise InputError(faults)


def _fault(path: Path, found: str, wanted: str) -> Fault:
    return Fault(str(path), None, None, found, wanted)


def _entries(folder: Path) -> dict[str, Path]:
    """What a folder holds, by name in small letters: some systems know no others."""
    try:
        return {_folded(path.name): path for path in folder.iterdir()}
    except OSError:
        # Writing tells what is wrong with the folder.
        return {}


def _folded(name: str) -> str:
    return name.casefold()


def _names(stated: Mapping[str, Any] | None) -> set[str]:
    return set() if stated is None else {_folded(CONTENTS), *map(_folded, stated["files"])}


def _contents_of(folder: Path) -> dict[str, Any] | None:
    """What `contents.json` says, None where there is none of this program's."""
    try:
        stated = json.loads((folder / CONTENTS).read_text(encoding="utf-8"))
        files, texts = stated["files"], (stated["made_by"], stated["what"], stated["of"])
    except (OSError, ValueError, TypeError, KeyError, RecursionError):
        return None
    known = isinstance(files, dict) and all(isinstance(text, str) for text in texts)
    return stated if known and texts[0].startswith("orient ") else None


def _is_table(name: str) -> bool:
    from orient.tables.campaign import table_file_names

    return _folded(name) in table_file_names()


def _is_copy(path: Path) -> bool:
    """Whether a file is a campaign's table kept as it was: its name, then the time."""
    from orient.tables.editing import BACKUPS

    table, _, time = path.stem.partition(" ")
    kept = path.parent.resolve().name == BACKUPS
    return kept and bool(time) and _is_table(f"{table}{path.suffix}")


def check_source(source: Path, *outputs: Path) -> None:
    """Refuse to write over what a command reads, whatever name it has there.

    Raises:
        InputError: an output is the source; `force` does not set this aside.
    """
    for path in outputs:
        if path.exists() and source.exists() and path.samefile(source):
            raise InputError(_fault(path, "what this command reads", "another file"))


def _may_replace(path: Path, stamp: bytes | None, content: str | bytes | None) -> bool:
    try:
        if not stat.S_ISREG(os.lstat(path).st_mode):
            # Writing refuses it, and tells what it is.
            return True
        found = path.read_bytes()
    except OSError:
        return True
    same = content is not None and found == as_bytes(content)
    return same or (stamp is not None and _stamp(found) == stamp)


def _stamp(data: bytes) -> bytes | None:
    for part in _ends(data):
        if match := _STAMPS.search(part):
            return next(group for group in match.groups() if group is not None)
    return None


def _ends(data: bytes) -> Iterator[bytes]:
    yield data[:_LOOKED_AT]
    yield data[-_LOOKED_AT:]


def _from_here(path: Path, folder: Path) -> str:
    """The way from a folder to a path, as it stays when both are carried elsewhere together."""
    try:
        way = os.path.relpath(path.resolve(), folder.resolve())
    except ValueError:
        # Another drive.
        way = str(path.resolve())
    return as_typed(Path(way).as_posix())
