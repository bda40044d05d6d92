"""The words of a PDF by PDFium, for tests that need no places: ten times as fast as with them."""

from __future__ import annotations

from pathlib import Path

import pypdfium2


def texts(path: Path) -> list[str]:
    """The text of each page, its blanks and ends of lines as one blank each."""
    with pypdfium2.PdfDocument(path) as document:
        return [" ".join(page.get_textpage().get_text_range().split()) for page in document]
