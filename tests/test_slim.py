"""A page in fewer characters, read by html5lib, which builds what a browser builds."""

import re

import pytest
from boards_on_file import odd_campaign, sound_campaign
from html5lib import HTMLParser

from orient.pages.slim import COMMON, drawn_once, slim
from orient.report import page
from orient.tables.campaign import read_campaign


def tree(text):
    """Elements, attributes and texts of a page; spaces as they are shown."""
    parser = HTMLParser(namespaceHTMLElements=False)
    document = parser.parse(text)
    assert parser.errors == []
    return [
        (part.tag, sorted(part.attrib.items()), shown(part.text), shown(part.tail))
        for part in document.iter()
    ]


def said(text):
    """All words of a page, with every space that may part them."""
    document = HTMLParser(namespaceHTMLElements=False).parse(text)
    return re.sub(r"\s+", " ", "".join(document.itertext()))


def shown(text):
    return re.sub(r"\s+", " ", text or "").strip()


@pytest.mark.parametrize("make", [sound_campaign, odd_campaign])
def test_a_report_is_read_into_the_same_elements(make, tmp_path, monkeypatch):
    before = []
    monkeypatch.setattr(page, "slim", lambda text: before.append(text) or slim(text))
    page.write_report(read_campaign(make(tmp_path / "camp")), tmp_path / "out")
    after = slim(before[0])
    assert tree(after) == tree(before[0])
    assert said(after) == said(before[0])
    assert "watch the shadow only. Cap the rod's tip" in said(after)
    assert len(after) < 0.93 * len(before[0])


def test_texts_styles_and_scripts_are_kept():
    whole = (
        '<!doctype html><title>t</title><style>a[b="c"]{}</style><p class="of it">a=&#34;b&#34; '
        '<a href="#x">x</a></p> rest<ul><li>it&#39;s</li></ul><script>"</td>"+\'="x"\'</script>'
    )
    assert slim(whole) == (
        '<!doctype html><title>t</title><style>a[b="c"]{}</style><p class="of it">a=&#34;b&#34; '
        '<a href=#x>x</a></p> rest<ul><li>it\'s</ul><script>"</td>"+\'="x"\'</script>'
    )


def test_entries_in_one_line_keep_the_space_between_them():
    assert slim("<ul><li>First. </li><li>Then.</li>\n</ul>") == "<ul><li>First. <li>Then.\n</ul>"


def test_parts_that_drawings_share_are_written_once():
    same, other = ('<g class="drawing same"><path d="M0 0h9"/></g>', '<g class="same"><i/></g>')
    once = drawn_once(f"<svg>{same}1</svg><svg>{same}2</svg><svg>{other}3</svg>{COMMON}")
    assert once == (
        '<svg><use href="#part-1"/>1</svg><svg><use href="#part-1"/>2</svg><svg><i/>3</svg>'
        '<svg class="common" aria-hidden="true"><defs><g id="part-1" class="drawing">'
        '<path d="M0 0h9"/></g></defs></svg>'
    )
    assert drawn_once(f"<svg>{same}</svg>{COMMON}") == '<svg><path d="M0 0h9"/></svg>'
