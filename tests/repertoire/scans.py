"""Pictures of printed music drawn for the tests: staves of five lines with noteheads, as PNG, JPEG or PDF."""

from __future__ import annotations

import io
import struct
import zlib

from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image, ImageDraw
from pypdf import PdfWriter
from pypdf.generic import ArrayObject, DictionaryObject, NameObject, TextStringObject

from repertoire.bounds import Bounds
from repertoire.importing import add_part_without_notation
from repertoire.models import Movement, Passage, Piece
from repertoire.notation.scans import Crop
from repertoire.pictures import keep_upload, make_picture_passage
from studio.models import Teacher

# Two staves of 80 px on a sheet of 1600 by 700: lines at 200, 220, … 280 and at 450, 470, … 530.
SIZE = (1600, 700)
STAVES = ((200, 280), (450, 530))


def sheet(angle: float = 0.0) -> Image.Image:
    """The sheet, turned clockwise by some degrees as a crooked scan is."""
    image = Image.new("L", SIZE, 255)
    pen = ImageDraw.Draw(image)
    for top, _ in STAVES:
        for n in range(5):
            pen.line((100, top + 20 * n, 1500, top + 20 * n), fill=0, width=3)
        for n in range(8):
            x, y = 200 + 160 * n, top + 20 * (n % 4) + 10
            pen.ellipse((x, y - 10, x + 26, y + 10), fill=0)
            pen.line((x + 25, y, x + 25, y - 70), fill=0, width=3)
    return image.rotate(-angle, Image.Resampling.BICUBIC, fillcolor=255) if angle else image


def png(image: Image.Image | None = None, **more) -> bytes:
    out = io.BytesIO()
    (image or sheet()).save(out, "PNG", **more)
    return out.getvalue()


def jpeg(image: Image.Image | None = None, **more) -> bytes:
    out = io.BytesIO()
    (image or sheet()).save(out, "JPEG", **more)
    return out.getvalue()


def pdf(pages: int = 1, script: str = "", password: str = "", image: Image.Image | None = None) -> bytes:
    """A PDF of the sheet; with `script` it asks to be run when the document is opened."""
    drawn = io.BytesIO()
    sheets = [(image or sheet()).convert("RGB") for _ in range(pages)]
    sheets[0].save(drawn, "PDF", save_all=True, append_images=sheets[1:], resolution=200)
    writer = PdfWriter(clone_from=io.BytesIO(drawn.getvalue()))
    if script:
        action = DictionaryObject(
            {NameObject("/S"): NameObject("/JavaScript"), NameObject("/JS"): TextStringObject(script)}
        )
        writer.root_object[NameObject("/OpenAction")] = action
        named = DictionaryObject({NameObject("/Names"): ArrayObject([TextStringObject("begin"), action])})
        writer.root_object[NameObject("/Names")] = DictionaryObject({NameObject("/JavaScript"): named})
    if password:
        writer.encrypt(password, algorithm="RC4-128")
    out = io.BytesIO()
    writer.write(out)
    return out.getvalue()


def bomb(width: int = 30_000, height: int = 30_000) -> bytes:
    """A PNG whose few bytes unpack to a picture of that size."""

    def chunk(kind: bytes, content: bytes) -> bytes:
        return struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(kind + content))

    head = struct.pack(">IIBBBBB", width, height, 1, 0, 0, 0, 0)
    rows = zlib.compress(b"\0" * min((width // 8 + 1) * 200, 10_000_000), 9)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


def chunks(content: bytes) -> list[bytes]:
    """The kinds of chunk of a PNG, in order."""
    found, at = [], 8
    while at < len(content):
        (length,) = struct.unpack(">I", content[at : at + 4])
        found.append(content[at + 4 : at + 8])
        at += 12 + length
    return found


def sent(content: bytes | None = None, name: str = "page.png") -> SimpleUploadedFile:
    """A picture as a browser sends it."""
    return SimpleUploadedFile(name, png() if content is None else content)


def bare_movement(teacher: Teacher, bars: int = 16) -> Movement:
    """A movement of which only the bars are known."""
    piece = Piece.objects.create(teacher=teacher, title="Lantern Study", composer="Ada Fell")
    part = add_part_without_notation(piece, [bars], name="Viola", instrument="viola", edition="First printing")
    return Movement.objects.select_related("revision__part__piece").get(revision__part=part)


def picture_passage(teacher: Teacher, movement: Movement | None = None) -> Passage:
    """Bars 1 to 4 with the whole sheet as excerpt."""
    movement = movement or bare_movement(teacher)
    upload = keep_upload(movement, teacher, png(), "page.png")
    return make_picture_passage(upload, Bounds(1, "", 4, "", "1", "4"), Crop(), title="From print")
