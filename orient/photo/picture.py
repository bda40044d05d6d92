"""A photograph as pixels, turned as the telephone says it was held."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from orient.errors import Fault, InputError

Pixels = NDArray[Any]
#: Fewer cannot show a pencil line on A4; more than any telephone makes.
LEAST_PIXELS, MOST_PIXELS = 700_000, 220_000_000
MISSING = (
    "Reading photographs needs OpenCV, which is not installed: pip install 'orient[photo]' brings "
    "it (once, with a network)"
)


class NoPictureLibrary(ValueError):
    """OpenCV or Pillow is not installed; the message says how to get them."""


@dataclass(frozen=True)
class Picture:
    """A photograph: `rgb`, shape (height, width, 3), and `grey`; `name` for messages."""

    name: str
    rgb: Pixels
    grey: Pixels


def need_library() -> None:
    """Stop with one line where the libraries of the `photo` extra are missing.

    Raises:
        NoPictureLibrary: they are.
    """
    try:
        import cv2
        import PIL  # noqa: F401
    except ImportError:
        raise NoPictureLibrary(MISSING) from None
    if not hasattr(cv2, "aruco") or not hasattr(cv2.aruco, "ArucoDetector"):
        raise NoPictureLibrary(MISSING.replace("not installed", "too old")) from None


def refusal(name: str, found: str, wanted: str) -> InputError:
    """A photograph that cannot be used: what is wrong with it, and what to do."""
    return InputError(Fault(name, None, None, found, wanted))


def read_picture(path: Path) -> Picture:
    """Read a photograph: JPEG, PNG, and what else Pillow opens here.

    Raises:
        InputError: no such file, no picture, broken, too small or too large.
    """
    import cv2
    from PIL import Image, ImageOps, UnidentifiedImageError

    Image.MAX_IMAGE_PIXELS = None
    _know_heic()
    wanted = "a photograph as JPEG or PNG"
    try:
        with Image.open(path) as opened:
            pixels = opened.width * opened.height
            if not LEAST_PIXELS <= pixels <= MOST_PIXELS:
                found = f"a picture of {opened.width} × {opened.height} pixels"
                raise refusal(path.name, found, "a photograph of 1 to 200 megapixels")
            upright = ImageOps.exif_transpose(opened)
            rgb = np.ascontiguousarray(np.asarray(upright.convert("RGB")))
    except InputError:
        raise
    except FileNotFoundError:
        raise refusal(path.name, "no such file", wanted) from None
    except IsADirectoryError:
        raise refusal(path.name, "a folder", wanted) from None
    except UnidentifiedImageError:
        if path.suffix.lower() in (".heic", ".heif"):
            wanted = (
                "JPEG or PNG: set the telephone's camera to the most compatible format, or "
                "install pillow-heif"
            )
        raise refusal(path.name, "no picture that can be read", wanted) from None
    except (OSError, ValueError, SyntaxError) as fault:
        raise refusal(path.name, f"a broken file ({fault})", wanted) from None
    return Picture(path.name, rgb, cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY))


def _know_heic() -> None:
    """Let Pillow read the pictures of many telephones, where that library is installed."""
    try:
        heif: Any = __import__("pillow_heif")
    except ImportError:
        return
    heif.register_heif_opener()
