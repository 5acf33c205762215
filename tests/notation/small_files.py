"""Small MusicXML files for tests: bars written out, wrapped in a score of one part or more."""

from __future__ import annotations

import io
import zipfile

HEAD = '<?xml version="1.0" encoding="UTF-8"?>\n'
FOUR = (
    "<attributes><divisions>4</divisions><key><fifths>0</fifths></key>"
    "<time><beats>4</beats><beat-type>4</beat-type></time><clef><sign>C</sign><line>3</line></clef></attributes>"
)


def note(name: str, length: int = 4, kind: str = "quarter", inner: str = "", notations: str = "", **more: str) -> str:
    """A note such as C4, F#4 or Bb3, or "r" for a rest; `length` in ticks of a quarter of 4."""
    if name == "r":
        sound = "<rest/>"
    else:
        sign = {"#": "<alter>1</alter>", "b": "<alter>-1</alter>"}.get(name[1:2], "")
        sound = f"<pitch><step>{name[0]}</step>{sign}<octave>{name[-1]}</octave></pitch>"
    before = "".join(more.get(k, "") for k in ("grace", "chord", "cue"))
    lasts = "" if "grace" in more else f"<duration>{length}</duration>"
    tail = f"<notations>{notations}</notations>" if notations else ""
    voice = more.get("voice", "1")
    return (
        f"<note{more.get('attributes', '')}>{before}{sound}{lasts}{more.get('tie', '')}<voice>{voice}</voice>"
        f"<type>{kind}</type>{inner}{tail}</note>"
    )


def bars(*contents: str, numbers: tuple[str, ...] = ()) -> str:
    """Bars of a part; a number such as "X1" makes the bar uncounted."""
    out = []
    for i, content in enumerate(contents):
        number = numbers[i] if numbers else str(i + 1)
        implicit = ' implicit="yes"' if number[0] == "X" or number == "0" else ""
        out.append(f'<measure number="{number}"{implicit}>{content}</measure>')
    return "".join(out)


def score(*parts: str, names: tuple[str, ...] = ("Viola",), before: str = "") -> bytes:
    """A part-wise score of the given parts."""
    heads = "".join(f'<score-part id="P{i}"><part-name>{n}</part-name></score-part>' for i, n in enumerate(names, 1))
    music = "".join(f'<part id="P{i}">{p}</part>' for i, p in enumerate(parts, 1))
    return (
        f'{HEAD}<score-partwise version="4.0">{before}<part-list>{heads}</part-list>{music}</score-partwise>'
    ).encode()


def packed(score: bytes, name: str = "score.xml", container: str | None = None, **others: bytes) -> bytes:
    """The compressed form: a container that names the score, and the score."""
    if container is None:
        container = f'<container><rootfiles><rootfile full-path="{name}"/></rootfiles></container>'
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        if container:
            archive.writestr("META-INF/container.xml", container)
        archive.writestr(name, score)
        for other, content in others.items():
            archive.writestr(other.replace("__", "/"), content)
    return out.getvalue()


def direction(inner: str, *, more: str = "", attributes: str = "") -> str:
    return f"<direction{attributes}><direction-type>{inner}</direction-type>{more}</direction>"
