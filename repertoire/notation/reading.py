"""Reading one staff of one part, bar by bar, into movements of drafts.

Times are exact fractions. Files round the lengths of tuplets to whole ticks; where a written
value and its ticks differ by less than one tick, the written value counts, and everything
that follows in the bar is placed accordingly. A new movement begins where the bar numbers
start again.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from fractions import Fraction

from lxml import etree

from repertoire.technique.line import TYPES, Bar, Value
from repertoire.technique.marks import Kind
from repertoire.technique.pitch import LETTERS, Pitch

from .above import Above, Barlines
from .drafts import ZERO, Draft, DraftBar, DraftMovement, Member
from .opening import FileError, WrittenBar
from .printed import Printed
from .signatures import Signatures
from .values import fitting, nearest_below, number_of, ticks

NOTE_LIMIT = 400_000
_TYPE_NAMES = {"long": "longa"}
# Elements of a bar that say nothing a player reads: layout, sound, other programs' remarks.
_SILENT = frozenset({"print", "sound", "bookmark", "link", "listening"})
_SILENT_NOTE = frozenset({"instrument", "play", "listen", "footnote", "level", "notehead", "dot"})
_REST_NAMES = {
    "harmony": "A chord symbol.",
    "figured-bass": "Figured bass.",
    "grouping": "A grouping for analysis.",
}


class PartReader:
    """Reads the bars of one staff of a part in their order. `close` ends it; then see `movements`."""

    def __init__(self, staff: int = 1, lower: bool = False, starts: Collection[int] = ()) -> None:
        self.staff = staff
        self.lower = lower  # of several staves, not the first
        self.movements: list[DraftMovement] = []
        self.starts = starts  # places of the bars that begin a movement
        self.signs = Signatures(staff)
        self.note_count = 0
        self.pitched = self.unpitched = 0
        self.voices: dict[str, int] = {}

    def read(self, written: WrittenBar) -> None:
        """Read the next bar. Raises FileError with its number."""
        if not self.movements or written.place in self.starts:
            self._close_movement()
            self.movements.append(DraftMovement())
            self.printed = Printed(self.movements[-1])
            self.barlines = Barlines(self.movements[-1])
            self.above = Above(self.staff, self.movements[-1], self.printed, self.barlines, self.voices)
            self.signs.begin_movement()
        self.movement = self.movements[-1]
        self.number = written.number or str(len(self.movement.bars) + 1)
        self.index = len(self.movement.bars) + 1
        self.pos = self.true = self.furthest = ZERO
        self.exact: dict[Fraction, Fraction] = {}
        self.ticked: list[tuple[Draft, Fraction]] = []  # drafts whose written value replaced their ticks
        self.furthest_ticks = ZERO
        self.bar_drafts: list[Draft] = []
        self.last: Draft | None = None
        self.last_onset = ZERO
        self.graces = 0
        self.signs.begin_bar()
        for element in written.element:
            self._element(element)
        self._end_bar(written)

    def close(self) -> None:
        self._close_movement()

    def _close_movement(self) -> None:
        if self.movements:
            self.printed.close()

    def wrong(self, what: str, element: etree._Element) -> FileError:
        return FileError(f"Bar {self.number} (line {element.sourceline} of the file): {what}")

    # --- the elements of a bar ------------------------------------------------------

    def _element(self, element: etree._Element) -> None:
        tag = element.tag
        if tag == "note":
            self._note(element)
        elif tag == "backup":
            self._move(self.pos - self._length(element, "a step back"))
            if self.pos < 0:
                raise self.wrong("the file steps back to before the bar begins. Export it again.", element)
            self.last = None
        elif tag == "forward":
            self._move(self.pos + self._length(element, "a step forward"))
            self.last = None
        elif tag == "attributes":
            try:
                self.signs.read(element, self.true, bool(self.bar_drafts), self.movement)
            except FileError:
                raise
            except ValueError as error:
                raise self.wrong(str(error), element) from None
        elif tag == "direction":
            self.above.read(element, self.true, self.signs.divisions)
        elif tag == "barline":
            self.barlines.read(element)
        elif tag in _SILENT or not isinstance(tag, str):
            pass
        elif tag in _REST_NAMES:
            self.movement.leave_out(_REST_NAMES[tag])
        else:
            self.movement.leave_out(f"An unknown element <{tag[:40]}>.")

    def _move(self, pos: Fraction) -> None:
        """Go to a place in ticks; its exact place is known if a note began or ended there."""
        ahead = pos - self.pos
        self.pos = pos
        known = self.exact.get(pos)
        self.true = known if known is not None else (self.true + ahead if ahead > 0 else pos)
        self.furthest = max(self.furthest, self.true)
        self.furthest_ticks = max(self.furthest_ticks, self.pos)

    def _length(self, element: etree._Element, what: str) -> Fraction:
        text = element.findtext("duration")
        length = ticks(text, self.signs.divisions)
        if length is None:
            shown = (text or "").strip()[:20]
            raise self.wrong(f"{what} has the length “{shown}”, which is no length. Export the file again.", element)
        return length

    # --- notes ----------------------------------------------------------------------

    def _note(self, note: etree._Element) -> None:
        self.note_count += 1
        if self.note_count > NOTE_LIMIT:
            raise FileError(f"This part has more than {NOTE_LIMIT:,} notes. Export one movement at a time.")
        child: dict[str, etree._Element] = {}
        dots, ties, beams = 0, set(), []
        notations: list[etree._Element] = []
        for e in note:
            tag = e.tag
            if tag == "dot":
                dots += 1
            elif tag == "tie":
                ties.add(e.get("type"))
            elif tag == "beam":
                beams.append((e.get("number", "1"), (e.text or "").strip()))
            elif tag == "notations":
                if e.get("print-object") != "no":
                    notations.append(e)
            elif isinstance(tag, str):
                child[tag] = e
                if tag not in _KNOWN_NOTE and tag not in _SILENT_NOTE:
                    self._unread_note(tag)
        grace, chord = child.get("grace"), "chord" in child
        length = ZERO
        if grace is None:
            length = self._length(note, "a note")
        value = self._value(child, dots, length, note)
        true_length = length
        if grace is None and value is not None and "rest" not in child and value.quarters != length:
            if abs(value.quarters - length) * self.signs.divisions < 1:
                true_length = value.quarters
            elif note.get("print-object") != "no":
                value = self._mended(length, value, chord)
        onset = self.true
        if chord:
            onset = self.last_onset
        else:
            self.last_onset = onset
            if grace is None:
                self._advance(length, true_length)
                self.graces = 0
            elif self.graces == 0 or self.last is None:
                self.graces = 1
            else:
                self.graces += 1
        staff = (child["staff"].text or "").strip() if "staff" in child else "1"
        if staff != str(self.staff):
            self.last = None if not chord else self.last
            return
        if note.get("print-object") == "no":
            self._hidden(child, notations, chord)
            return
        if "unpitched" in child:
            self.unpitched += 1
            self.movement.leave_out("A note without pitch (percussion).")
            self.last = None if not chord else self.last
            return
        if grace is None and length == 0:
            self.movement.leave_out("A note without length.")
            return
        draft = self.last if chord else None
        if draft is None:
            draft = self._draft(child, onset, true_length, value, grace, dots)
            if true_length != length:
                self.ticked.append((draft, length))
        member = None
        if "pitch" in child:
            member = self._member(child, ties, notations, note)
            draft.members.append(member)
            self.pitched += 1
        elif "rest" not in child:
            raise self.wrong("a note is neither a pitch nor a rest. Export the file again.", note)
        if beams and not draft.beams:
            draft.beams = tuple(v for _, v in sorted(beams))
        if notations:
            self._tuplets(draft, notations)
            self.printed.note(draft, member, notations)
        head = child.get("notehead")
        if head is not None and (head.text or "").strip() not in ("normal", ""):
            self._notehead(draft, member, (head.text or "").strip(), notations)

    def _advance(self, length: Fraction, true_length: Fraction) -> None:
        self.pos += length
        self.true += true_length
        known = self.exact.get(self.pos)
        if known is not None:
            self.true = known
        elif self.true != self.pos:
            self.exact[self.pos] = self.true
        self.furthest = max(self.furthest, self.true)
        self.furthest_ticks = max(self.furthest_ticks, self.pos)

    def _draft(
        self, child: dict[str, etree._Element], onset: Fraction, length: Fraction, value: Value | None,
        grace: etree._Element | None, dots: int,
    ) -> Draft:  # fmt: skip
        stem = (child["stem"].text or "").strip() if "stem" in child else ""
        draft = Draft(self.index, onset, length, value or Value("quarter"), self._voice(child))
        if stem in ("up", "down", "none"):
            draft.stem = stem  # type: ignore[assignment]
        if grace is not None:
            draft.grace = "slashed" if grace.get("slash") == "yes" else "plain"
            draft.grace_place = self.graces
        draft.cue = "cue" in child
        if "rest" in child:
            full = length == self.signs.meter.length and onset == 0
            draft.whole_bar = child["rest"].get("measure") == "yes" or (full and ("type" not in child or (
                value is not None and value.type == "whole" and not dots)))  # fmt: skip
            if draft.whole_bar:
                draft.value = Value("whole")
            elif value is None or (value.quarters != length):
                draft.value = fitting(length) or self._unfitting(length)
        elif value is None:
            draft.value = self._unfitting(length)
        self.bar_drafts.append(draft)
        self.last = draft
        return draft

    def _mended(self, length: Fraction, value: Value, chord: bool = False) -> Value:
        """The value that fits a note's length where the written one doesn't: the length counts."""
        if not chord:
            self.movement.leave_out(
                "A note is written with another value than its length in the file; the length counts."
            )
        return fitting(length, value.tuplet) or fitting(length) or value

    def _unfitting(self, length: Fraction) -> Value:
        self.movement.leave_out(f"A note or rest of {length} quarter notes can’t be written with one sign.")
        return nearest_below(length)

    def _member(
        self, child: dict[str, etree._Element], ties: set[str | None], notations: list[etree._Element],
        note: etree._Element,
    ) -> Member:  # fmt: skip
        pitch = child["pitch"]
        step, octave = (pitch.findtext("step") or "").strip(), (pitch.findtext("octave") or "").strip()
        if step not in LETTERS or len(step) != 1 or not re.fullmatch(r"\d", octave):
            raise self.wrong(f"“{step[:5]}{octave[:5]}” is not a pitch. Export the file again.", note)
        alter = number_of(pitch.findtext("alter") or "0")
        if alter is None or abs(alter) > 3:
            raise self.wrong(
                f"“{(pitch.findtext('alter') or '')[:10]}” is not an accidental. Export the file again.", note
            )
        if alter.denominator != 1:
            self.movement.leave_out("A quarter-tone accidental: the note is kept without it.")
        for group in notations:
            for tied in group.iterfind("tied"):
                ties.add(tied.get("type"))
        sign = child.get("accidental")
        shown = (sign.text or "").strip() if sign is not None else ""
        if (
            sign is not None
            and shown
            and "yes" in (sign.get("parentheses"), sign.get("cautionary"), sign.get("editorial"))
        ):
            shown = f"({shown})"
        return Member(Pitch(step, int(alter), int(octave)), "stop" in ties, "start" in ties, shown)

    def _value(
        self, child: dict[str, etree._Element], dots: int, length: Fraction, note: etree._Element
    ) -> Value | None:
        """The written value; of a note without a type, the one that fits its length, or None."""
        ratio: tuple[int, int] | None = None
        changed = child.get("time-modification")
        if changed is not None:
            actual, normal = number_of(changed.findtext("actual-notes")), number_of(changed.findtext("normal-notes"))
            if not actual or not normal or actual.denominator != 1 or normal.denominator != 1:
                raise self.wrong("a tuplet has no readable ratio. Export the file again.", note)
            ratio = (int(actual), int(normal)) if actual != normal else None
        written = child.get("type")
        name = (written.text or "").strip() if written is not None else ""
        name = _TYPE_NAMES.get(name, name)
        if name in TYPES:
            if dots > 4:
                raise self.wrong(f"a note has {dots} dots. Export the file again.", note)
            return Value(name, dots, ratio)
        if name:
            self.movement.leave_out(f"The note value “{name[:20]}”.")
        if "grace" in child:
            return Value("eighth")
        return fitting(length, ratio)

    def _voice(self, child: dict[str, etree._Element]) -> int:
        name = (child["voice"].text or "").strip() if "voice" in child else "1"
        found = self.voices.get(name)
        if found is None:
            found = int(name) if name.isascii() and name.isdigit() and 0 < len(name) < 4 else 0
            if not found or found in self.voices.values():
                found = max(self.voices.values(), default=0) + 1
            self.voices[name] = found
        return found

    def _tuplets(self, draft: Draft, notations: list[etree._Element]) -> None:
        kinds = {t.get("type", "") for group in notations for t in group.iterfind("tuplet")}
        if kinds:
            draft.tuplet_ends = tuple(k for k in ("start", "stop") if k in kinds or k in draft.tuplet_ends)

    def _notehead(self, draft: Draft, member: Member | None, head: str, notations: list[etree._Element]) -> None:
        if head == "diamond" and member is not None:
            if any(group.find("technical/harmonic") is not None for group in notations):
                return
            below = draft.members[0].pitch if len(draft.members) > 1 else None
            touched = below is not None and member.pitch.step - below.step == 3
            self.printed._add(Kind.HARMONIC, draft, "artificial" if touched else "natural", member)
        else:
            self.movement.leave_out(f"A notehead of another shape ({head[:20]}).")

    def _hidden(self, child: dict[str, etree._Element], notations: list[etree._Element], chord: bool) -> None:
        """Notes and rests that aren't printed (for playback or spacing) aren't read."""
        if "rest" not in child:
            self.movement.leave_out("A hidden note, not printed on the page.")
        elif any(len(group) for group in notations):
            self.movement.leave_out("A sign on a hidden rest.")
        if not chord:
            self.last = None

    def _unread_note(self, tag: str) -> None:
        names = {"lyric": "Words to sing.", "notehead-text": "Words inside a notehead."}
        self.movement.leave_out(names.get(tag, f"An unknown element <{tag[:40]}> of a note."))

    # --- the end of a bar -----------------------------------------------------------------

    def _end_bar(self, written: WrittenBar) -> None:
        movement = self.movement
        full = self.signs.meter.length
        if self.exact and self.furthest != full == self.furthest_ticks:
            self._back_to_ticks()
        length = self.furthest or full
        drafts = self.bar_drafts
        if len(drafts) == 1 and drafts[0].whole_bar and not drafts[0].members and length > full:
            drafts[0].duration = length = full
        if not drafts:
            drafts.append(Draft(self.index, ZERO, length, Value("whole"), 1, whole_bar=True))
            if not self.lower:
                movement.leave_out("An empty bar, read as a bar’s rest.")
        for draft in drafts:
            draft.members.sort(key=lambda m: (m.pitch.step, m.pitch.alter))
        drafts.sort(key=lambda d: d.order)
        for place, draft in enumerate(drafts, 1):
            draft.address = f"b{self.index}n{place}"
        tempos = self.above.end_bar(drafts)
        self.printed.end_bar()
        bar = Bar(
            index=self.index,
            number="",
            onset=movement.bars[-1].bar.onset + movement.bars[-1].bar.length if movement.bars else ZERO,
            length=length,
            tempos=tempos,
            **self.signs.end_bar(length),
            **self.barlines.end_bar(),
        )
        movement.drafts.extend(drafts)
        movement.bars.append(DraftBar(bar, written.number, written.implicit, full, written.place))

    def _back_to_ticks(self) -> None:
        """Undo the exact reading of a bar that adds up in ticks but not in written values."""
        ticks_at = {true: pos for pos, true in self.exact.items()}
        for draft in self.bar_drafts:
            draft.onset = ticks_at.get(draft.onset, draft.onset)
        for draft, length in self.ticked:
            draft.duration = length
            draft.value = self._mended(length, draft.value)
        self.above.move(ticks_at)
        self.signs.move(ticks_at)
        self.furthest = self.furthest_ticks


_KNOWN_NOTE = frozenset({
    "grace", "chord", "cue", "pitch", "unpitched", "rest", "duration", "voice", "type", "accidental",
    "time-modification", "stem", "staff",
})  # fmt: skip
