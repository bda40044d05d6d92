"""The pictures of the docs show what the program makes of the demo today."""

import pictures
import pytest


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """The page of a picture; two pictures of one page make it once."""
    folders = {}

    def page_of(picture):
        command = tuple(picture.arguments)
        if command not in folders:
            folders[command] = tmp_path_factory.mktemp("pictures")
            pictures.made(picture, folders[command])
        return folders[command] / picture.file

    return page_of


@pytest.mark.parametrize(
    "name",
    [
        pytest.param(name, marks=[pytest.mark.slow] * (name in ("telephone", "sheet")))
        for name in pictures.PICTURES
    ],
)
def test_a_picture_shows_what_the_page_says(name, made):
    if pictures.PICTURES[name].file.endswith(".pdf"):
        pytest.importorskip("pdfplumber")
    page = made(pictures.PICTURES[name])
    kept = (pictures.FOLDER / f"{name}.txt").read_text("utf-8")
    assert pictures.words(page) == kept, "python tests/pictures.py draws the pictures again"


@pytest.mark.parametrize("name", pictures.PICTURES)
def test_a_picture_is_whole_and_in_a_page(name):
    picture = (pictures.FOLDER / f"{name}.png").read_bytes()
    assert picture.startswith(b"\x89PNG\r\n\x1a\n")
    assert picture.endswith(b"IEND\xaeB`\x82")
    width = int.from_bytes(picture[16:20], "big")
    height = int.from_bytes(picture[20:24], "big")
    assert width >= 300
    assert height >= 300
    pages = [pictures.ROOT / "README.md", *(pictures.ROOT / "docs").glob("*.md")]
    assert any(f"pictures/{name}.png" in page.read_text("utf-8") for page in pages)
