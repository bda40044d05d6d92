"""Marks typed in one by one: saved at once, none lost, and the table left as its owner has it."""

from __future__ import annotations

import contextlib
import errno
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import hostile
import pytest
from forked import Forked
from hostile import complaints, csv_bytes, digest, run, write_campaign

from orient.flags import CAUTIONS
from orient.tables.campaign import read_campaign
from orient.tables.editing import Sitting

posix_only = pytest.mark.skipif(os.name != "posix", reason="signals and terminals of POSIX")

#: A good mark of the board R1, after the last that it has, at 16:45.
GOOD = "17:30 454.4 394.6"


@pytest.fixture
def campaign(tmp_path):
    tables = hostile.good_tables()
    write_campaign(tmp_path, {f"{name}.csv": csv_bytes(rows) for name, rows in tables.items()})
    return tmp_path


def typed(campaign: Path, *lines: str, setup: str = "R1") -> hostile.Ending:
    ending = run(["mark", str(campaign), setup], typed="".join(line + "\n" for line in lines))
    assert complaints(ending) == []
    return ending


def tables_of(campaign: Path) -> dict[str, str]:
    """The campaign's files, copies of earlier ones left out."""
    return {name: sha for name, sha in digest(campaign).items() if not name.startswith("backups")}


def rewritten(campaign: Path, data: bytes) -> None:
    (campaign / "marks.csv").write_bytes(data)


def marks(campaign: Path, setup: str = "R1"):
    table = read_campaign(campaign).marks
    return table[table["setup"] == setup]


def test_every_form_of_a_line(campaign):
    before = (campaign / "marks.csv").read_bytes()
    ending = typed(
        campaign,
        "17:00 333.4 362.1",
        "17:10:30  371,8   +372,7",
        "17:30 601.8@49.03",
        "- 100 -300 ring=A",
        "18:00 624.5 437.4 ring=B note=shaky hand, wind",
        "",
        "done",
        "18:30 1 1",
    )
    assert ending.status == 0
    after = (campaign / "marks.csv").read_bytes()
    assert after == before + (
        b"R1,11,17:00,333.4,362.1,,,,\n"
        b"R1,12,17:10:30,371.8,+372.7,,,,\n"
        b"R1,13,17:30,454.3909,394.5785,,,,\n"
        b"R1,14,,100,-300,A,,,\n"
        b'R1,15,18:00,624.5,437.4,B,,,"shaky hand, wind"\n'
    )
    assert "5 marks typed; marks.csv has 15 marks of board R1." in ending.out


def test_it_begins_with_the_cautions_and_the_forms(campaign):
    ending = typed(campaign)
    for caution in CAUTIONS:
        assert caution in ending.out
    assert "Board R1 at Ridge, 2026-04-12, rod 300 mm: 10 marks so far." in ending.out
    assert "10:20 -120.5 88" in ending.out
    assert "0 marks typed" in ending.out


def test_a_good_mark_is_not_asked_about(campaign):
    ending = typed(campaign, GOOD)
    assert "Saved: mark 11, 17:30, x 454.4, y 394.6 mm" in ending.out
    assert "Look again" not in ending.out


@pytest.mark.parametrize(
    ("line", "question"),
    [
        ("5:30 454.4 394.6", "Is it 17:30?"),
        ("17:30 45.44 39.46", "Is it in centimetres? In mm it is x 454.4, y 394.6"),
        ("17:30 -454.4 394.6", "Is the sign of x wrong"),
        ("17:30 394.6 454.4", "Are x and y the wrong way round?"),
        ("17:30 500 394.6", "mm from where the sun and the marks before it predict"),
        ("16:45 283.1 347.3", "typed twice"),
        ("17:30 900 870", "the board has room for 802"),
    ],
)
def test_slips_are_asked_about_at_once_and_saved_all_the_same(campaign, line, question):
    ending = typed(campaign, line)
    assert question in ending.out
    assert len(marks(campaign)) == 11


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("17:30", "x y or length@angle"),
        ("17:30 1 2 3", "x y or length@angle"),
        ("5:30 pm 1 2", "x y or length@angle"),
        ("5:30pm 1 2", "a time of the 24-hour clock, HH:MM or HH:MM:SS: 17:30"),
        ("25:00 1 2", "a time of the 24-hour clock"),
        ("17:30 nan 2", "'nan'"),
        ("17:30 1e999 2", "a number from -20000 to 20000 mm"),
        ("17:30 5@", "x y or length@angle"),
        ("17:30 -5@20", "a number from 0 to 20000 mm"),
        ("17:30 5@400", "a number from -360 to 360°"),
        ("17:30 1 2 ring=A ring=B", "x y or length@angle"),
        ("17:30 1 2 ring=\x07", "control characters"),
        ("\x1b[2J", "x y or length@angle"),
        ("x" * 20_000, "x y or length@angle"),
    ],
)
def test_what_the_table_would_not_take_is_not_saved(campaign, line, said):
    before = digest(campaign)
    ending = typed(campaign, line)
    assert said in ending.out
    assert "Not saved" in ending.out
    assert ending.status == 1
    assert digest(campaign) == before
    assert all(c.isprintable() or c == "\n" for c in ending.out)


def test_undo_takes_back_what_was_typed_now_and_no_more(campaign):
    before = tables_of(campaign)
    ending = typed(campaign, "17:00 333.4 362.1", GOOD, "undo", "undo", "undo", "list")
    assert tables_of(campaign) == before
    assert "Taken back: mark 12, 17:30" in ending.out
    assert "Taken back: mark 11, 17:00" in ending.out
    assert "Nothing typed now is left to take back" in ending.out
    assert ending.out.count("  mark ") == 10


def test_undo_takes_out_its_own_mark_where_someone_else_has_added_one(campaign, monkeypatch):
    def lines(_):
        yield GOOD
        with (campaign / "marks.csv").open("ab") as table:
            table.write(b"R1,99,10:20,1,2,,,,\n")
        yield "undo"
        yield "17:40 504.1 407.4"

    monkeypatch.setattr("orient.commands.mark._lines", lines)
    before = (campaign / "marks.csv").read_bytes()
    ending = typed(campaign)
    assert "Taken back: mark 11, 17:30" in ending.out
    assert (campaign / "marks.csv").read_bytes() == (
        before + b"R1,99,10:20,1,2,,,,\nR1,100,17:40,504.1,407.4,,,,\n"
    )


def test_undo_leaves_a_mark_that_someone_else_has_changed(campaign, monkeypatch):
    def lines(_):
        yield GOOD
        data = (campaign / "marks.csv").read_bytes()
        (campaign / "marks.csv").write_bytes(data.replace(b"454.4", b"454.5"))
        yield "undo"

    monkeypatch.setattr("orient.commands.mark._lines", lines)
    assert "was changed meanwhile" in typed(campaign).out
    assert b"454.5,394.6" in (campaign / "marks.csv").read_bytes()


@pytest.mark.parametrize(
    ("table", "row"),
    [
        (b"\xef\xbb\xbfSetup;Time;X_mm;Y_mm;who\r\nR1;10:00;-1,5;2,25;me\r\n",
         b"R1;17:30;454,4;394,6;\r\n"),
        (b"setup;time;x_mm;y_mm\nR1;10:00;-1.5;2\n", b"R1;17:30;454.4;394.6\n"),
        (b"sep=;\nsetup;time;x_mm;y_mm\nR1;10:00;-1,5;2\n", b"R1;17:30;454,4;394,6\n"),
        (b'\xef\xbb\xbf"sep=,"\r\n"setup","time","x_mm","y_mm"\r\n"R1","10:00","1","2"\r\n',
         b"R1,17:30,454.4,394.6\r\n"),
        (b'\xef\xbb\xbf\xef\xbb\xbf"setup",time,x_mm,y_mm\n', b"R1,17:30,454.4,394.6\n"),
        (b"setup;time;x_mm;y_mm\rR1;10:00;-1,5;2,25\rR1;;3,5;4,5\r", b"R1;17:30;454,4;394,6\r"),
        (b"setup\ttime\tx_mm\ty_mm", b"\nR1\t17:30\t454.4\t394.6\n"),
        (b"\n\ny_mm,x_mm,time,setup\n2,1,,R1\n\n,,,\n", b"394.6,454.4,17:30,R1\n"),
        (b"setup,time,length_mm,angle_deg\n", b"R1,17:30,601.821,49.02902\n"),
        (b'setup,note,time,x_mm,y_mm\nR1,"two\nlines; \xc3\xa9",,1,2\n',
         b"R1,,17:30,454.4,394.6\n"),
    ],
)  # fmt: skip
def test_the_table_keeps_its_owner_s_ways(campaign, table, row):
    rewritten(campaign, table)
    assert typed(campaign, GOOD).status == 0
    assert (campaign / "marks.csv").read_bytes() == table + row


def test_a_column_that_is_wanted_is_added_and_the_rows_keep_their_cells(campaign):
    rewritten(campaign, b'setup,x_mm,y_mm\nR1,1,2\n"R1",3,4,,\n\nM1,5,6\n')
    assert typed(campaign, "17:30 454.4 394.6 ring=A").status == 0
    assert (campaign / "marks.csv").read_bytes() == (
        b'setup,x_mm,y_mm,time,ring\nR1,1,2,,\n"R1",3,4,,\n\nM1,5,6,,\nR1,454.4,394.6,17:30,A\n'
    )


def test_column_names_with_signs_that_nobody_sees_are_read_and_kept(campaign):
    """As they come with text copied from a page or a message."""
    before = (campaign / "marks.csv").read_bytes().replace(b"time", "\u200btime\u2060".encode())
    rewritten(campaign, before)
    assert typed(campaign, GOOD).status == 0
    after = (campaign / "marks.csv").read_bytes()
    assert after.startswith(before)
    assert marks(campaign)["x_mm"].iloc[-1] == 454.4


def test_what_comes_in_another_encoding_than_told_is_refused_in_words(campaign):
    command = [sys.executable, "-m", "orient", "mark", str(campaign), "R1"]
    environment = {**os.environ, "PYTHONIOENCODING": "utf-16", "PYTHONUTF8": "0"}
    before = tables_of(campaign)
    done = subprocess.run(command, input=GOOD.encode(), capture_output=True, env=environment)
    told = b"".join((done.stdout, done.stderr)).replace(b"\0", b"").decode("ascii", "replace")
    assert done.returncode == 1
    assert "What comes in was to be utf-16 text and is not" in told
    assert "0 marks typed" in told
    assert "itself failed" not in told
    assert tables_of(campaign) == before


def test_a_table_that_is_not_there_is_begun(campaign):
    (campaign / "marks.csv").unlink()
    assert typed(campaign, GOOD).status == 0
    assert len(marks(campaign)) == 1


@pytest.mark.parametrize("ending", ["\n", ""])
def test_what_could_run_as_a_formula_is_kept_from_it(campaign, ending):
    rewritten(campaign, b"setup,time,x_mm,y_mm,ring,note" + ending.encode())
    typed(campaign, GOOD + " ring==A note=@SUM(1)")
    assert (campaign / "marks.csv").read_text().endswith(",'=A,'@SUM(1)\n")
    assert marks(campaign).iloc[-1]["note"] == "@SUM(1)"
    assert marks(campaign).iloc[-1]["ring"] == "=A"


def test_a_workbook_an_unknown_board_and_a_faulty_campaign_are_refused(campaign):
    ending = typed(campaign, GOOD, setup="R2")
    assert ending.status == 1
    assert "R1" in ending.err
    (campaign / "marks.csv").rename(campaign / "marks.xlsx")
    ending = typed(campaign, GOOD)
    assert ending.status == 1
    assert "only a CSV table is changed" in ending.err
    (campaign / "marks.xlsx").unlink()
    rewritten(campaign, b"setup,x_mm,y_mm\nR1,nan,2\n")
    ending = typed(campaign, GOOD)
    assert ending.status == 1
    assert "row 2, column x_mm" in ending.err


def test_a_full_disk_is_said_and_what_was_saved_stays(campaign, monkeypatch):
    real, calls = os.replace, 0

    def failing(*arguments):
        nonlocal calls
        calls += 1
        if calls == 2:
            raise OSError(errno.ENOSPC, "No space left on device")
        return real(*arguments)

    monkeypatch.setattr(os, "replace", failing)
    ending = typed(campaign, "17:00 333.4 362.1", GOOD, GOOD)
    assert "NOT SAVED: No space left on device" in ending.out
    assert ending.status == 1
    assert marks(campaign)["mark"].tolist()[-2:] == ["11", "12"]
    assert len(marks(campaign)) == 12


def test_a_table_set_to_be_read_only_is_left_as_it_is(campaign):
    """To rename a file over it would need no right to write it."""
    (campaign / "marks.csv").chmod(0o444)
    before = tables_of(campaign)
    ending = typed(campaign, GOOD)
    assert "NOT SAVED: a file set to be read only" in ending.out
    assert ending.status == 1
    assert tables_of(campaign) == before


# A process of its own --------------------------------------------------------------------


def _said(stream, wanted: str) -> str:
    """Read until a line has the wanted words."""
    heard = ""
    while wanted not in heard:
        line = stream.readline()
        assert line, heard
        heard += line
    return heard


@posix_only
@pytest.mark.parametrize(
    "end",
    [
        signal.SIGKILL,
        pytest.param(signal.SIGTERM, marks=pytest.mark.slow),
        pytest.param(signal.SIGINT, marks=pytest.mark.slow),
    ],
)
def test_ending_the_process_after_the_second_mark_loses_none(campaign, end):
    (theirs, keys), (screen, shown) = os.pipe(), os.pipe()
    complaint = campaign.parent / "complaint"
    with complaint.open("w") as told:
        child = Forked(["mark", str(campaign), "R1"], theirs, shown, told.fileno())
    os.close(theirs)
    os.close(shown)
    with open(screen) as stdout, open(keys, "w", buffering=1) as stdin:
        stdin.write("17:00 333.4 362.1\n")
        _said(stdout, "Saved: mark 11")
        stdin.write(f"{GOOD}\n17:4")
        stdin.flush()
        _said(stdout, "Saved: mark 12")
        child.send_signal(end)
        status, out, err = child.wait(), stdout.read(), complaint.read_text()
    assert marks(campaign)["mark"].tolist()[-2:] == ["11", "12"]
    assert len(marks(campaign)) == 12
    assert "Traceback" not in err
    if end == signal.SIGINT:
        assert status == 1
        assert "2 marks typed" in out
    # Nothing but the table and its copy is left, and the next sitting goes on from there.
    assert sorted(path.name for path in campaign.iterdir()) == [
        "backups",
        "marks.csv",
        "setups.csv",
        "sites.csv",
    ]
    assert "12 marks so far" in typed(campaign).out


@posix_only
def test_at_a_terminal_it_prompts_and_a_slip_is_typed_again(campaign):
    import pty

    keyboard, terminal = pty.openpty()
    child = Forked(["mark", str(campaign), "R1"], terminal, terminal, terminal)
    os.close(terminal)
    heard = ""

    def hear(wanted: str) -> None:
        nonlocal heard
        limit = time.monotonic() + 60
        while wanted not in heard:
            assert time.monotonic() < limit, heard
            heard += os.read(keyboard, 4096).decode("utf-8", "replace")

    hear("mark 11> ")
    os.write(keyboard, b"17:30 454.4\n")
    hear("again.")
    os.write(keyboard, GOOD.encode() + b"\n")
    hear("Saved: mark 11")
    hear("mark 12> ")
    # The end of typing, as Ctrl-D sends it.
    os.write(keyboard, b"\x04")
    with contextlib.suppress(OSError):
        hear("1 mark typed")
    assert "1 mark typed" in heard
    assert child.wait() == 0
    os.close(keyboard)
    assert len(marks(campaign)) == 11


def test_a_table_with_decimal_commas_takes_fractions_of_both_signs(campaign):
    table = b"setup;time;x_mm;y_mm\nR1;10:00;-332,1;-88,25\n"
    rewritten(campaign, table)
    assert typed(campaign, "17:30 -454.4 394.6", "17:40 -504,1 -407,4").status == 0
    assert (campaign / "marks.csv").read_bytes() == (
        table + b"R1;17:30;-454,4;394,6\nR1;17:40;-504,1;-407,4\n"
    )
    assert marks(campaign)["x_mm"].tolist() == [-332.1, -454.4, -504.1]


def test_texts_have_no_decimal_comma(campaign):
    """A ring, a note or a set-up that looks like a number stays as it was typed."""
    setups = (campaign / "setups.csv").read_bytes().replace(b"M1,", b"1.5,")
    (campaign / "setups.csv").write_bytes(setups)
    table = b"setup;time;x_mm;y_mm;ring;note\nR1;10:00;-332,1;-88,25;;\n"
    rewritten(campaign, table)
    assert typed(campaign, "17:30 -454.4 394.6 ring=2.5 note=0.5", setup="1.5").status == 0
    assert (campaign / "marks.csv").read_bytes() == table + b"1.5;17:30;-454,4;394,6;2.5;0.5\n"
    # Nor do texts tell the table's sign.
    assert typed(campaign, "17:40 -504.1 -407.4").status == 0
    assert (campaign / "marks.csv").read_bytes().endswith(b"R1;17:40;-504,1;-407,4;;\n")


def test_what_others_write_meanwhile_counts_and_what_they_break_is_said(campaign, monkeypatch):
    good = (campaign / "marks.csv").read_bytes()

    def lines(_):
        yield GOOD
        whole = (campaign / "marks.csv").read_bytes()
        (campaign / "marks.csv").write_bytes(whole + b"R1,99,10:20,1\n")
        yield "list"
        yield "17:40 504.1 407.4"
        (campaign / "marks.csv").write_bytes(whole + b"R1,99,10:20,1,2,,,,\n")

    monkeypatch.setattr("orient.commands.mark._lines", lines)
    ending = typed(campaign)
    assert "The tables cannot be read now: marks.csv, row" in ending.out
    assert ending.out.count("  mark ") == 11
    assert "NOT SAVED" in ending.out
    assert "1 mark typed; marks.csv has 12 marks of board R1." in ending.out
    assert ending.err == "1 of the lines given were not saved.\n"
    assert (campaign / "marks.csv").read_bytes() == (
        good + b"R1,11,17:30,454.4,394.6,,,,\nR1,99,10:20,1,2,,,,\n"
    )


def test_a_mark_that_the_campaign_would_not_take_is_not_written(campaign):
    rows = "".join(f"R1,{n},,{n / 10},5,,,,\n" for n in range(1, 2001))
    rewritten(campaign, f"{','.join(hostile.MARKS_HEAD)}\n{rows}".encode())
    before = digest(campaign)
    ending = typed(campaign, GOOD)
    assert ending.status == 1
    assert "NOT SAVED" in ending.out
    assert "at most 2,000 marks on a board" in ending.out
    assert digest(campaign) == before


def test_a_table_is_kept_before_the_first_change_of_a_sitting(campaign):
    before = (campaign / "marks.csv").read_bytes()
    typed(campaign, "17:00 333.4 362.1", GOOD)
    copies = list((campaign / "backups").iterdir())
    assert [path.read_bytes() for path in copies] == [before]
    # A sitting without a change keeps nothing, nor does one over an equal copy.
    typed(campaign, "list")
    rewritten(campaign, before)
    typed(campaign, GOOD)
    assert list((campaign / "backups").iterdir()) == copies


def test_sittings_that_begin_in_one_second_keep_a_copy_each(campaign):
    stood = []
    for x in range(12):
        stood.append((campaign / "marks.csv").read_bytes())
        Sitting(campaign).add_rows("marks", [{"setup": "R1", "x_mm": f"{x}", "y_mm": "300"}])
    copies = sorted((campaign / "backups").iterdir())
    assert [path.read_bytes() for path in copies] == stood


def test_an_hour_typed_wrong_is_asked_about_before_the_watch_is(campaign):
    ending = typed(campaign, "16:30 454.4 394.6")
    assert "Is it 17:30?" in ending.out
    assert "Is the watch" not in ending.out


def test_another_run_that_holds_the_tables_is_said(campaign, monkeypatch):
    from orient.files import locked

    monkeypatch.setattr("orient.tables.editing.WAIT_S", 0.0)
    monkeypatch.setattr("orient.tables.editing.Sitting.change.__defaults__", (0.05,))
    with locked(campaign):
        ending = typed(campaign, GOOD)
    assert "NOT SAVED: another program has been writing here" in ending.out
    assert ending.status == 1


def _writers(campaign: Path, each: int, kill: bool) -> tuple[list[str], int]:
    """Four at once type marks into one table; the lines that were said to be saved."""
    typed = [(campaign.parent / f"typed{writer}").open("w+") for writer in range(4)]
    for writer, keys in enumerate(typed, start=1):
        keys.writelines(f"- {10 * writer + n / 1000:.3f} {100 + n}\n" for n in range(each))
        keys.seek(0)
    heard = [(campaign.parent / f"heard{writer}").open("w+") for writer in range(4)]
    children = [
        Forked(["mark", str(campaign), setup], keys.fileno(), out.fileno())
        for keys, out, setup in zip(typed, heard, ("R1", "R1", "M1", "M1"), strict=True)
    ]
    if kill:
        while "Saved" not in (campaign.parent / "heard0").read_text():
            time.sleep(0.05)
        time.sleep(0.5)
        children[0].send_signal(signal.SIGKILL)
    for child in children:
        child.wait()
    saved, refused = [], 0
    for keys, out in zip(typed, heard, strict=True):
        keys.close()
        out.seek(0)
        said = out.read()
        out.close()
        saved += [
            line.split("x ")[1].split(" mm")[0] for line in said.splitlines() if "Saved" in line
        ]
        refused += said.count("NOT SAVED")
    return saved, refused


@posix_only
@pytest.mark.parametrize(
    ("each", "kill"), [(6, False), pytest.param(60, True, marks=pytest.mark.slow)]
)
def test_four_who_mark_at_once_lose_nothing(campaign, each, kill):
    before = read_campaign(campaign).marks
    saved, refused = _writers(campaign, each, kill)
    after = read_campaign(campaign).marks.iloc[len(before) :]
    assert refused == 0
    shown = [f"{x:.1f}, y {y:.1f}" for x, y in zip(after["x_mm"], after["y_mm"], strict=True)]
    # A killed writer may have saved one that it had no time to tell of.
    missing = sorted(set(saved) - set(shown))
    assert not missing
    assert len(saved) <= len(shown) <= len(saved) + kill
    assert kill or len(saved) == 4 * each
    assert not after.duplicated(["setup", "mark"]).any()


def test_a_line_that_is_no_mark_is_told_with_what_was_found(campaign):
    before = tables_of(campaign)
    said = typed(campaign, "y", "9:54 -132.5").out
    wanted = "wanted a watch time (or -), then x y or length@angle"
    for found in ("'y'", "'9:54 -132.5'"):
        assert f"Not saved: found {found}; {wanted}" in said
    assert tables_of(campaign) == before


def test_a_campaign_without_a_set_up_says_what_its_row_needs(campaign):
    header = (campaign / "setups.csv").read_text("utf-8").splitlines()[0]
    (campaign / "setups.csv").write_text(header + "\n", "utf-8")
    (campaign / "marks.csv").write_text("setup,time,x_mm,y_mm\n", "utf-8")
    said = run(["mark", str(campaign), "b1"], typed="")
    assert said.status == 1
    assert "Write its row first: setup, site, date, gnomon_height_mm" in said.err
