"""A page in fewer characters: what is alike is drawn once, and what HTML implies is left out."""

from __future__ import annotations

import re
from collections import Counter

#: Stands in a page's template where `drawn_once` puts what its drawings have in common.
COMMON = "<!-- common -->"
_SAME = re.compile(r'<g class="((?:drawing )?)same">(.*?)</g>', re.DOTALL)
#: Kept as they are: the policy of a page names the hash of each.
_WHOLE = re.compile(r"(<(?:style|script)>.*?</(?:style|script)>)", re.DOTALL)
#: End tags that the next tag implies (HTML Living Standard, 13.1.2.4 "Optional tags"): such
#: elements hold no others of their kind here. A space before the end is kept: entries may run on
#: in a line.
_ENDS = re.compile(r"</(?:td|th|tr|thead|tbody|li|dt|dd)>")
_PARAGRAPH_ENDS = re.compile(
    r"</p>(?=\s*(?:<(?:p|div|dl|ul|ol|figure|h\d|table|details|section)\b"
    r"|</(?:div|section|article|details|footer)>))"
)
_QUOTED = re.compile(r"""="([^\s"'=<>`]+)"(/?)""")


def drawn_once(page: str) -> str:
    """A page whose drawings share what they have in common.

    Args:
        page: with `COMMON` in its body; a part of a drawing that others have too is a
            `<g class="same">`, which holds no further groups.

    Returns:
        The page; a part that stands in it twice or more is defined once and used by reference.
    """
    count = Counter(found[0] for found in _SAME.finditer(page))
    number: dict[str, int] = {}

    def used(found: re.Match[str]) -> str:
        if count[found[0]] == 1:
            return found[2]
        return f'<use href="#part-{number.setdefault(found[0], len(number) + 1)}"/>'

    page = _SAME.sub(used, page)
    parts = "".join(
        whole.replace(" same", "", 1).replace("<g ", f'<g id="part-{place}" ', 1)
        for whole, place in number.items()
    )
    common = f'<svg class="common" aria-hidden="true"><defs>{parts}</defs></svg>' if parts else ""
    return page.replace(COMMON, common, 1)


def slim(page: str) -> str:
    """The same document in fewer characters: no implied end tags, no quotes that nothing needs.

    Args:
        page: HTML whose texts are escaped, so that a quote in it is an attribute's.

    Returns:
        HTML that a browser reads into the same elements, attributes and texts; a space between
        two cells or entries of a list stands at the end of the first.
    """
    parts = _WHOLE.split(page)
    return "".join(part if number % 2 else _slimmed(part) for number, part in enumerate(parts))


def _slimmed(html: str) -> str:
    # An apostrophe ends no attribute here: those that keep their quotes have double ones.
    html = _PARAGRAPH_ENDS.sub("", _ENDS.sub("", html)).replace("&#39;", "'")
    # A slash right behind a bare value would be part of it.
    return _QUOTED.sub(lambda found: f"={found[1]}{' /' if found[2] else ''}", html)
