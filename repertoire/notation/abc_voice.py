"""One voice of ABC as it is read: the bar it has come to, what is in force, what waits for a note.

The scanner of music code (`abc_music.py`) calls what stands here; fields of the ABC music
standard 2.1 that change key, metre, length or clef on the way are read here too.
"""

from __future__ import annotations

from fractions import Fraction

from repertoire.technique.line import Clef, Value

from .abc_bars import Barline, BarState, Heard, beam, close_bar, to_onset, values_of
from .abc_fields import FieldError, ReadKey, Staff, read_key, read_length, read_meter, read_tempo, read_voice
from .abc_setting import INFORMATION, Setting
from .abc_signs import Signs
from .abc_source import Field, Remark, plain_text
from .drafts import ZERO, Draft, DraftMovement, Member, replace_bar

BAR_LIMIT = 5_000
NOTE_LIMIT = 20_000
BAR_NOTES_LIMIT = 256  # notes, chords, rests and grace notes of one bar
_SILENT = frozenset("XVr")
_NOT_KEPT = {"w": "Words to sing (w:).", "W": "Words below the music (W:).", "s": "Signs in a line of their own (s:)."}
Place = tuple[int, int]


class TooLong(Exception):
    """More notes or bars than a part may have."""


class Voice:
    """What is known of a voice so far. `movement` holds its drafts, `remarks` what there is to say."""

    def __init__(self, setting: Setting) -> None:
        self.setting = setting
        self.movement = DraftMovement()
        self.remarks: list[Remark] = []
        self.signs = Signs(self.movement, lambda what, place: self.tell(what, place))
        self.state = BarState(setting.meter, setting.key.sharps, setting.key.mode, setting.clef)
        self.line = self.start = 1  # of the stretch of music being read
        self.count = 0
        self.ties: dict[int, Place] = {}  # the last tie of each bar
        self.flats: dict[int, Place] = {}  # where a bar may have a flat typed behind its note
        self.bar_places: list[Place] = []
        self.pending: list[tuple[str, Place]] = []
        self.words: list[tuple[str, str, str]] = []
        self.slur_starts: list[tuple[bool, Place]] = []
        self.tied: dict[tuple[str, int], int] = {}
        self.factor = Fraction(1)
        self.tempos = list(setting.tempos)
        self.clef_at_start = setting.clef
        self._begin_bar()

    # --- saying what there is to say ------------------------------------------------------

    def tell(self, what: str, place: Place, *, wrong: bool = False) -> None:
        """A remark at a place; its bar is the index for now, the printed number comes later."""
        self.remarks.append(Remark(*place, what, wrong, str(self.index)))

    def _wrong(self, what: str, at: int) -> None:
        self.tell(what, self._place(at), wrong=True)

    def _place(self, at: int) -> Place:
        return self.line, self.start + at

    # --- bars ---------------------------------------------------------------------------

    @property
    def index(self) -> int:
        return len(self.movement.bars) + 1

    def _begin_bar(self) -> None:
        self.pos = self.furthest = ZERO
        self.voice = 1
        self.heard: list[Heard] = []
        self.graces: list[Draft] = []
        self.grace_place = 0
        self.groups: list[list[Draft]] = []
        self.group: list[Draft] | None = None
        self.last: Heard | None = None  # the last note, chord or rest of this bar
        self.by_letter: dict[str, int] = {}
        self.by_octave: dict[tuple[str, int], int] = {}
        self.tuplet: tuple[int, int, int, Place] | None = None  # p, q, notes still to come
        self.overfull = False
        self.tuplet_fresh = False
        self.reached = ZERO  # how far the bar went before its last note
        self.ends: list[Fraction] = []  # how far each voice of the bar went, but the last
        self.clefs = [Clef(self.clef_at_start)]
        self.bar_tempos = to_onset(self.tempos, ZERO)
        self.tempos = []
        self.late: list[Field] = []
        self.before_bar: Draft | None = self.movement.drafts[-1] if self.movement.drafts else None

    def _end_bar(self, barline: Barline, place: Place) -> None:
        if not self.heard:
            self._empty_bar(barline)
            return
        last = self._last_draft()
        self.signs.at_barline(self.pending, last)
        self.pending = []
        if self.tuplet is not None:
            self.tell(f"A tuplet lacks {self.tuplet[2]} of its notes at the barline.", self.tuplet[3], wrong=True)
        if self.factor != 1:
            self.tell("“>” or “<” needs a note on both sides in the same bar.", place, wrong=True)
            self.factor = Fraction(1)
        if self.ends and {*self.ends} != {self.pos}:
            self.tell("The voices of a bar parted by & don’t have the same length.", place)
        full = self.state.meter.length if self.state.meter else self.furthest
        for one in values_of(self.heard, full):
            self.tell(f"No single note lasts {one.nominal} quarter notes: tie two notes.", one.place, wrong=True)
        for group in self.groups:
            beam(group)
        drafts = [*self.graces, *(h.draft for h in self.heard)]
        bars = self.movement.bars
        onset = bars[-1].bar.onset + bars[-1].bar.length if bars else ZERO
        jump, self.signs.jump = self.signs.jump, ""
        self.bar_places.append(self.heard[0].place)
        made = close_bar(
            self.state, self.index, drafts, self.clefs, self.bar_tempos, jump, barline, onset, self.furthest
        )  # fmt: skip
        self.movement.drafts.extend(drafts)
        bars.append(made)
        if len(bars) > BAR_LIMIT:
            raise TooLong
        self.clef_at_start = self.clefs[-1].name
        self.state.key_shown = self.state.meter_shown = False
        self.state.rehearsal = ""
        self.state.repeat_start = barline.starts
        if barline.ends_section:
            self.state.ending = ()
        late = self.late
        self._begin_bar()
        for field in late:
            self.field(field)

    def _empty_bar(self, barline: Barline) -> None:
        """A barline after a barline: what it says belongs to the bar before or the one to come."""
        self.state.repeat_start = self.state.repeat_start or barline.starts
        if self.movement.bars and (barline.ends or barline.style):
            last = self.movement.bars[-1]
            changes = {"repeat_end": barline.ends} if barline.ends else {"barline": barline.style}
            if not last.bar.repeat_end:
                self.movement.bars[-1] = replace_bar(last, **changes)
        if barline.ends_section:
            self.state.ending = ()

    def _last_draft(self) -> Draft | None:
        found = [*self.graces, *(h.draft for h in self.heard)]
        return max(found, key=lambda d: d.order) if found else self.before_bar

    def close(self) -> None:
        """End the last bar, with or without its barline, and every slur and hairpin."""
        end = self._place(0)
        if self.heard:
            self._end_bar(Barline(), end)
        for name, place in self.pending:
            if name.endswith(")") or not self.before_bar:
                self.signs.at_barline([(name, place)], self.before_bar)
            else:
                self.tell(f"The sign “{name[:30]}” has no note after it.", place)
        for dashed, place in self.slur_starts:
            self.tell(f"A {'dotted ' if dashed else ''}slur has no note after it.", place)
        for text, _, _ in self.words:
            self.tell(f"The words “{text[:40]}” have no note after them.", end)
        if self.graces:
            self.tell("Grace notes at the end have no bar.", end)
        if self.late:
            self.tell("A key or metre at the end has no bar.", end)
        self.signs.close()

    # --- fields ---------------------------------------------------------------------------

    def field(self, field: Field) -> None:
        """A field between the lines of music, or within one."""
        letter, place = field.letter, (field.line, field.column)
        begun = bool(self.heard)
        try:
            if letter == "K":
                key, staff = read_key(field.value)
                if begun and key is not None:
                    self.late.append(field)
                else:
                    self._key(key, staff, place)
            elif letter == "M":
                if begun:
                    self.late.append(field)
                    return
                self.state.meter = read_meter(field.value)
                self.state.meter_shown = True
            elif letter == "L":
                self.setting.unit = read_length(field.value)
            elif letter == "Q":
                self.bar_tempos += to_onset([read_tempo(field.value, self.setting.unit)], self.pos)
            elif letter == "P":
                if begun:
                    self.tell(f"The part name “{field.value[:20]}” within a bar.", place)
                else:
                    self.state.rehearsal = plain_text(field.value)[:12]
            elif letter == "T":
                self.words.append((plain_text(field.value), "above", "bold"))
            elif letter == "U":
                self.setting.define(field.value)
            elif letter == "V":
                self._staff(read_voice(field.value), place)
            elif letter == "I":
                what = self.setting.instruct(field.value)
                if what:
                    self.tell(what, place)
            elif letter == "m":
                self.tell("Macros (m:) aren’t read: write the notes they stand for.", place, wrong=True)
            elif letter in _NOT_KEPT:
                self.tell(_NOT_KEPT[letter], place)
            elif letter in INFORMATION:
                self.tell(f"The information in {letter}: stays in the text only.", place)
            elif letter not in _SILENT:
                self.tell(f"The field {letter}: has no meaning here.", place, wrong=True)
        except FieldError as error:
            self.tell(str(error), place, wrong=True)

    def _key(self, key: ReadKey | None, staff: Staff, place: Place) -> None:
        if key is not None:
            self.setting.key = key
            self.state.sharps, self.state.mode, self.state.key_shown = key.sharps, key.mode, True
            if not key.exact:
                self.tell("No customary signature has these signs: they are written at the notes instead.", place)
        self._staff(staff, place)

    def _staff(self, staff: Staff, place: Place) -> None:
        self.setting.take(staff)
        for what in staff.left_out:
            self.tell(what, place)
        if staff.clef is not None:
            if self.pos == 0:
                self.clefs[0] = Clef(staff.clef)
            else:
                self.clefs = [c for c in self.clefs if c.onset != self.pos] + [Clef(staff.clef, self.pos)]

    # --- notes ---

    def _standing(self, letter: str, octave: int, at: int) -> int:
        """What the key, the bar so far and a tie do to a note without a sign of its own."""
        of_key = self.setting.key.alteration(letter)
        here = self.by_octave.get((letter, octave), of_key)
        if (letter, octave) in self.tied:
            return self.tied[letter, octave]
        if self.setting.propagate == "not":
            return of_key
        if self.setting.propagate == "octave":
            return here
        anywhere = self.by_letter.get(letter, of_key)
        if anywhere != here:
            sign = {2: "^^", 1: "^", 0: "=", -1: "_", -2: "__"}
            self.tell(
                f"{letter} follows the sign in another octave of this bar, as in ABC. "
                f"If it shouldn’t, write {sign[here]} before it.",
                self._place(at),
            )
            self.by_octave[letter, octave] = anywhere
        return anywhere

    def _sound(self, members: list[Member], length: Fraction, place: Place) -> None:
        """A note, chord or rest at the place reached, with everything that waited for it."""
        self.count += 1
        if self.count > NOTE_LIMIT:
            raise TooLong
        if self.late:
            self.tell("Key and metre change at a barline: write the field beside one.", place, wrong=True)
            self.late = []
        if self._full(place):
            return
        nominal = self.setting.unit * length * self.factor
        self.factor = Fraction(1)
        ratio, ends = self._in_tuplet()
        duration = nominal * ratio[1] / ratio[0] if ratio else nominal
        draft = Draft(self.index, self.pos, duration, Value("quarter"), self.voice, members=members)
        draft.tuplet_ends = ends
        self.pos += duration
        self.reached, self.furthest = self.furthest, max(self.furthest, self.pos)
        self.last = Heard(draft, nominal, ratio, place)
        self.heard.append(self.last)
        self.grace_place = 0
        self.tied = {}
        if members:
            if self.group is None:
                self.group = []
                self.groups.append(self.group)
            self.group.append(draft)
        self._put_pending(draft)

    def _full(self, place: Place) -> bool:
        """True when a bar takes no more notes; said once."""
        count = len(self.heard) + len(self.graces)
        if count == BAR_NOTES_LIMIT and not self.overfull:
            self.overfull = True
            self.tell(f"A bar has more than {BAR_NOTES_LIMIT} notes: write barlines.", place, wrong=True)
        return count >= BAR_NOTES_LIMIT

    def _in_tuplet(self) -> tuple[tuple[int, int] | None, tuple[str, ...]]:
        if self.tuplet is None:
            return None, ()
        p, q, left, place = self.tuplet
        ends = (*(("start",) if self.tuplet_fresh else ()), *(("stop",) if left == 1 else ()))
        self.tuplet_fresh = False
        self.tuplet = (p, q, left - 1, place) if left > 1 else None
        return ((p, q) if p != q else None), ends

    def _put_pending(self, draft: Draft) -> None:
        self.signs.put(self.pending, draft)
        self.pending.clear()
        for text, side, style in self.words:
            self.signs.words(text, side, draft, style=style)
        self.words.clear()
        self._start_slurs(draft)

    def _start_slurs(self, draft: Draft) -> None:
        for dashed, place in self.slur_starts:
            if draft.members:
                self.signs.start_slur(draft, dashed, place)
            else:
                self.tell("A slur begins on a rest.", place)
        self.slur_starts.clear()
