"""The plan as a calendar, read back by the icalendar library (RFC 5545)."""

import json
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from click.testing import CliRunner

from orient.cli import orient
from orient.flags import CAUTIONS

icalendar = pytest.importorskip("icalendar")
SITES = """site,latitude_deg,longitude_deg,timezone
"Fen, north; side",51.5,-0.1,Europe/London
cove,47.5,-52.7,America/St_Johns
plain,-35,149,Australia/Sydney
isle,-31.5,159.1,Australia/Lord_Howe
høyden 🜨 with a name that is so long that its line has to be folded twice,52,10,Europe/Oslo
ice,80,10,UTC
"""


@pytest.fixture(scope="module")
def planned(tmp_path_factory):
    """The plan as rows and as a calendar, over days on which clocks change on both halves."""
    camp = tmp_path_factory.mktemp("calendar") / "camp"
    camp.mkdir()
    (camp / "sites.csv").write_text(SITES, "utf-8")
    plan = ["plan", str(camp), "--from", "2026-10-01", "--to", "2026-10-28", "--rod", "250"]
    rows = CliRunner().invoke(orient, [*plan, "--format", "json"])
    told = CliRunner().invoke(orient, [*plan, "--format", "ics"])
    assert told.exit_code == 0, told.output
    return json.loads(rows.stdout), told, camp


def events_of(text):
    return icalendar.Calendar.from_ical(text).walk("VEVENT")


def test_every_window_is_an_event_at_its_instants(planned):
    rows, told, _ = planned
    wanted = {
        (row["site"], half, *(datetime.fromisoformat(row[half][end]) for end in ("from", "to")))
        for row in rows
        for half in ("morning", "afternoon")
        if row[half]
    }
    found = {
        (
            str(event["LOCATION"]),
            str(event["SUMMARY"]).rpartition(", ")[2],
            event["DTSTART"].dt,
            event["DTEND"].dt,
        )
        for event in events_of(told.stdout)
    }
    assert len(wanted) > 100
    assert found == wanted
    without = sum(1 for row in rows if not row["morning"])
    assert f"{without} of {len(rows)} days" in told.stderr


def test_the_zones_in_the_calendar_are_the_zones_of_the_world(planned):
    """A reader that knows no zone by name takes them from the text."""
    zones = {
        str(zone["TZID"]): zone.to_tz(lookup_tzid=False)
        for zone in icalendar.Calendar.from_ical(planned[1].stdout).walk("VTIMEZONE")
    }
    assert len(zones) >= 5
    for name, told in zones.items():
        for hour in range(24 * 27):
            local = datetime(2026, 10, 1, 6, 20) + timedelta(hours=hour)
            true = local.replace(tzinfo=ZoneInfo(name))
            if true.astimezone(UTC).astimezone(ZoneInfo(name)).replace(tzinfo=None) != local:
                continue  # skipped by the clock
            if true.replace(fold=1).utcoffset() != true.utcoffset():
                continue  # shown twice by the clock
            assert local.replace(tzinfo=told).utcoffset() == true.utcoffset(), (name, local)


def test_each_event_tells_rod_rings_cautions_and_place_and_calls_in_time(planned):
    rows, told, _ = planned
    best = {(row["site"], row["date"]): row["best"] for row in rows if row["best"]}
    ids = set()
    for event in events_of(told.stdout):
        words = str(event["DESCRIPTION"])
        for said in (*CAUTIONS, "Rod 250 mm", "Rings, "):
            assert said in words
        day = event["DTSTART"].dt.date().isoformat()
        assert f"ring {best[str(event['LOCATION']), day]['shadow_mm']:.0f} mm" in words
        (alarm,) = event.walk("VALARM")
        assert alarm["TRIGGER"].dt == -timedelta(minutes=30)
        assert CAUTIONS[0] in str(alarm["DESCRIPTION"])
        ids.add(str(event["UID"]))
        assert event["GEO"].latitude in (51.5, 47.5, -35, -31.5, 52)
    assert len(ids) == len(events_of(told.stdout))


def test_ring_crossings_are_those_of_the_plan_to_carry(planned):
    """`orient bring` gives the same rings for a site on its only day."""
    _, told, camp = planned
    bring = ["bring", str(camp), "--from", "2026-10-12", "--site", "plain", "--rod", "250"]
    bring += ["--board", "650", "470", "--show", "rings", "--format", "json"]
    rings = json.loads(CliRunner().invoke(orient, bring).stdout)
    (event,) = [
        event
        for event in events_of(told.stdout)
        if str(event["LOCATION"]) == "plain"
        and str(event["SUMMARY"]).endswith("morning")
        and event["DTSTART"].dt.date().isoformat() == "2026-10-12"
    ]
    for ring in rings:
        crossed = datetime.fromisoformat(ring["morning"]) + timedelta(seconds=30)
        assert f"{ring['ring_mm']:.0f} mm at {crossed:%H:%M}" in str(event["DESCRIPTION"])
    assert rings


def test_lines_are_short_and_end_as_the_standard_has_it(planned):
    octets = planned[1].stdout_bytes
    assert b"\n" not in octets.replace(b"\r\n", b"")
    assert max(len(line) for line in octets.split(b"\r\n")) <= 75
    assert SITES.splitlines()[-2].split(",")[0] in {str(e["LOCATION"]) for e in events_of(octets)}


def test_the_same_plan_is_the_same_text_and_too_many_days_are_refused(planned):
    plan = ["plan", str(planned[2]), "--rod", "250", "--format", "ics"]
    short = [*plan, "--site", "isle", "--from", "2026-10-01", "--to", "2026-10-07"]
    first, again = (CliRunner().invoke(orient, short).stdout for _ in range(2))
    assert len(events_of(first)) == 14
    assert again == first
    many = CliRunner().invoke(orient, [*plan, "--from", "2026-01-01", "--to", "2026-12-31"])
    assert many.exit_code == 2
    assert "at most 1000 days" in many.output
