"""The review page: the sheet laid flat, every mark numbered, to add, drop, renumber and export."""

from __future__ import annotations

import base64
import json
from collections.abc import Sequence
from typing import Any

from orient.pages import page_template, page_text, sealed, shared_style
from orient.photo.flat import Flat
from orient.photo.reading import Mark


def review_page(
    setup: str,
    flats: Sequence[Flat],
    marks: Sequence[Mark],
    bar_mm: float,
    track: Sequence[tuple[float, float, str]] = (),
) -> str:
    """One page that stands alone: pictures, marks, and what to do with them.

    Args:
        setup: the set-up's id, for the exported rows.
        flats: the pages laid flat, one a page.
        marks: all marks in order.
        bar_mm: the check bar as measured, by which the marks were scaled.
        track: where the tip ran, x, y and time: the marks' expected place.
    """
    scale = bar_mm / 100.0
    pages = [_page(flat, scale) for flat in flats]
    state: dict[str, Any] = {
        "setup": setup,
        "pages": pages,
        "marks": [
            {"page": m.page, "x": round(m.x_mm, 3), "y": round(m.y_mm, 3), "u": round(m.u_mm, 3),
             "c": round(m.confidence, 2)}
            for m in marks
        ],
    }  # fmt: skip
    state["track"] = [[round(x, 1), round(y, 1), time] for x, y, time in track]
    page = page_template("photo", "review.html.j2").render(
        style=shared_style() + page_text("photo", "review.css"),
        script=page_text("photo", "review.js"),
        setup=setup,
        data=json.dumps(state).replace("<", "\\u003c"),
        tracked=bool(track),
    )
    return sealed(page, "orient photo review")


def _page(flat: Flat, scale: float) -> dict[str, Any]:
    import cv2

    shrink = min(1.0, 1800.0 / max(flat.rgb.shape[:2]))
    small = cv2.resize(flat.rgb, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    _, data = cv2.imencode(".jpg", small[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 80])
    return {
        "page": flat.page,
        "image": "data:image/jpeg;base64," + base64.b64encode(data.tobytes()).decode("ascii"),
        "width": int(small.shape[1]),
        "height": int(small.shape[0]),
        "left": flat.corner_mm[0] * scale,
        "top": flat.corner_mm[1] * scale,
        "px": flat.px_mm * shrink / scale,
    }
