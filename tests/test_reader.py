"""A table read again after more was put under it is what reading all of it anew gives."""

from __future__ import annotations

import random
from pathlib import Path

import pandas as pd
import pytest

from orient.errors import InputError
from orient.tables.campaign import read_again
from orient.tables.reader import Reader

SITES = b"site,latitude_deg,longitude_deg\nA,47,9\n"
SETUPS = b"setup,site,date,gnomon_height_mm\nR,A,2026-06-01,300\nS,A,2026-06-02,300\n"
#: How a marks table begins, and rows that someone may put under it.
HEADS = {
    "plain": (b"setup,time,x_mm,y_mm,note\n", ","),
    "serials": (b"setup,mark,time,x_mm,y_mm,half,note\n", ","),
    "semicolons": (b"\xef\xbb\xbfsetup;time;x_mm;y_mm;note\r\n", ";"),
    "separator": (b"sep=;\r\n\r\nsetup;mark;time;x_mm;y_mm;half;note\r\n", ";"),
}
TABLES = ("sites", "setups", "marks")
GOOD = ("R", "S")
NOTES = ("", "by eye", '"a, b"', '"two\nlines"', "é")


def _row(chance: random.Random, head: bytes, delimiter: str) -> bytes:
    def cell(name: str) -> str:
        wrong = chance.random() < 0.01
        if name == "setup":
            return "Q" if wrong else chance.choice(GOOD)
        if name == "mark":
            return chance.choice(("", str(chance.randrange(60))))
        if name == "time":
            return "25:99" if wrong else chance.choice(("", "10:20", "9:05:30"))
        if name == "half":
            return "noon" if wrong else chance.choice(("", "am"))
        if name == "note":
            return chance.choice(NOTES)
        point = "," if delimiter == ";" else "."
        # Three decimals may be thousands beside numbers with the other sign.
        number = f"{chance.uniform(-300, 300):.{chance.choice((1, 1, 3))}f}"
        slip = chance.random() < 0.03
        return "wide" if wrong else number if slip else number.replace(".", point)

    names = head.decode("utf-8-sig").split()[-1].split(delimiter)
    cells = [cell(name) for name in names] + ["more"] * (chance.random() < 0.02)
    end = "\r\n" if b"\r" in head else "\n"
    return ("" if chance.random() < 0.05 else delimiter.join(cells)).encode() + end.encode()


def _changed(data: bytes, chance: random.Random, head: bytes, delimiter: str) -> bytes:
    lot = chance.random()
    if lot < 0.8:
        rows = b"".join(_row(chance, head, delimiter) for _ in range(chance.randrange(1, 4)))
        return data + rows
    if lot < 0.9:
        return data.rstrip(b"\r\n")
    place = chance.randrange(min(len(head), len(data)), len(data) + 1)
    return data[:place] if lot < 0.95 else data[:place] + b"7" + data[place:]


def _outcome(folder: Path, data: bytes, reader: Reader) -> pd.DataFrame | list[str]:
    try:
        return read_again(reader, folder, TABLES, {"marks": data}).marks
    except InputError as fault:
        return [str(each) for each in fault.faults]


@pytest.mark.parametrize("tables", [2, pytest.param(6, marks=pytest.mark.slow)])
@pytest.mark.parametrize("kind", HEADS)
def test_reading_what_is_new_gives_what_reading_all_gives(tmp_path, kind, tables):
    (tmp_path / "sites.csv").write_bytes(SITES)
    (tmp_path / "setups.csv").write_bytes(SETUPS)
    head, delimiter = HEADS[kind]
    chance = random.Random(kind)
    outcomes = {pd.DataFrame: 0, list: 0}
    for _ in range(tables):
        data, reader = head, Reader()
        for _ in range(12):
            new = _changed(data, chance, head, delimiter)
            anew, again = _outcome(tmp_path, new, Reader()), _outcome(tmp_path, new, reader)
            assert type(anew) is type(again)
            outcomes[type(anew)] += 1
            if isinstance(anew, list):
                assert again == anew
                continue
            pd.testing.assert_frame_equal(again, anew)
            data = new
    assert min(outcomes.values()) > 3


def test_other_tables_that_have_changed_are_read_anew(tmp_path):
    (tmp_path / "sites.csv").write_bytes(SITES)
    (tmp_path / "setups.csv").write_bytes(SETUPS)
    (tmp_path / "marks.csv").write_bytes(HEADS["plain"][0])
    reader = Reader()
    assert read_again(reader, tmp_path, TABLES).setups["gnomon_height_mm"].tolist() == [300, 300]
    (tmp_path / "setups.csv").write_bytes(SETUPS.replace(b"300", b"305"))
    assert read_again(reader, tmp_path, TABLES).setups["gnomon_height_mm"].tolist() == [305, 305]
    (tmp_path / "setups.csv").write_bytes(SETUPS + b"R,A,2026-06-03,300\n")
    with pytest.raises(InputError, match="row 2 has it"):
        read_again(reader, tmp_path, TABLES)
