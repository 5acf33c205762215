"""Files made to do harm, and files that are merely broken: each ends in a faithful import or in
a message a teacher can act on; never in a traceback, a long wait or a great deal of memory."""

import io
import random
import re
import struct
import subprocess
import sys
import time
import zipfile

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from repertoire.notation.musicxml import FileError, read_part

from .small_files import FOUR, bars, note, packed, score

WHOLE = note("C4", 16, "whole")
GOOD = score(bars(FOUR + WHOLE, note("D4", 8, "half") + note("E4", 8, "half"), WHOLE))
TEXT = GOOD.decode()
LIMIT_SECONDS = 10


def with_doctype(subset, use=""):
    return TEXT.replace("<score-partwise", f"<!DOCTYPE score-partwise [{subset}]><score-partwise", 1).replace(
        "Viola", use or "Viola"
    )


def bomb():
    """An archive of 130 MB of spaces in a few hundred kilobytes."""
    return packed(TEXT.encode() + b" " * (130 * 1024 * 1024))


def lying_bomb():
    """The same, but the archive says that the score is small."""
    data = bytearray(packed(b"<score-partwise>" + b"<a/>" * 40_000_000, "score.xml"))
    size = struct.pack("<I", 16 + 160_000_000)
    return bytes(data.replace(size, struct.pack("<I", 1000)))


def attributes_bomb():
    """Elements of a hundred attributes each, all in one bar."""
    element = "<x " + " ".join(f'a{i}=""' for i in range(100)) + "/>"
    return bar(FOUR + WHOLE + element * 20_000)


def many_files():
    return packed(GOOD, **{f"f{i}.txt": b"" for i in range(600)})


def locked():
    data = bytearray(packed(GOOD))
    for sign, offset in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        place = data.rfind(sign)
        data[place + offset] |= 1
    return bytes(data)


def with_name(name):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr(
            "META-INF/container.xml", f'<container><rootfiles><rootfile full-path="{name}"/></rootfiles></container>'
        )
        archive.writestr(name, GOOD)
    return out.getvalue()


def nested(depth):
    return TEXT.replace("<part id", "<x>" * depth + "</x>" * depth + "<part id", 1)


def bar(*contents):
    return score(bars(*contents))


LAUGHS = "".join([f'<!ENTITY a{i} "{f"&a{i - 1};" * 10 if i else "ha" * 10}">' for i in range(10)])

REFUSED = {
    "empty": (b"", "is empty"),
    "only spaces": (b"  \n ", "is empty"),
    "plain text": (b"Dear teacher,", "doesn’t begin like an XML file"),
    "random bytes": (random.Random(1).randbytes(5000), "doesn’t begin like an XML file"),
    "a web page": (b"<html><body>Not found</body></html>", "begins with <html>"),
    "an opus": (b"<opus/>", "a list of scores"),
    "a PDF under a false name": (b"%PDF-1.7 ...", "is a PDF"),
    "a picture under a false name": (b"\x89PNG\r\n\x1a\n", "a picture"),
    "MIDI under a false name": (b"MThd\x00\x00", "a MIDI file"),
    "gzip": (b"\x1f\x8b\x08\x00", "gzip"),
    "ABC under a false name": (b"X:1\nK:C\nCDEF", "is ABC"),
    "truncated": (GOOD[: len(GOOD) // 2], r"is broken on line \d+"),
    "truncated before the last tag": (GOOD[:-10], r"is broken on line \d+"),
    "two roots": (GOOD + b"<score-partwise/>", r"is broken on line \d+"),
    "tags crossed": (GOOD.replace(b"</note></measure>", b"</measure></note>"), r"is broken on line \d+"),
    "no parts": (b"<score-partwise><part-list/></score-partwise>", "names no parts"),
    "no part list": (b'<score-partwise><part id="P1"><measure/></part></score-partwise>', "list of parts doesn’t name"),
    "parts without bars": (score("", names=("Viola",)), "no bars"),
    "a part the list doesn’t name": (GOOD.replace(b'<part id="P1"', b'<part id="P9"'), "list of parts doesn’t name"),
    "no notes": (bar(FOUR), "only rests"),
    "only rests": (bar(FOUR + note("r", 16, "whole")), "only rests"),
    "external entity": (with_doctype('<!ENTITY x SYSTEM "file:///etc/passwd">', "&x;"), "entities of its own"),
    "entity from the network": (
        with_doctype('<!ENTITY x SYSTEM "http://localhost:1/x">', "&x;"),
        "entities of its own",
    ),
    "parameter entity": (with_doctype('<!ENTITY % x SYSTEM "file:///etc/passwd"> %x;'), "entities of its own"),
    "entity expansion": (with_doctype(LAUGHS, "&a9;"), "expands without end|entities of its own"),
    "entity expansion in an attribute": (
        with_doctype(LAUGHS).replace('version="4.0"', 'version="&a9;"'),
        "expands without end|entities of its own|is broken",
    ),
    "an entity never declared": (TEXT.replace("Viola", "&nothing;"), "is broken"),
    "invalid bytes for its encoding": (TEXT.replace("Viola", "Violä").encode("latin-1"), "don’t fit its encoding"),
    "an encoding never heard of": (TEXT.replace("UTF-8", "X-KLINGON"), "encoding “X-KLINGON”"),
    "UTF-7": (TEXT.replace("UTF-8", "UTF-7"), "encoding “UTF-7”"),
    "nested 100,000 deep": (nested(100_000), "larger than notation needs|is broken"),
    "an attribute of 30 MB": (TEXT.replace('number="1"', 'number="' + "1" * 30_000_000 + '"'), "larger than"),
    "an attribute of 12 MB": (
        TEXT.replace('number="1"', 'number="' + "1" * 12_000_000 + '"'),
        "larger than notation|is broken",
    ),
    "2,000,000 elements in one bar": (bar(FOUR + WHOLE + "<x/>" * 2_000_000), "more in one bar than can be read"),
    "2,000,000 attributes": (lambda: attributes_bomb(), "more in one bar|larger than notation|is broken"),
    "a million small notes": (
        lambda: packed(bar(*[FOUR + "<note><rest/><duration>1</duration></note>" * 500] * 2_000)),
        "more bars and notes than any",
    ),
    "a file over the limit": (b"<" + b" " * (21 * 1024 * 1024), "larger than 20 MB"),
    "zip bomb": (bomb, "unpacks to more than 120 MB"),
    "zip bomb that lies about its size": (lying_bomb, "damaged archive|more in one bar|is broken"),
    "archive in an archive": (packed(packed(GOOD), "score.xml"), "archive inside an archive"),
    "archive cut short": (packed(GOOD)[:-30], "damaged archive"),
    "archive with a flipped bit": (
        lambda: packed(GOOD).replace(GOOD[:0] or b"PK\x01\x02", b"PK\x01\x03"),
        "damaged archive",
    ),
    "archive without a score": (packed(b"hello", "readme.txt", container=""), "without a MusicXML score"),
    "archive with two scores": (packed(GOOD, "a.xml", "", **{"b.xml": GOOD}), "holds 2 scores"),
    "archive whose container lies": (
        packed(GOOD, "a.xml", '<container><rootfiles><rootfile full-path="b.xml"/></rootfiles></container>'),
        "holds no such file",
    ),
    "archive whose container is broken": (packed(GOOD, "a.xml", "<container"), "table of contents that can’t be read"),
    "archive with 600 files": (many_files, "holds 602 files"),
    "archive with a password": (locked, "locked with a password"),
    "archive with a name that climbs": (with_name("../../etc/cron.d/x.xml"), "points outside the archive"),
    "archive with an absolute name": (with_name("/etc/x.xml"), "points outside the archive"),
    "archive with a drive's name": (with_name("C:\\x.xml"), "points outside the archive"),
    "percussion clef": (
        bar("<attributes><clef><sign>percussion</sign></clef></attributes>" + WHOLE),
        "percussion part",
    ),
    "tablature": (bar("<attributes><clef><sign>TAB</sign></clef></attributes>" + WHOLE), "tablature"),
    "a negative length": (bar(FOUR + note("C4", -4)), "Bar 1 .*a note has the length “-4”"),
    "a length in words": (GOOD.replace(b"<duration>16<", b"<duration>long<", 1), "Bar 1 .*the length “long”"),
    "no length at all": (GOOD.replace(b"<duration>16</duration>", b"", 1), "Bar 1 .*has the length “”"),
    "an enormous length": (GOOD.replace(b"<duration>16<", b"<duration>1e999999999<", 1), "which is no length"),
    "a length of 5,000 digits": (GOOD.replace(b"<duration>16<", b"<duration>" + b"9" * 5000 + b"<", 1), "no length"),
    "divisions of zero": (GOOD.replace(b"<divisions>4<", b"<divisions>0<"), "Bar 1 .*divisions"),
    "a step back before the bar": (
        bar(FOUR + "<backup><duration>99</duration></backup>" + WHOLE),
        "before the bar begins",
    ),
    "a pitch that is none": (GOOD.replace(b"<step>C<", b"<step>H<", 1), "Bar 1 .*is not a pitch"),
    "an octave that is none": (GOOD.replace(b"<octave>4<", b"<octave>four<", 1), "is not a pitch"),
    "an accidental that is none": (GOOD.replace(b"</step>", b"</step><alter>40</alter>", 1), "is not an accidental"),
    "a note that is nothing": (bar(FOUR + "<note><duration>4</duration></note>"), "neither a pitch nor a rest"),
    "a tuplet of 0": (
        bar(FOUR + note("C4", inner="<time-modification><actual-notes>0</actual-notes></time-modification>")),
        "no readable ratio",
    ),
    "20,001 bars": (lambda: bar(*([WHOLE] * 20_001)), "more than 20,000 bars"),
    "300 parts": (lambda: score(*["<measure/>"] * 300, names=("x",) * 300), "lists 300 parts"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_refused_with_a_message(name):
    data, message = REFUSED[name]
    data = data() if callable(data) else data
    data = data.encode() if isinstance(data, str) else data
    start = time.process_time()
    with pytest.raises(FileError, match=message) as found:
        read_part(data, "part.musicxml", 1)
    assert time.process_time() - start < LIMIT_SECONDS
    told = str(found.value)
    assert len(told) < 500
    assert "Traceback" not in told
    assert re.search(r"[.)]$", told)
    assert "root:" not in told  # nothing of /etc/passwd


READ = {
    "UTF-8 with a byte order mark": (b"\xef\xbb\xbf" + GOOD, 3),
    "UTF-16": (TEXT.replace("UTF-8", "UTF-16").encode("utf-16"), 3),
    "UTF-16 without a declaration": (TEXT.split("\n", 1)[1].encode("utf-16"), 3),
    "Latin-1": (TEXT.replace("UTF-8", "ISO-8859-1").encode("latin-1"), 3),
    "wrong extension, right content": (packed(GOOD), 3),
    "a document type from the network, not fetched": (
        TEXT.replace("<score-part", '<!DOCTYPE score-partwise SYSTEM "http://localhost:1/x.dtd"><score-part', 1),
        3,
    ),
    "a namespace": (TEXT.replace("<score-partwise", '<score-partwise xmlns="urn:x"', 1), 3),
    "comments and instructions": (TEXT.replace("<note>", "<!-- a --><?b c?><note>"), 3),
    "unknown elements everywhere": (TEXT.replace("<note>", "<wobble><x/></wobble><note>"), 3),
    "unknown elements in notes": (TEXT.replace("<voice>", "<wobble/><voice>"), 3),
    "5,000 bars": (lambda: bar(FOUR + WHOLE, *([WHOLE] * 4_999)), 5000),
    "an overfull bar": (bar(FOUR + WHOLE + WHOLE), 1),
    "an underfull bar": (bar(FOUR + WHOLE, note("C4"), WHOLE), 3),
    "a clef change within a bar": (
        bar(
            FOUR
            + note("C4", 8, "half")
            + "<attributes><clef><sign>F</sign></clef></attributes>"
            + note("C4", 8, "half")
        ),
        1,
    ),
    "three voices": (
        bar(
            FOUR
            + "<backup><duration>16</duration></backup>".join(
                note(n, 16, "whole", voice=v) for n, v in (("C5", "1"), ("E4", "2"), ("C4", "3"))
            )
        ),
        1,
    ),
    "voices with strange names": (
        bar(FOUR + WHOLE + "<backup><duration>16</duration></backup>" + note("E4", 16, "whole", voice="upper")),
        1,
    ),
    "no divisions": (
        GOOD.replace(b"<divisions>4</divisions>", b"").replace(b">16<", b">4<").replace(b">8<", b">2<"),
        3,
    ),
    "no clef, key or time": (bar(WHOLE.replace(">16<", ">4<")), 1),
    "an impossible time signature": (GOOD.replace(b"<beats>4<", b"<beats>four<"), 3),
    "a time signature of 0": (GOOD.replace(b"<beats>4<", b"<beats>0<"), 3),
    "an impossible key": (GOOD.replace(b"<fifths>0<", b"<fifths>99<"), 3),
    "an impossible clef": (GOOD.replace(b"<sign>C<", b"<sign>Q<"), 3),
    "no bar numbers": (GOOD.replace(b"number=", b"nummer="), 3),
    "all bars numbered 1": (re.sub(rb'number="\d"', b'number="1"', GOOD), 3),
    "bar numbers in words": (re.sub(rb'number="\d"', b'number="twelve"', GOOD), 3),
    "an empty tempo unit": (
        GOOD.replace(
            b"<note>",
            b"<direction><direction-type><metronome><beat-unit/><per-minute>9</per-minute>"
            b"</metronome></direction-type></direction><note>",
            1,
        ),
        3,
    ),
    "slurs that never end": (GOOD.replace(b"</note>", b"<notations><slur type='start'/></notations></note>"), 3),
    "slurs that end thrice": (GOOD.replace(b"</note>", b"<notations><slur type='stop'/></notations></note>"), 3),
    "ties to nowhere": (GOOD.replace(b"<voice>", b"<tie type='start'/><tie type='stop'/><voice>"), 3),
    "a chord member without a chord": (GOOD.replace(b"<note>", b"<note><chord/>", 1), 3),
    "fingers that are none": (
        GOOD.replace(b"</note>", b"<notations><technical><fingering>99</fingering></technical></notations></note>"),
        3,
    ),
    "no part name": (GOOD.replace(b"<part-name>Viola</part-name>", b""), 3),
    "a note value that is none": (GOOD.replace(b"<type>whole<", b"<type>huge<"), 3),
    "markup in a part name": (TEXT.replace("Viola", "&lt;script&gt;alert(1)&lt;/script&gt;"), 3),
    "cross-staff": (
        bar(
            FOUR.replace("<clef>", "<staves>2</staves><clef>")
            + note("C4", 8, "half").replace("</note>", "<staff>1</staff></note>")
            + note("C3", 8, "half").replace("</note>", "<staff>2</staff></note>")
        ),
        1,
    ),
}


@pytest.mark.parametrize("name", READ)
def test_read_all_the_same(name):
    data, bar_count = READ[name]
    data = data() if callable(data) else data
    data = data.encode() if isinstance(data, str) else data
    start = time.process_time()
    read = read_part(data, "part.xml", 1)
    assert time.process_time() - start < LIMIT_SECONDS
    assert sum(len(m.line.bars) for m in read.movements) == bar_count
    assert all(e.address in m.line for m in read.movements for e in m.line.events)


HEAVY = (
    "zip bomb",
    "zip bomb that lies about its size",
    "2,000,000 elements in one bar",
    "2,000,000 attributes",
    "a million small notes",
    "20,001 bars",
)


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads the peak memory of a process from /proc")
def test_memory_stays_under_500_megabytes(tmp_path):
    """Measured from outside, in a process of its own: the XML library's memory counts too."""
    for name in HEAVY:
        data = REFUSED[name][0]
        (tmp_path / name).write_bytes(data() if callable(data) else data)
    done = subprocess.run(
        [sys.executable, "-c", MEASURE, str(tmp_path)], capture_output=True, text=True, timeout=120, check=True
    )
    assert done.stdout.split() == ["refused"] * len(HEAVY) + [done.stdout.split()[-1]]
    assert int(done.stdout.split()[-1]) < 500


MEASURE = """
import pathlib, re, sys
from repertoire.notation.musicxml import FileError, read_part
for path in sorted(pathlib.Path(sys.argv[1]).iterdir()):
    try:
        read_part(path.read_bytes(), path.name, 1)
    except FileError:
        print("refused")
print(int(re.search(r"VmHWM:\\s+(\\d+)", pathlib.Path("/proc/self/status").read_text()).group(1)) // 1024)
"""


@given(st.data())
@settings(max_examples=200, deadline=None)
def test_any_damage_to_a_good_file_ends_in_an_import_or_a_message(data):
    """Bytes cut out, doubled, changed or swapped, in the plain file and in the archive."""
    content = bytearray(data.draw(st.sampled_from([GOOD, packed(GOOD)])))
    for _ in range(data.draw(st.integers(1, 4))):
        start = data.draw(st.integers(0, len(content) - 1))
        end = min(len(content), start + data.draw(st.integers(1, 60)))
        how = data.draw(st.sampled_from(["cut", "double", "change", "replace"]))
        if how == "cut":
            del content[start:end]
        elif how == "double":
            content[start:start] = content[start:end]
        elif how == "change":
            content[start] = data.draw(st.integers(0, 255))
        else:
            content[start:end] = data.draw(
                st.sampled_from([b"<", b">", b"&", b"-1", b"<note/>", b"<chord/>", b"</measure>"])
            )
        if not content:
            return
    check_ends_well(bytes(content))


VALUES = ["0", "-1", "99999999", "1e9", "", "NaN", "C", "yes", "¼", "<x/>", "1.5", "4+", "start", "stop", "🎻"]


@given(st.data())
@settings(max_examples=200, deadline=None)
def test_any_value_in_any_place_ends_in_an_import_or_a_message(data):
    """A number or word of a well-formed file changed into another: still well-formed, now wrong."""
    places = list(re.finditer(r">([^<>\s]+)<|=\"([^\"]*)\"", RICH))
    text = RICH
    for place in sorted(
        data.draw(st.lists(st.sampled_from(places), min_size=1, max_size=3, unique=True)), key=lambda m: -m.start()
    ):
        group = 1 if place.group(1) is not None else 2
        value = data.draw(st.sampled_from(VALUES))
        if group == 2:
            value = value.replace("<x/>", "x")
        text = text[: place.start(group)] + value + text[place.end(group) :]
    check_ends_well(text.encode())


RICH = score(
    bars(
        FOUR + "<direction><direction-type><wedge type='crescendo' number=\"1\"/></direction-type>"
        "<offset>2</offset></direction>"
        + note(
            "C4",
            2,
            "eighth",
            "<dot/><time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes>"
            '</time-modification><beam number="1">begin</beam>',
            '<slur type="start" number="1"/><technical><fingering>1</fingering><string>2</string></technical>',
        )
        + note("E4", 2, "eighth", chord="<chord/>", tie='<tie type="start"/>')
        + note("D4", 0, "16th", grace='<grace slash="yes"/>')
        + note(
            "F4",
            12,
            "half",
            "<dot/>",
            '<slur type="stop" number="1"/><ornaments><tremolo type="single">3</tremolo>'
            "<trill-mark/><accidental-mark>flat</accidental-mark></ornaments>",
        )
        + "<backup><duration>14</duration></backup>"
        + note("A3", 14, "half", "<dot/>", voice="2")
        + "<direction><direction-type><metronome><beat-unit>quarter</beat-unit><per-minute>60</per-minute></metronome>"
        '</direction-type><sound tempo="60"/></direction>'
        + '<barline location="right"><ending number="1" type="stop"/>'
        '<repeat direction="backward" times="2"/></barline>',
        '<direction><direction-type><octave-shift type="down" size="8" number="1"/></direction-type></direction>'
        + WHOLE,
    )
).decode()


def check_ends_well(content):
    start = time.process_time()
    try:
        read = read_part(content, "part.mxl", 1)
    except FileError as error:
        read, message = None, str(error)
    if read is None:
        assert 20 < len(message) < 600
    else:
        for movement in read.movements:
            assert all(e.duration >= 0 and e.onset >= 0 for e in movement.line.events)
            assert all(b.length > 0 for b in movement.line.bars)
            assert all(m.at in movement.line and (not m.to or m.to in movement.line) for m in movement.printed)
    assert time.process_time() - start < LIMIT_SECONDS
