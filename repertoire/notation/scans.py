"""Pictures of printed music from files: reading them safely, straightening, cropping, finding staves.

What a file is, its bytes tell, never its name. Sizes are checked before anything is decoded.
The picture is drawn anew in sixteen greys, so that nothing of the file but its pixels is kept:
no place, no camera, no thumbnail, no text. Staves are found where rows of a straightened
picture are dark over most of their length, five at equal distances.
"""

from __future__ import annotations

import io
import json
import subprocess
import sys
import threading
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageFile, ImageFilter, ImageOps, UnidentifiedImageError

MOST_PIXELS = {"PNG": 40_000_000, "JPEG": 64_000_000}  # a page of A4 at 600 to the inch has 35 million
LONG_SIDE = 3500  # what is kept of a page, about 300 to the inch on A4
EXCERPT_WIDTH = 2400  # 338 to the inch over a column of 180 mm
LEAST_WIDTH, LEAST_HEIGHT = 200, 40
MOST_ANGLE = 15.0
PDF_SECONDS = 15
WHITE = 0.93  # of the brightest around is white
_SCRIPT = Path(__file__).with_name("pdf_page.py")
_PHONE_PHOTOS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1", b"avif")
_OTHERS = {
    b"GIF8": "a GIF", b"II*\0": "a TIFF", b"MM\0*": "a TIFF", b"BM": "a BMP", b"PK\x03\x04": "a compressed folder",
    b"<svg": "an SVG drawing", b"<?xml": "an XML file", b"<!DOCTYPE": "a web page", b"<html": "a web page",
}  # fmt: skip


class ScanError(ValueError):
    """A picture that can't be used; the message is for the teacher."""


@dataclass(frozen=True)
class Scan:
    """A grey picture read from a file, and which page of how many it is."""

    image: Image.Image
    page: int = 1
    pages: int = 1
    is_pdf: bool = False


@dataclass(frozen=True, slots=True)
class Crop:
    """How a picture becomes an excerpt: degrees turned clockwise about the middle, then the four
    edges in percent of width and height. Raises ScanError."""

    angle: float = 0.0
    left: float = 0.0
    top: float = 0.0
    right: float = 100.0
    bottom: float = 100.0

    def __post_init__(self) -> None:
        if not abs(self.angle) <= MOST_ANGLE:
            raise ScanError(f"A picture is straightened by {MOST_ANGLE:g} degrees at most. Turn it a quarter first.")
        if not (self.left >= 0 and self.right <= 100 and self.left < self.right):
            raise ScanError("The left edge must stand left of the right one, both between 0 and 100 %.")
        if not (self.top >= 0 and self.bottom <= 100 and self.top < self.bottom):
            raise ScanError("The upper edge must stand above the lower one, both between 0 and 100 %.")


def read_scan(content: bytes, *, page: int = 1, limit: int) -> Scan:
    """The picture in a PNG or JPEG file, or one page of a PDF, at most LONG_SIDE long. Raises ScanError."""
    if not content:
        raise ScanError("This file is empty.")
    if len(content) > limit:
        raise ScanError(f"This file is larger than {limit // (1024 * 1024)} MB. Scan the page you need by itself.")
    if content.startswith(b"\x89PNG\r\n\x1a\n"):
        return Scan(_decoded(content, "PNG"))
    if content.startswith(b"\xff\xd8\xff"):
        return Scan(_decoded(content, "JPEG"))
    if b"%PDF-" in content[:1024]:
        return _pdf_page(content, page)
    if content[4:8] == b"ftyp" and content[8:12] in _PHONE_PHOTOS:
        raise ScanError(
            "This is a photo in the format HEIF, which phones keep and which can’t be read here. Share or export it "
            "as JPEG; in the camera’s settings the compatible format makes JPEGs at once."
        )
    raise ScanError(f"This is {_what(content)}. Send a PNG, a JPEG or a PDF.")


def _what(content: bytes) -> str:
    if content[4:8] == b"ftyp":
        return "a photo or film in a format that can’t be read here"
    if content[:4] == b"RIFF" and content[8:12] == b"WEBP":
        return "a WebP picture"
    start = content.lstrip()[:16]
    return next((words for magic, words in _OTHERS.items() if start.startswith(magic)), "no picture that can be read")


def _decoded(content: bytes, kind: str) -> Image.Image:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            image = Image.open(io.BytesIO(content), formats=[kind])
            width, height = image.size
            if width * height > MOST_PIXELS[kind]:
                raise ScanError(
                    f"This picture has {width} × {height} points, more than can be read. "
                    "Scan the page at 300 points to the inch."
                )
            if min(width, height) < LEAST_HEIGHT or max(width, height) < LEAST_WIDTH:
                raise ScanError(f"This picture has only {width} × {height} points: too few to read notes from.")
            if kind == "JPEG":
                image.draft("L", (LONG_SIDE, LONG_SIDE))
            _load_whole(image)
    except Image.DecompressionBombError:
        raise ScanError(
            "This picture has more points than can be read. Scan the page at 300 points to the inch."
        ) from None
    except (
        UnidentifiedImageError,
        OSError,
        ValueError,
        SyntaxError,
        MemoryError,
    ) as error:
        if isinstance(error, ScanError):
            raise
        raise ScanError(f"This {kind} is damaged or not whole: send it again, or scan the page anew.") from None
    return reduced(_grey(ImageOps.exif_transpose(image)))


_LOADING = threading.Lock()


def _load_whole(image: Image.Image) -> None:
    """Decode a picture; one that ends too early is an error, whatever another library has set for the
    whole process. Raises OSError."""
    with _LOADING:
        before, ImageFile.LOAD_TRUNCATED_IMAGES = ImageFile.LOAD_TRUNCATED_IMAGES, False
        try:
            image.load()
        finally:
            ImageFile.LOAD_TRUNCATED_IMAGES = before


def _grey(image: Image.Image) -> Image.Image:
    if image.mode.startswith("I") or image.mode == "F":
        deep = np.asarray(image, dtype=np.float64)
        return Image.fromarray((deep / max(float(deep.max()), 255.0) * 255).astype(np.uint8))
    if image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info:
        # Channel by channel: a picture of two channels takes as much memory as one of four.
        clear = image if image.mode in ("RGBA", "LA") else image.convert("RGBA")
        paper = Image.new("L", image.size, 255)
        paper.paste(clear.convert("L"), mask=clear.getchannel("A"))
        return paper
    return image.convert("L")


def reduced(image: Image.Image, long_side: int = LONG_SIDE) -> Image.Image:
    """The picture, made smaller where it is longer than `long_side`; never larger."""
    if max(image.size) <= long_side:
        return image
    scale = long_side / max(image.size)
    size = (max(1, round(image.width * scale)), max(1, round(image.height * scale)))
    return image.resize(size, Image.Resampling.LANCZOS)


def _pdf_page(content: bytes, page: int) -> Scan:
    try:
        done = subprocess.run(
            [sys.executable, "-I", str(_SCRIPT), str(page)],
            input=content,
            capture_output=True,
            timeout=PDF_SECONDS,
            env={},
            check=False,
        )
    except subprocess.TimeoutExpired:
        raise ScanError("This PDF takes too long to draw. Send a picture of the page instead.") from None
    head, _, pixels = done.stdout.partition(b"\n")
    try:
        found: dict[str, Any] = json.loads(head)
    except ValueError:
        found = {"problem": "unreadable"}
    problem = found.get("problem")
    if problem == "no page":
        pages = found["pages"]
        raise ScanError(f"This PDF has {pages} page{'' if pages == 1 else 's'}, so there is no page {page}.")
    if problem == "password":
        raise ScanError("This PDF is protected by a password. Send it without, or send a picture of the page.")
    if problem or len(pixels) != found["width"] * found["height"]:
        raise ScanError("This PDF is damaged or holds more than can be drawn. Send a picture of the page instead.")
    if min(found["width"], found["height"]) < LEAST_HEIGHT:
        raise ScanError("This page is too small to read notes from.")
    image = Image.frombytes("L", (found["width"], found["height"]), pixels)
    return Scan(image, page, found["pages"], is_pdf=True)


def as_png(image: Image.Image) -> bytes:
    """A grey picture as a PNG of sixteen greys, without anything but its pixels."""
    sixteen = image.point([round(level / 17) for level in range(256)])
    indexed = Image.frombytes("P", sixteen.size, sixteen.tobytes())
    indexed.putpalette([level * 17 for level in range(16) for _ in range(3)])
    out = io.BytesIO()
    indexed.save(out, "PNG", optimize=True)
    return out.getvalue()


def from_png(content: bytes) -> Image.Image:
    """A picture that `as_png` wrote, in greys."""
    return Image.open(io.BytesIO(content), formats=["PNG"]).convert("L")


def turned(image: Image.Image, quarters: int) -> Image.Image:
    """The picture turned clockwise by quarters."""
    ways = {1: Image.Transpose.ROTATE_270, 2: Image.Transpose.ROTATE_180, 3: Image.Transpose.ROTATE_90}
    return image.transpose(ways[quarters % 4]) if quarters % 4 else image


def straightened(image: Image.Image, angle: float) -> Image.Image:
    """The picture turned by degrees clockwise about its middle; its size stays and corners are paper."""
    return image.rotate(-angle, Image.Resampling.BICUBIC, fillcolor=255) if angle else image


def cut_out(image: Image.Image, crop: Crop) -> Image.Image:
    """The excerpt: straightened, cropped, its paper made white, at most EXCERPT_WIDTH wide. Raises ScanError when too
    little is left."""
    width, height = image.size
    box = (
        round(width * crop.left / 100), round(height * crop.top / 100),
        round(width * crop.right / 100), round(height * crop.bottom / 100),
    )  # fmt: skip
    if box[2] - box[0] < LEAST_WIDTH or box[3] - box[1] < LEAST_HEIGHT:
        raise ScanError(
            f"Only {box[2] - box[0]} × {box[3] - box[1]} points are left: too few to read notes from. "
            "Crop less, or scan the page larger."
        )
    found = whitened(straightened(image, crop.angle).crop(box))
    return (
        found
        if found.width <= EXCERPT_WIDTH
        else reduced(found, round(EXCERPT_WIDTH * max(1, found.height / found.width)))
    )


def whitened(image: Image.Image) -> Image.Image:
    """The picture with its paper white: each point against the brightest around it, so that the shade
    of a photo or a bent page goes and the ink stays. Nothing darker than a mid grey counts as paper."""
    small = reduced(image, max(32, max(image.size) // 8))
    paper = small.filter(ImageFilter.MaxFilter(9)).filter(ImageFilter.GaussianBlur(6)).resize(image.size)
    bright = WHITE * np.maximum(np.asarray(paper, dtype=np.float32), 96)
    return Image.fromarray(np.minimum(np.asarray(image, dtype=np.float32) * 255 / bright, 255).astype(np.uint8))


def find_staves(image: Image.Image) -> tuple[tuple[float, float], ...]:
    """Top and bottom line of each stave, in pixels from the top. Empty where no five lines stand
    at equal distances over most of the width (a picture not straight, say)."""
    grey = np.asarray(image, dtype=np.float64)
    # Thin lines are pale in a photo: a quarter darker than the paper is ink.
    dark = (grey < 0.75 * np.percentile(grey, 90)).mean(axis=1)
    lines = _lines(dark, max(0.35, 0.55 * float(dark.max())))
    staves: list[tuple[float, float]] = []
    at = 0
    while at + 4 < len(lines):
        five = lines[at : at + 5]
        gaps = np.diff(five)
        if gaps.min() >= 3 and gaps.max() <= 1.35 * gaps.min():
            staves.append((round(five[0], 1), round(five[4], 1)))
            at += 5
        else:
            at += 1
    return tuple(staves)


def find_angle(image: Image.Image) -> float:
    """The degrees clockwise, within 6 to either side, at which the rows of the picture differ most in
    darkness, as they do when its staves lie level; to a tenth of a degree."""
    small = reduced(image, 900)

    def level(angle: float) -> float:
        rows = np.asarray(straightened(small, angle), dtype=np.float64).mean(axis=1)
        return float(np.square(np.diff(rows)).sum())

    best = max((n / 2 for n in range(-12, 13)), key=level)
    near = [best + n / 10 for n in range(-5, 6)]
    finest: float = max(near, key=level)
    return round(finest, 1)


def _lines(dark: NDArray[np.float64], least: float) -> list[float]:
    """The middles of the runs of rows at least that dark."""
    rows = np.flatnonzero(dark >= least)
    if not len(rows):
        return []
    runs = np.split(rows, np.flatnonzero(np.diff(rows) > 1) + 1)
    return [float(run.mean()) for run in runs]
