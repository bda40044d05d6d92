"""The page of the public API, made from its docstrings: python tests/api_page.py writes it."""

import inspect
import re
from pathlib import Path

import orient

PAGE = Path(__file__).parents[1] / "docs" / "api.md"

HEAD = """# From Python

Everything that the command line does is there for a notebook, in the order of the work:

```python
import orient

campaign = orient.read_campaign("sites/aldermoor")
places = orient.describe_sites(campaign, "2026-06-21")      # GeoDataFrame, one row a site
hours = orient.plan(campaign, "2026-06-21", "2026-06-27")   # DataFrame, one row a site-day
norths = orient.reduce(campaign)                            # GeoDataFrame, one row a set-up
orient.write_report(campaign, "reports/aldermoor")          # the page, its tables and layers
```

`import orient` is light: what is heavy is loaded when it is first used. The names below are
stable; modules below `orient` may move between versions. Columns bear the names, units and signs
of [the tables](tables.md), dates are datetimes, and a row's flags are a list in `flag_codes`
(`flags` is an attribute of every data frame). Arrays broadcast; of a pandas Series the results
are Series with its index. Bad input raises `orient.InputError`, whose `faults` list everything
that is wrong.

Times and dates may be `datetime64` of any unit, `datetime`, ISO text, or pandas with or without a
zone; without a zone they are UTC. What could mean two things is refused: a bare number is no
time, and a date alone is no instant. Only where a year is meant may it be a number: 2026 is its
first instant, 2026.5 its middle.

[A notebook](notebook.ipynb) goes through a day's work.

Marks in arrays need no campaign:

```python
marks = orient.board(x_mm, y_mm, rod_mm=300, latitude_deg=47.5, longitude_deg=15.0, times=times)
found = orient.reduce_board(marks)
found.board_azimuth_deg, found.board_azimuth_u_deg, found.flags
```
"""


def page() -> str:
    parts = [HEAD]
    for name in orient.__all__:
        thing = getattr(orient, name)
        text = inspect.cleandoc(thing.__doc__)
        signature = "" if inspect.isclass(thing) else str(inspect.signature(thing))
        signature = re.sub(r"<function .*? at 0x\w+>", "…", signature)
        heading = f"class {name}" if inspect.isclass(thing) else name
        parts.append(f"\n## {heading}\n")
        if signature:
            parts.append(f"\n```python\norient.{name}{signature.replace(chr(39), '')}\n```\n")
        parts.append(f"\n```text\n{text}\n```\n")
    return "".join(parts)


if __name__ == "__main__":
    PAGE.write_text(page(), "utf-8")
