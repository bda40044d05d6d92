"""What a command writes lands on nothing that someone else keeps there."""

from __future__ import annotations

import errno
import json
import os
import shutil
import tempfile
import threading
import time
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from forked import Forked, forked, needs_fork
from hostile import csv_bytes, digest, good_tables, run, write_campaign

from orient import files
from orient.errors import InputError
from orient.outputs import CONTENTS, check_output, is_whole, write_output, write_set
from orient.tables import editing
from orient.tables.cells import with_cells

PAGE = '<meta name="generator" content="orient plan"><p>{}</p>'


@pytest.fixture(scope="module")
def base(tmp_path_factory):
    """Two campaigns of one name, and the report of the first."""
    folder = tmp_path_factory.mktemp("base")
    files = {f"{name}.csv": csv_bytes(rows) for name, rows in good_tables().items()}
    for side in ("north", "south"):
        write_campaign(folder / side / "camp", files)
    assert run(["report", str(folder / "north/camp"), "-o", str(folder / "out")]).status == 0
    return folder


@pytest.fixture
def here(base, tmp_path):
    shutil.copytree(base, tmp_path / "here")
    return tmp_path / "here"


def refused(arguments: list[str], folder: Path, *said: str) -> None:
    before = digest(folder)
    ending = run(arguments)
    assert ending.status in (1, 2)
    for words in said:
        assert words in ending.err, ending.err
    assert digest(folder) == before


# Reports ---------------------------------------------------------------------------------


@pytest.mark.parametrize("force", [[], ["--force"]])
def test_no_report_goes_into_a_campaign_s_folder(here, force):
    for target in (here / "north/camp", here / "south/camp"):
        arguments = ["report", str(here / "north/camp"), "-o", str(target), *force]
        refused(arguments, here, "a campaign's folder", "sites.csv")


def test_a_report_replaces_its_own_and_no_other_campaign_s(here):
    out = str(here / "out")
    assert is_whole(out)
    assert run(["report", str(here / "north/camp"), "-o", out]).status == 0
    again = ["report", str(here / "south/camp"), "-o", out]
    refused(again, here, "the report of ../north/camp", "--force")
    assert run([*again, "--force"]).status == 0
    assert json.loads((here / "out" / CONTENTS).read_text())["of"] == "../south/camp"
    assert is_whole(out)


def test_two_campaigns_of_one_name_do_not_share_the_default_folder(here, monkeypatch):
    monkeypatch.chdir(here)
    assert run(["report", "north/camp"]).status == 0
    refused(["report", "south/camp"], here, "the report of ../../north/camp")


def test_a_report_leaves_a_person_s_files_alone(here):
    page = here / "mine" / "index.html"
    page.parent.mkdir()
    page.write_text("precious")
    arguments = ["report", str(here / "north/camp"), "-o", str(page.parent)]
    refused(arguments, here, "index.html")
    assert run([*arguments, "--force"]).status == 0
    assert "precious" not in page.read_text("utf-8")


def test_a_report_carried_elsewhere_with_its_campaign_is_still_its_own(here):
    shutil.move(here, here.parent / "stick")
    stick = here.parent / "stick"
    ending = run(["report", str(stick / "north/camp"), "-o", str(stick / "out")])
    assert ending.status == 0, ending.err


def test_a_set_is_whole_until_one_of_its_files_is_changed_or_gone(tmp_path):
    write_set(tmp_path, {"a.csv": "1", "index.html": "2"}, "report", tmp_path / "camp")
    assert is_whole(tmp_path)
    (tmp_path / "a.csv").write_text("3")
    assert not is_whole(tmp_path)
    (tmp_path / "a.csv").unlink()
    assert not is_whole(tmp_path)
    write_set(tmp_path, {"a.csv": "1", "index.html": "2"}, "report", tmp_path / "camp")
    assert is_whole(tmp_path)
    assert not is_whole(tmp_path / "nowhere")


@pytest.mark.parametrize(
    "stated", ["", "[]", "{}", "null", '{"files": []}', "[" * 100_000, '{"made_by": "x"}']
)
def test_contents_json_of_another_program_counts_as_a_file_to_keep(tmp_path, stated):
    (tmp_path / CONTENTS).write_text(stated)
    with pytest.raises(InputError, match=r"contents\.json"):
        write_set(tmp_path, {"a.csv": "1"}, "report", tmp_path / "camp")
    assert (tmp_path / CONTENTS).read_text() == stated


@needs_fork
@pytest.mark.parametrize("command", ["report", "correct", "region"])
def test_a_temporary_folder_without_room_is_told(here, tmp_path, command):
    """A library that makes the layers there must not tell of its own insides."""
    import resource

    def small() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000))

    (here / "notes.csv").write_text("lat,lon,date,strike\n46,8,2026-05-01,33\n")
    arguments = {
        "report": [str(here / "north/camp"), "-o", str(here / "out")],
        "correct": [str(here / "notes.csv"), "-o", str(here / "notes.gpkg")],
        "region": ["--bounds", "8,46,9,47", "-o", str(here / "map"), "--only", "gpkg"],
    }[command]
    before = digest(here)
    ended = forked([command, *arguments], small)
    assert ended.status == 1
    assert ended.err.startswith(f"{tempfile.gettempdir()}: File too large")
    assert digest(here) == before


# Single files ----------------------------------------------------------------------------


def test_a_plan_page_never_replaces_a_table(here):
    plan = ["plan", str(here / "north/camp"), "--from", "2026-04-12", "--page"]
    refused([*plan, str(here / "north/camp/marks.csv")], here, ".html")


#: A table, a file of another's, and a place to name them from.
ELSEWHERE = {
    "a table of a campaign": "south/camp/marks.csv",
    "not known to be this command's": "mine.json",
}


@pytest.mark.parametrize("force", [[], ["--force"]])
@pytest.mark.parametrize("said", ELSEWHERE)
def test_a_sheet_s_layout_lands_on_nothing_in_another_folder(here, said, force):
    """The layout's folder need not be the sheet's."""
    (here / "mine.json").write_text("{}")
    target, out = here / ELSEWHERE[said], here / "out"
    arguments = ["sheet", str(here / "north/camp"), "--site", "Ridge", "--date", "2026-04-12"]
    arguments += ["-o", str(out / "s.pdf"), "--layout", str(target), *force]
    if force and target.name == "mine.json":
        assert run(arguments).status == 0
        assert "foot" in target.read_text("utf-8")
    else:
        refused(arguments, here, said)


def test_a_layout_takes_no_page_s_place(here):
    arguments = ["sheet", str(here / "north/camp"), "--site", "Ridge", "--date", "2026-04-12"]
    arguments += ["--board", "400x300", "-o", str(here / "s.svg")]
    for name in ("s.svg", "s-2.svg", "out/../S-2.SVG"):
        refused([*arguments, "--layout", str(here / name)], here, "name the same file")


def measured(here) -> list[str]:
    (here / "read.csv").write_text("site,azimuth_deg,altitude_deg\nRidge,90,5\nRidge,270,3\n")
    return ["skyline", str(here / "north/camp"), "--measured", str(here / "read.csv")]


def test_a_drawing_of_skylines_lands_on_no_reading(here):
    arguments = [*measured(here), "--draw", str(here / "read.csv"), "--force"]
    refused(arguments, here, "ending in .html")


def test_skylines_need_no_other_table(here):
    """Sites are known before any set-up is."""
    (here / "north/camp/setups.csv").unlink()
    (here / "north/camp/marks.csv").unlink()
    assert run([*measured(here), "--save"]).status == 0
    assert "90:5 270:3" in (here / "north/camp/sites.csv").read_text("utf-8")


def test_a_layer_of_sites_takes_no_skyline_and_is_called_what_it_is(here):
    camp = here / "north/camp"
    for table in ("sites", "setups", "marks"):
        (camp / f"{table}.csv").unlink()
    point = {"type": "Point", "coordinates": [8.25, 46.5]}
    site = {"type": "Feature", "properties": {"site": "Ridge"}, "geometry": point}
    layer = {"type": "FeatureCollection", "features": [site]}
    (camp / "sites.geojson").write_text(json.dumps(layer))
    refused([*measured(here), "--save"], here, "found a table kept as .geojson; wanted sites.csv")


def test_a_skyline_that_cannot_be_saved_is_not_drawn(here):
    """What is said to be unwritten is unwritten, and no row is shown as done."""
    assert run([*measured(here), "--save"]).status == 0
    refused([*measured(here), "--save", "--draw", str(here / "s.html")], here, "--force")


@pytest.mark.parametrize("kind", ["link", "read only", "below a file"])
def test_a_drawing_that_cannot_be_written_is_told_before_a_table_is_changed(here, kind):
    place = here / "s.html"
    if kind == "link":
        place.symlink_to(here / "elsewhere")
    elif kind == "read only":
        place.write_text("mine")
        place.chmod(0o444)
    else:
        place.write_text("mine")
        place = place / "s.html"
    refused([*measured(here), "--save", "--force", "--draw", str(place)], here, "left as it was")


@needs_fork
def test_what_was_written_before_a_failure_is_said(here):
    """The table is saved; the page meets a full disk; the message says both."""
    import resource

    def small() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (4000, 4000))

    arguments = [*measured(here), "--save", "--draw", str(here / "s.html")]
    ending = forked(arguments, small)
    table = here / "north/camp/sites.csv"
    assert "90:5 270:3" in table.read_text("utf-8")
    assert not (here / "s.html").exists()
    assert ending.status == 1
    assert ending.err.rstrip().endswith(f"Written before that: {_copy(table)}, {table}.")
    # Shown to a full screen, what is saved is said to be saved.
    full = os.open("/dev/full", os.O_WRONLY)
    with tempfile.TemporaryFile() as err:
        status = Forked([*measured(here), "--save", "--force"], 0, full, err.fileno()).wait()
        err.seek(0)
        assert status == 1
        assert f"{table}." in err.read().decode()
    os.close(full)


class Failing:
    """A module one of whose functions fails at its nth call."""

    def __init__(self, module: ModuleType, name: str, nth: int, fault: BaseException) -> None:
        self.real, self.named, self.nth, self.fault = module, name, nth, fault
        self.calls = 0

    def __getattr__(self, name: str) -> Any:
        return self._fails if name == self.named else getattr(self.real, name)

    def _fails(self, *arguments: Any, **more: Any) -> Any:
        self.calls += 1
        if self.calls == self.nth:
            raise self.fault
        return getattr(self.real, self.named)(*arguments, **more)


def told_and_done(here, monkeypatch, command: str, call: str, fault: BaseException) -> None:
    """Have each of a command's calls fail in turn; hold what it says against the disk."""
    module, _, name = call.partition(".")
    camp = here / "north/camp"
    log = here / "log.json"
    mark = {"setup": "R1", "mark": "77", "time": "10:05", "x_mm": 1, "y_mm": 2}
    reading = {"reading": "r9", "site": "Ridge", "date": "2026-04-12", "reading_deg": 10,
               "known_azimuth_deg": 12}  # fmt: skip
    told = {"marks": [mark], "readings": [reading]}
    log.write_text(
        json.dumps({"format": "orient field log", "version": 1, "campaign": "camp", "tables": told})
    )
    arguments = {
        "take": ["take", str(camp), str(log)],
        "skyline": [*measured(here), "--save", "--draw", str(here / "s.html")],
        "new": ["new", str(camp), "--force"],
    }[command]
    for nth in range(1, 40):
        shutil.rmtree(camp)
        shutil.copytree(here / "south/camp", camp)
        (here / "s.html").unlink(missing_ok=True)
        before = digest(here)
        failing = Failing(getattr(files, module), name, nth, fault)
        with monkeypatch.context() as patched:
            patched.setattr(files, module, failing)
            ending = run(arguments)
        changed = {name for name, sha in digest(here).items() if before.get(name) != sha}
        if failing.calls < nth:
            assert nth > 1
            return
        listed = ending.err.partition("Written before that: ")[2].rstrip().removesuffix(".")
        listed, _, more = listed.partition(" and ")
        paths = {str(Path(each).relative_to(here)) for each in listed.split(", ") if each}
        assert not any("orient-" in name for name in changed), (call, nth, changed)
        assert "itself failed" not in ending.err
        if ending.status:
            assert paths <= changed, (call, nth, ending.err)
            assert len(changed - paths) == int(more.split()[0] if more else 0), (call, nth)
        else:
            assert changed
    raise AssertionError("calls without end")


FULL = OSError(errno.ENOSPC, "No space left on device")


@pytest.mark.parametrize("command", ["take", "skyline", "new"])
def test_what_is_said_of_a_failure_is_so(here, monkeypatch, command):
    told_and_done(here, monkeypatch, command, "os.replace", FULL)


@pytest.mark.slow
@pytest.mark.parametrize("fault", [FULL, KeyboardInterrupt()], ids=["full", "stopped"])
@pytest.mark.parametrize(
    "call", ["tempfile.mkstemp", "os.fsync", "os.open", "os.replace", "os.stat"]
)
@pytest.mark.parametrize("command", ["take", "skyline", "new"])
def test_what_is_said_of_a_failure_at_any_call_is_so(here, monkeypatch, command, call, fault):
    told_and_done(here, monkeypatch, command, call, fault)


def test_two_reports_at_once_are_written_one_after_the_other(tmp_path):
    write_set(tmp_path / "out", {"a": "1", "b": "1"}, "report", tmp_path)
    held, done = threading.Event(), []

    def hold() -> None:
        with files.locked(tmp_path / "out"):
            held.set()
            time.sleep(0.3)
            done.append("held")

    other = threading.Thread(target=hold)
    other.start()
    held.wait()
    write_set(tmp_path / "out", {"a": "2", "b": "2"}, "report", tmp_path)
    assert done == ["held"]
    other.join()
    assert is_whole(tmp_path / "out")


def _copy(table: Path) -> Path:
    (copy,) = (table.parent / "backups").iterdir()
    return copy


def test_two_who_save_skylines_overwrite_none_of_the_other(here, monkeypatch):
    """Whether a site has one is looked at under the lock, not before."""
    table, real = here / "north/camp/sites.csv", editing.locked

    def locked(*arguments):
        data = with_cells(table.read_bytes(), "site", {"Ridge": "10:1 200:2"}, "horizon_deg")
        table.write_bytes(data)
        return real(*arguments)

    monkeypatch.setattr("orient.tables.editing.locked", locked)
    ending = run([*measured(here), "--save"])
    assert ending.status == 1
    assert "found a skyline of Ridge; wanted --force" in ending.err
    assert "10:1 200:2" in table.read_text("utf-8")


def test_nothing_lands_on_a_table_s_copy(here, monkeypatch):
    assert run([*measured(here), "--save"]).status == 0
    (copy,) = (here / "north/camp/backups").iterdir()
    notes = here / "notes.csv"
    notes.write_text("lat,lon,date,strike\n1,2,2026-01-01,3\n")
    refused(["correct", str(notes), "-o", str(copy), "--force"], here, "or its copy")
    monkeypatch.chdir(copy.parent)
    refused(["correct", str(notes), "-o", copy.name, "--force"], here, "or its copy")
    # A folder of that name is nobody's own: what else stands there is replaced as elsewhere.
    again = ["correct", str(notes), "-o", "notes corrected.csv", "--force"]
    assert [run(again).status for _ in range(2)] == [0, 0]


def test_a_lone_dash_is_no_folder(here, monkeypatch):
    """Elsewhere it stands for standard output."""
    monkeypatch.chdir(here)
    refused(["report", "north/camp", "-o", "-"], here, "./- is one of that name")
    assert run(["report", "north/camp", "-o", "./-"]).status == 0


def test_rows_for_a_machine_are_the_whole_of_the_output(here):
    ending = run([*measured(here), "--draw", str(here / "s.html"), "--format", "json"])
    assert [row["site"] for row in json.loads(ending.out)] == ["Ridge"]
    assert "s.html" in ending.err


@pytest.mark.parametrize(
    ("command", "output"),
    [
        (["plan", "--from", "2026-04-12"], ["--page", "p.html"]),
        (["night", "--from", "2026-04-12"], ["--page", "p.html", "--sheet", "p.pdf"]),
        (["crew", "--from", "2026-04-12", "--start", "Ridge"], ["--page", "p.html"]),
    ],
)
def test_rows_for_a_machine_stand_beside_a_page(here, monkeypatch, command, output):
    """What is asked for is not left out in silence, nor are paths written among the rows."""
    monkeypatch.chdir(here)
    command = [command[0], "north/camp", *command[1:], "--site", "Ridge", "--format", "json"]
    ending = run([*command, *output], seconds=60.0)
    assert ending.status == 0, ending.err
    assert json.loads(ending.out) == json.loads(run(command, seconds=60.0).out)
    assert [name for name in output if (here / name).is_file()] == output[1::2]
    assert all(name in ending.err for name in output[1::2])


@pytest.mark.parametrize(
    ("option", "name", "said"),
    [
        ("--page", "south/camp/marks.csv", "ending in .html"),
        ("--page", "mine.html", "not known to be this command's"),
        ("--sheet", "mine.pdf", "not known to be this command's"),
    ],
)
def test_a_page_of_nights_is_checked_before_the_work(here, monkeypatch, option, name, said):
    from orient.planning import night

    monkeypatch.setattr(night, "plan_night", None)
    for mine in ("mine.html", "mine.pdf"):
        (here / mine).write_text("precious")
    arguments = ["night", str(here / "north/camp"), "--from", "2026-04-12", "--site", "Ridge"]
    refused([*arguments, option, str(here / name)], here, said)


@pytest.mark.long
def test_a_page_and_a_sheet_replace_their_own_kind_only(here):
    camp, day = str(here / "north/camp"), "2026-04-12"
    page, pdf, svg = (here / name for name in ("p.html", "s.pdf", "s.svg"))
    sheet = ["sheet", camp, "--site", "Ridge", "--date", day, "--paper", "A3", "--rod", "150", "-o"]
    commands = {
        page: ["plan", camp, "--from", day, "--page", str(page)],
        pdf: [*sheet, str(pdf)],
        svg: [*sheet, str(svg)],
    }
    for path, command in commands.items():
        assert run(command).status == 0
        made = path.read_bytes()
        path.write_text("a person's own")
        refused(command, here, path.name, "--force")
        path.write_bytes(made.replace(b"2026", b"2025"))
        assert run(command).status == 0, path
        assert path.read_bytes() == made
    page.write_text("a person's own")
    assert run([*commands[page], "--force"]).status == 0
    assert page.stat().st_size > 1000
    report_page = here / "out" / "index.html"
    command = ["plan", camp, "--from", day, "--page", str(report_page)]
    refused(command, here, "contents.json")
    (here / "out" / CONTENTS).unlink()
    refused(command, here, "not known to be this command's")


def test_names_that_differ_by_capitals_are_one_place(tmp_path):
    (tmp_path / "Plan.HTML").write_text("mine")
    with pytest.raises(InputError, match=r"Plan\.HTML"):
        write_output(tmp_path, {"plan.html": PAGE.format(1)})
    (tmp_path / "MARKS.CSV").write_text("setup\n")
    with pytest.raises(InputError, match="a table of a campaign"):
        write_output(tmp_path, {"marks.csv": "1"}, force=True)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["MARKS.CSV", "Plan.HTML"]


def test_what_carries_no_stamp_replaces_only_its_equal(tmp_path):
    write_output(tmp_path, {"a.json": "[1]"})
    write_output(tmp_path, {"a.json": "[1]"})
    with pytest.raises(InputError, match="--force"):
        write_output(tmp_path, {"a.json": "[2]", "b.json": "[3]"})
    assert not (tmp_path / "b.json").exists()
    write_output(tmp_path, {"a.json": '{"made_by": "orient sheet"}'}, force=True)
    write_output(tmp_path, {"a.json": '{"made_by": "orient sheet", "page": 2}'})


def test_a_place_is_checked_before_the_work(tmp_path):
    write_output(tmp_path, {"p.html": PAGE.format(1)})
    check_output(tmp_path, "p.html", "orient plan")
    check_output(tmp_path, "new.html", "orient plan")
    with pytest.raises(InputError, match=r"p\.html"):
        check_output(tmp_path, "p.html", "orient field page")
    check_output(tmp_path, "p.html", "orient field page", force=True)


@pytest.mark.parametrize("kind", ["folder", "link"])
def test_what_is_no_plain_file_is_told_as_such(tmp_path, kind):
    place = tmp_path / "p.html"
    if kind == "folder":
        place.mkdir()
    else:
        place.symlink_to(tmp_path / "elsewhere")
    with pytest.raises(OSError, match=r"p\.html"):
        write_output(tmp_path, {"p.html": PAGE.format(1)})
    with pytest.raises(OSError, match=r"p\.html"):
        check_output(tmp_path, "p.html", "orient plan", force=True)
