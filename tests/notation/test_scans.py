"""Reading pictures: hostile and broken files end in a clear message; good ones lose all but their pixels."""

import io
import time

import numpy as np
import pypdfium2
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageFilter

from repertoire.notation.scans import (
    LONG_SIDE,
    Crop,
    ScanError,
    as_png,
    cut_out,
    find_angle,
    find_staves,
    from_png,
    read_scan,
    straightened,
    turned,
)
from tests.repertoire.scans import SIZE, bomb, chunks, jpeg, pdf, png, sheet

LIMIT = 20 * 1024 * 1024


def read(content, **more):
    return read_scan(content, limit=LIMIT, **more)


def saved(image, kind, **more):
    out = io.BytesIO()
    image.save(out, kind, **more)
    return out.getvalue()


def ink(image):
    return float((np.asarray(image) < 128).mean())


@pytest.mark.parametrize("content", [png(), jpeg(quality=95), pdf()], ids=["png", "jpeg", "pdf"])
def test_the_sheet_is_read_from_each_kind(content):
    scan = read(content)
    assert (scan.page, scan.pages) == (1, 1)
    assert scan.image.mode == "L"
    assert scan.image.width / scan.image.height == pytest.approx(SIZE[0] / SIZE[1], rel=0.01)
    assert ink(scan.image) == pytest.approx(ink(sheet()), rel=0.1)


HOSTILE = {
    "empty": (b"", "empty"),
    "gif by another name": (saved(sheet(), "GIF"), "a GIF"),
    "tiff": (saved(sheet(), "TIFF"), "a TIFF"),
    "bmp": (saved(sheet(), "BMP"), "a BMP"),
    "webp": (b"RIFF\x10\0\0\0WEBPVP8 ", "WebP"),
    "photo of a phone": (b"\0\0\0\x18ftypheic\0\0\0\0", "Share or export it as JPEG"),
    "film": (b"\0\0\0\x18ftypmp42\0\0\0\0", "a photo or film in a format that can’t be read"),
    "svg with a script": (b"<svg xmlns='x'><script>alert(1)</script></svg>", "an SVG"),
    "web page": (b"<!DOCTYPE html><script>alert(1)</script>", "a web page"),
    "zip": (b"PK\x03\x04" + b"\0" * 60, "compressed folder"),
    "nonsense": (bytes(range(256)) * 8, "no picture that can be read"),
    "truncated png": (png()[:900], "damaged"),
    "png of a head alone": (png()[:33], "damaged"),
    "png signature alone": (b"\x89PNG\r\n\x1a\n", "damaged"),
    "truncated jpeg": (jpeg()[:2000], "damaged"),
    "jpeg of three bytes": (b"\xff\xd8\xff", "damaged"),
    "png that says jpeg": (b"\xff\xd8\xff" + png(), "damaged"),
    "bomb": (bomb(), "than can be read"),
    "bomb beyond all limits": (bomb(2**31 - 1, 2**31 - 1), "damaged|than can be read"),
    "too small": (png(Image.new("L", (20, 20), 255)), "too few"),
    "pdf in name alone": (b"%PDF-1.7 and nothing", "damaged"),
    "truncated pdf": (pdf()[:400], "damaged"),
    "pdf with a password": (pdf(password="secret"), "password"),
}


@pytest.mark.parametrize("content, message", HOSTILE.values(), ids=HOSTILE.keys())
def test_a_hostile_file_ends_in_a_message(content, message):
    begun = time.monotonic()
    with pytest.raises(ScanError, match=message):
        read(content)
    assert time.monotonic() - begun < 10


SMALL = {
    "png": png(sheet().resize((400, 175))),
    "jpeg": jpeg(sheet().resize((400, 175))),
    "pdf": pdf(image=sheet().resize((400, 175))),
}


def mutated(content, edits, length):
    changed = bytearray(content)
    for place, value in edits:
        changed[place % len(changed)] = value
    return bytes(changed[: max(12, length)])


@pytest.mark.parametrize("kind, examples", [("png", 60), ("jpeg", 60), ("pdf", 8)])
def test_a_file_with_changed_bytes_is_read_or_refused_with_words(kind, examples):
    content = SMALL[kind]
    edits = st.lists(st.tuples(st.integers(0, len(content) - 1), st.integers(0, 255)), max_size=20)

    @settings(max_examples=examples, deadline=None, database=None, derandomize=True)
    @given(edits=edits, length=st.integers(0, len(content)) | st.just(len(content)))
    def law(edits, length):
        try:
            scan = read(mutated(content, edits, length))
        except ScanError as error:
            assert str(error).endswith(".")  # noqa: PT017
        else:
            assert scan.image.mode == "L"
            assert max(scan.image.size) <= LONG_SIDE + 1

    law()


def test_a_file_too_large_is_refused_before_it_is_read():
    with pytest.raises(ScanError, match="larger than 1 MB"):
        read_scan(png() + b"\0" * 2_000_000, limit=1024 * 1024)


def test_a_page_that_isnt_there():
    assert read(pdf(pages=3), page=3).pages == 3
    with pytest.raises(ScanError, match="3 pages, so there is no page 4"):
        read(pdf(pages=3), page=4)


def test_a_script_in_a_pdf_changes_nothing():
    """The page is drawn as without it, and the renderer is built without an engine for scripts."""
    script = "this.getField('a').value = 1; app.alert('x'); while (true) {}"
    assert b"/JavaScript" in pdf(script=script)
    plain, scripted = read(pdf()), read(pdf(script=script))
    assert scripted.image.tobytes() == plain.image.tobytes()
    assert "V8" not in pypdfium2.version.PDFIUM_INFO.flags


def test_a_vast_page_is_drawn_at_a_bounded_size():
    vast = Image.new("L", (5000, 2500), 255)
    scan = read(pdf(image=vast))
    assert max(scan.image.size) <= LONG_SIDE + 1


def test_nothing_of_the_file_but_its_pixels_is_kept():
    exif = Image.Exif()
    exif[0x010E] = "taken at home"  # description
    exif[0x010F] = "a maker"
    exif.get_ifd(0x8825)[1] = "N"  # place
    kept = as_png(read(jpeg(exif=exif, comment=b"a comment")).image)
    assert chunks(kept) == [b"IHDR", b"PLTE", b"IDAT", b"IEND"]
    assert b"taken at home" not in kept


def test_a_photo_is_turned_as_its_camera_says():
    exif = Image.Exif()
    exif[0x0112] = 6  # to be turned a quarter clockwise
    assert read(jpeg(exif=exif)).image.size == (SIZE[1], SIZE[0])


@pytest.mark.parametrize("mode", ["1", "P", "RGB", "RGBA", "LA", "I;16"])
def test_every_kind_of_png_becomes_grey_on_white_paper(mode):
    image = sheet().point(lambda v: v * 257, "I").convert("I;16") if mode == "I;16" else sheet().convert(mode)
    scan = read(png(image)).image
    assert scan.mode == "L"
    assert ink(scan) == pytest.approx(ink(sheet()), rel=0.05)


def test_what_is_clear_is_paper():
    clear = Image.new("RGBA", (400, 100), (0, 0, 0, 0))
    assert read(png(clear)).image.getextrema() == (255, 255)


def test_a_photo_in_printing_colours_is_read():
    assert ink(read(jpeg(sheet().convert("CMYK"))).image) == pytest.approx(ink(sheet()), rel=0.1)


def test_a_large_picture_is_kept_at_a_bounded_size():
    assert read(png(Image.new("L", (6000, 3000), 255))).image.size == (3500, 1750)


def test_sixteen_greys_come_back_as_they_went():
    kept = from_png(as_png(sheet()))
    assert kept.size == SIZE
    assert int(np.abs(np.asarray(kept, dtype=int) - np.asarray(sheet(), dtype=int)).max()) <= 8


def test_staves_are_found():
    assert find_staves(sheet()) == ((200.0, 280.0), (450.0, 530.0))


def test_staves_are_found_in_a_photo():
    """Tilted by a degree, out of focus, under a lamp, with grain."""
    blurred = sheet(1.0).filter(ImageFilter.GaussianBlur(2))
    shade = np.linspace(0.95, 0.6, SIZE[0])[None, :]
    grain = np.random.default_rng(7).normal(0, 6, (SIZE[1], SIZE[0]))
    photo = Image.fromarray(np.clip((np.asarray(blurred) * 0.85 + 25) * shade + grain, 0, 255).astype(np.uint8))
    scan = read(jpeg(photo.convert("RGB"), quality=85)).image
    angle = find_angle(scan)
    assert angle == pytest.approx(-1.0, abs=0.15)
    found = find_staves(cut_out(scan, Crop(angle)))
    assert [pytest.approx(stave, abs=4) for stave in ((200, 280), (450, 530))] == list(found)


def test_no_staves_are_found_where_none_are():
    assert find_staves(Image.new("L", (800, 400), 255)) == ()
    assert find_staves(sheet(6)) == ()


@pytest.mark.parametrize("angle", [-2.5, 0.0, 1.4, 4.0])
def test_the_angle_that_levels_the_staves(angle):
    assert find_angle(sheet(angle)) == pytest.approx(-angle, abs=0.2)


def test_straightened_its_staves_are_found_again():
    level = straightened(sheet(2.0), -2.0)
    assert level.size == SIZE
    assert len(find_staves(level)) == 2


def test_turning_by_quarters():
    assert turned(sheet(), 1).size == (700, 1600)
    assert turned(turned(sheet(), 1), 3).tobytes() == sheet().tobytes()
    # The upper left corner goes to the upper right.
    spot = Image.new("L", (10, 6), 255)
    spot.putpixel((0, 0), 0)
    assert turned(spot, 1).getpixel((5, 0)) == 0


def test_cropping_takes_percent_of_both_sides():
    assert cut_out(sheet(), Crop(left=25, top=10, right=75, bottom=60)).size == (800, 350)
    assert cut_out(sheet(), Crop()).tobytes() == sheet().tobytes()


@pytest.mark.parametrize(
    "edges, message",
    [
        ({"left": 60, "right": 40}, "left edge"),
        ({"top": 50, "bottom": 50}, "upper edge"),
        ({"left": -1}, "left edge"),
        ({"bottom": 101}, "upper edge"),
        ({"angle": 16}, "15 degrees"),
        ({"angle": float("nan")}, "15 degrees"),
        ({"left": float("nan")}, "left edge"),
    ],
)
def test_a_crop_that_cant_be(edges, message):
    with pytest.raises(ScanError, match=message):
        Crop(**edges)


def test_the_shade_of_a_photo_becomes_white_paper_and_the_ink_stays():
    # From 250 down to 130 across the page, as under a lamp at the left.
    shade = np.linspace(250, 130, SIZE[0])[None, :] / 255
    photo = Image.fromarray((np.asarray(sheet()) * shade).astype(np.uint8))
    clean = cut_out(photo, Crop())
    bright = np.asarray(clean)[np.asarray(sheet()) == 255]
    assert int(np.percentile(bright, 1)) >= 240
    assert ink(clean) == pytest.approx(ink(sheet()), rel=0.05)
    assert find_staves(clean) == ((200.0, 280.0), (450.0, 530.0))


def test_too_little_left_is_refused():
    with pytest.raises(ScanError, match="too few"):
        cut_out(sheet(), Crop(left=0, right=5))
