"""One human mistake in the sights of each circle, as it would stand in the tables."""

from datetime import datetime, timedelta

from simulated_sights import simulate


def _sky(rows):
    return [row for row in rows if row.get("time")]


def _read(rows, change):
    for row in rows:
        row["reading_deg"] = f"{change(float(row['reading_deg'])) % 360:.3f}"


def _later(hours):
    def change(rows, site):
        for row in _sky(rows):
            at = datetime.fromisoformat(f"{row['date']}T{row['time']}") + timedelta(hours=hours)
            row |= {"date": f"{at:%Y-%m-%d}", "time": f"{at:%H:%M:%S}"}

    return change


def _anticlockwise(rows, site):
    _read(rows, lambda reading: -reading)


def _gon(rows, site):
    if max(float(row["reading_deg"]) for row in rows) < 324:
        _read(rows, lambda reading: reading / 0.9)


def _half_from_the_other_end(rows, site):
    _read(_sky(rows)[::2], lambda reading: reading + 180)


def _all_from_the_other_end(rows, site):
    _read(_sky(rows), lambda reading: reading + 180)


def _times_the_other_way_round(rows, site):
    sky = _sky(rows)
    times = [(row["date"], row["time"]) for row in sky]
    for row, (date, time) in zip(sky, times[::-1], strict=True):
        row |= {"date": date, "time": time}


def _a_row_out(rows, site):
    sky = _sky(rows)
    readings = [row["reading_deg"] for row in sky]
    for row, reading in zip(sky, readings[1:] + readings[:1], strict=True):
        row["reading_deg"] = reading


def _one_misread(rows, site):
    _read(_sky(rows)[2:3], lambda reading: reading + 10)


def _turned_midway(rows, site):
    _read(_sky(rows)[len(_sky(rows)) // 2 :], lambda reading: reading + 3)


def _ten_degrees_of_longitude(rows, site):
    site["longitude_deg"] += -10 if site["longitude_deg"] > 0 else 10


#: What is done to the rows of a circle and to its site.
MISTAKES = {
    "none": lambda rows, site: None,
    "an hour late": _later(1),
    "half an hour early": _later(-0.5),
    "five minutes late": _later(1 / 12),
    "counted anticlockwise": _anticlockwise,
    "in gon": _gon,
    "half of them from the other end": _half_from_the_other_end,
    "times the other way round": _times_the_other_way_round,
    "readings a row out": _a_row_out,
    "one misread": _one_misread,
    "turned midway": _turned_midway,
    "10° of longitude": _ten_degrees_of_longitude,
    "all from the other end": _all_from_the_other_end,
}


def mistaken(kind, circles, seed, mistake):
    """Sites, sights and truth of `simulate`, each circle at a site of its own, with one mistake."""
    places, sights, truth = simulate(kind, circles, seed, blunders=0.0)
    places = {place["site"]: place for place in places}
    sites, rows = [], []
    for circle in truth:
        mine = [dict(row, site=circle) for row in sights if row["circle"] == circle]
        of = next(row["site"] for row in sights if row["circle"] == circle)
        site = dict(places[of], site=circle)
        MISTAKES[mistake](mine, site)
        sites.append(site)
        rows += mine
    return sites, rows, truth
