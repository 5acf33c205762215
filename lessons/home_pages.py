"""The copy of an issued sheet that the student's page shows: words, drawings and sounding notes.

It is made once, from the sheet's stored content and the markings the sheet names, and then
never looked at the lessons again: what was noted there can't get into it. Each excerpt and
practice stave is drawn for a narrow and for a wide screen; CSS shows one of them.
"""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any, Final

from lessons import links
from lessons.home_models import HomePage
from lessons.models import Sheet
from lessons.practice import RecipeError, stave_of, stave_picture
from lessons.sheet_content import DAY_NAMES, HEALTH_LINE, Content, Item, StepLine, Tempo, bars_label
from lessons.sheet_drawing import clef_wish, tempo_words
from lessons.step_pictures import StepPicture
from repertoire.excerpts import NoNotation, drawn, passage_line, picture, printed_marks
from repertoire.markings import marks_of
from repertoire.models import Marking, Passage
from repertoire.notation.left_hand_analysis import instrument_of
from repertoire.notation.look import AMERICAN_WORDS, BRITISH_WORDS, Look
from repertoire.notation.playing import schedule, unit_quarters
from repertoire.technique.drones import drones
from repertoire.technique.keys import key_of
from repertoire.technique.line import Line
from repertoire.technique.marks import Marks
from repertoire.technique.practice_staves import Stave
from studio.models import Student

FORMAT: Final = 1
STAFF_MM: Final = 8.0
WIDTHS_MM: Final = {"narrow": 86.0, "wide": 182.0}
PICTURE_MM: Final = 160.0
TEMPO_IF_UNSET: Final = 60
PAGES_KEPT: Final = 2


def page_of(sheet: Sheet, *, at: datetime) -> HomePage:
    """The page of an issued sheet, made now if it isn't there yet.

    The page before it stays, so that ticks made without network still find their item; older ones give way.
    """
    found = copy_of(sheet, at=at)
    if found.pk is None:
        found.save()
    pages = HomePage.objects.filter(student_id=sheet.student_id).order_by("-sheet_id")
    HomePage.objects.filter(pk__in=[page.pk for page in pages.only("pk")[PAGES_KEPT:]]).delete()
    return found


def copy_of(sheet: Sheet, *, at: datetime) -> HomePage:
    """The page of any issued sheet, the kept one or one made now and not kept."""
    found = HomePage.objects.filter(sheet=sheet).first()
    return found or HomePage(
        student=sheet.student, sheet=sheet, made=at, content=page_content(Content.from_json(sheet.content), sheet)
    )


def open_page(student: Student, *, base: str, at: datetime) -> str:
    """A new link of a student, its address beginning with `base`; the newest sheet gets its page."""
    newest = student.sheets.order_by("-issued", "-id").first()
    if newest is not None:
        page_of(newest, at=at)
    token, _ = links.make_link(student.pk, at=at)
    return links.address(base, token)


def page_content(content: Content, sheet: Sheet) -> dict[str, Any]:
    """Everything the page says, draws and plays, as plain values."""
    student = sheet.student
    a4 = student.teacher.studio.a4_hz
    day = date.fromisoformat(content.lesson_date)
    days = [day + timedelta(days=n) for n in range(1, 8)]
    return {
        "format": FORMAT,
        "student": content.student,
        "instrument": content.instrument,
        "studio": content.studio,
        "number": content.number,
        "lesson_date": content.lesson_date,
        "sentence": content.sentence,
        "minutes": content.minutes,
        "a4": a4,
        "health": HEALTH_LINE,
        "days": [{"iso": d.isoformat(), "words": f"{DAY_NAMES[d.weekday()]} {d.day}"} for d in days],
        "items": [_item(content, item, place, student, a4) for place, item in enumerate(content.items, 1)],
    }


def _item(content: Content, item: Item, place: int, student: Student, a4: int) -> dict[str, Any]:
    passage = _passage(item)
    music, line = None, None
    if passage is not None:
        line = passage_line(passage)
        printed = printed_marks(passage)
        marks = marks_of(Marking.objects.get(pk=item.marking)) if item.marking else printed
        music = _music(content, f"m{place}", line, marks, printed, item.tempo)
    scan = "" if music else _picture(content, item)
    instrument = instrument_of(line) if line is not None else _instrument(content)
    first = line.bars[0] if line is not None and line.bars else None
    bars = bars_label(item.bars, content.terms)
    return {
        "id": item.assignment,
        "place": place,
        "title": item.title,
        "bars": bars,
        "piece": item.piece,
        "minutes": item.minutes,
        "marking": item.marking_name,
        "listening": item.to_hear,
        "break_after": item.break_after,
        "tempo": tempo_words(item.tempo, content.terms),
        "music": music,
        "picture": scan,
        "instead": "" if music or scan else f"Play from your part{', ' + bars if bars else ''}.",
        "steps": [
            _step(content, step, f"m{place}s{number}", passage, student, item.tempo)
            for number, step in enumerate(item.steps, 1)
        ],
        "drones": [
            {"name": d.name, "words": d.words, "pure": round(d.pure, 4), "equal": round(d.equal, 4)}
            for d in drones(
                instrument,
                a4,
                key=first.key if first else None,
                mode=key_of(line, first.index).mode if line and first else "major",
            )
        ],
    }


def _picture(content: Content, item: Item) -> str:
    """The picture of the print with its signs, where that is the excerpt; "" elsewhere. It carries its
    own pixels, so that the page goes on without network."""
    if not (item.with_excerpt and item.passage):
        return ""
    passage = Passage.objects.select_related("picture").get(pk=item.passage)
    if not passage.has_picture:
        return ""
    marks = marks_of(Marking.objects.get(pk=item.marking)) if item.marking else ()
    return picture(passage, marks, Look(staff_mm=STAFF_MM, width_mm=PICTURE_MM, screen=False)).svg()


def _passage(item: Item) -> Passage | None:
    if not (item.with_excerpt and item.passage):
        return None
    passage = Passage.objects.select_related("movement__revision__part").get(pk=item.passage)
    try:
        passage_line(passage)
    except NoNotation:
        return None
    return passage


def _step(
    content: Content, step: StepLine, key: str, passage: Passage | None, student: Student, over: Tempo | None
) -> dict[str, Any]:
    music = None
    if passage is not None and step.recipe:
        try:
            stave = stave_of(step.recipe, passage, student)
        except RecipeError:
            stave = None
        if stave is not None:
            music = _music(content, key, stave.line, stave.marks, stave.marks, step.tempo or over)
            if stave.cue is not None or stave.crossings:
                music["drawings"] = _stave_drawings(content, key, stave)
            if stave.cue is not None:
                pulse = schedule(stave.line, stave.marks).pulse
                heard = schedule(stave.cue, (), unit=unit_quarters(music["unit"]), pulse=pulse)
                music["cue"] = {"name": stave.cue_name, "schedule": heard.as_json()}
    shown = StepPicture.objects.filter(pk=step.picture).first() if step.picture else None
    return {
        "text": step.text,
        "focus": step.focus,
        "days": ", ".join(DAY_NAMES[int(n)] for n in step.days),
        "minutes": step.minutes,
        "tempo": tempo_words(step.tempo, content.terms),
        "ladder": list(step.ladder),
        "music": music,
        "picture": {"uri": shown.uri, "words": shown.words} if shown is not None and shown.uri else None,
    }


def _music(content: Content, key: str, line: Line, marks: Marks, printed: Marks, tempo: Tempo | None) -> dict[str, Any]:
    """One excerpt or stave: its drawings, its notes in time, and where the tempo begins and leads."""
    unit = tempo.unit if tempo else "quarter"
    return {
        "key": key,
        "drawings": {width: _systems(content, key, width, line, marks, printed) for width in WIDTHS_MM},
        "schedule": schedule(line, marks, unit=unit_quarters(unit), tempo=_quarters(tempo)).as_json(),
        "unit": unit,
        "tempo": tempo_words(tempo or Tempo(unit), content.terms),
        "start": (tempo and (tempo.now or tempo.goal)) or TEMPO_IF_UNSET,
    }


def _systems(content: Content, key: str, width: str, line: Line, marks: Marks, printed: Marks) -> list[str]:
    look = replace(_look(content, key, width, printed, line), pale_printed=any(m not in set(printed) for m in marks))
    return [system.svg for system in drawn(line, marks, look).systems]


def _stave_drawings(content: Content, key: str, stave: Stave) -> dict[str, list[str]]:
    """The drawings of a stave with another part above it or its string crossings under it.

    Only the stave's own notes can be picked: both parts call theirs by the same addresses.
    """
    drawings: dict[str, list[str]] = {}
    for width in WIDTHS_MM:
        look = _look(content, key, width, stave.marks, stave.line)
        systems = stave_picture(stave, look).systems
        if stave.cue is None:
            drawings[width] = [system.svg for system in systems]
            continue
        note = rf'<g id="{re.escape(look.prefix)}b\d+n\d+(?:p\d+)?" class="[^"]*"'
        others = re.compile(rf'({note}) data-address="[^"]*" tabindex="-?\d" role="button"')
        drawings[width] = [others.sub(r'\1 role="img"', system.svg) for system in systems]
    return drawings


def _quarters(tempo: Tempo | None) -> float:
    """The tempo worked towards, in quarter notes a minute: it decides how many notes a trill has."""
    if tempo is None:
        return float(TEMPO_IF_UNSET)
    return float((tempo.goal or tempo.now or TEMPO_IF_UNSET) * unit_quarters(tempo.unit))


def _look(content: Content, key: str, width: str, printed: Marks, line: Line) -> Look:
    return Look(
        staff_mm=STAFF_MM,
        width_mm=WIDTHS_MM[width],
        printed=printed,
        prefix=f"{key}{width[0]}-",
        string_signs="sul" if content.string_signs == "sul" else "roman",
        words=AMERICAN_WORDS if content.terms == "american" else BRITISH_WORDS,
        instrument=line.instrument,
        clef=clef_wish(content.clef),
        note_role="button",
    )


def _instrument(content: Content) -> str:
    return "violin" if "violin" in content.instrument else "viola"
