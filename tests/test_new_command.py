"""`orient new`: empty tables, never over what is there."""

import pytest
from click.testing import CliRunner

from orient import cli
from orient.commands.new import new
from orient.errors import InputError
from orient.tables.columns import TABLES

FILES = {"sites.csv", "setups.csv", "marks.csv", "README.txt"}


def test_writes_every_table_with_its_columns(tmp_path):
    ran = CliRunner().invoke(new, [str(tmp_path / "first")])
    assert ran.exit_code == 0
    assert {path.name for path in (tmp_path / "first").iterdir()} == FILES
    for name, table in TABLES.items():
        header = (tmp_path / "first" / f"{name}.csv").read_text("utf-8")
        assert header.strip().split(",") == list(table.names)
    assert sorted(ran.stdout.split()) == sorted(str(tmp_path / "first" / name) for name in FILES)
    assert "sites.csv first" in ran.stderr


def test_names_every_file_in_the_way_and_changes_none(tmp_path):
    (tmp_path / "sites.csv").write_text("site\nmine\n")
    (tmp_path / "marks.xlsx").write_bytes(b"mine")
    with pytest.raises(InputError) as refused:
        cli.orient(["new", str(tmp_path)], standalone_mode=False)
    assert {fault.file for fault in refused.value.faults} == {"sites.csv", "marks.xlsx"}
    assert {path.name for path in tmp_path.iterdir()} == {"sites.csv", "marks.xlsx"}
    assert (tmp_path / "sites.csv").read_text() == "site\nmine\n"


def test_force_writes_over_tables_and_leaves_the_rest(tmp_path):
    (tmp_path / "sites.csv").write_text("site\nmine\n")
    (tmp_path / "photo.jpg").write_bytes(b"mine")
    assert CliRunner().invoke(new, [str(tmp_path), "--force"]).exit_code == 0
    assert "latitude_deg" in (tmp_path / "sites.csv").read_text("utf-8")
    assert (tmp_path / "photo.jpg").read_bytes() == b"mine"


def test_a_folder_is_asked_for():
    ran = CliRunner().invoke(new, [])
    assert ran.exit_code == 2
    assert "FOLDER" in ran.stderr
