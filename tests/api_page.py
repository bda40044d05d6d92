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
of [the tables](tables.md). Bad input raises `orient.InputError`, whose `faults` list everything
that is wrong.
"""


def page() -> str:
    parts = [HEAD]
    for name in orient.PUBLIC:
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
