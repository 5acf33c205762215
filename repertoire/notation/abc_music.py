"""Reading the music code of one voice of ABC into drafts of notes, bars and marks.

Follows the ABC music standard 2.1, sections 4.1 to 4.20. Reading goes on after something
that can't be read, so that one look shows everything there is to mend; each remark names its
line, column and bar.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from fractions import Fraction

from repertoire.technique.line import Value
from repertoire.technique.pitch import Pitch

from .abc_bars import BARLINE, Barline, Heard, beam, values_of
from .abc_signs import is_known
from .abc_slips import clef_change, finger_in_words, flat_behind, hint, jump_without_signs, misplaced, straight, word
from .abc_source import Field, Music, plain_text
from .abc_voice import NOTE_LIMIT, Place, TooLong, Voice
from .drafts import ZERO, Draft, Member

REST_BARS_LIMIT = 500
_OPEN_SLURS = 24
_SIGNS_LIMIT = 24  # before one note
_DIGITS = re.compile(r"\d*")
_ANGLES = re.compile(r">+|<+")
_NOTE = re.compile(r"(\^\^|\^|__|_|=)?([A-Ga-g])([,']*)")
_REST_OF_NOTE = re.compile(r"[,']*\d*/*\d*")
_LENGTH = re.compile(r"(\d*)(/*)(\d*)")
_TUPLET = re.compile(r"\((\d+)(?::(\d*))?(?::(\d*))?")
_ENDING = re.compile(r"\d{1,2}(?:[,\-]\d{1,2}){0,8}")
_INLINE = re.compile(r"\[([A-Za-z]):([^\]]*)\]")
_ALTERS = {"^": 1, "^^": 2, "_": -1, "__": -2, "=": 0}
_SIGN_NAMES = {2: "double-sharp", 1: "sharp", 0: "natural", -1: "flat", -2: "flat-flat"}
_TUPLET_TIMES = {2: 3, 3: 2, 4: 3, 6: 2, 8: 3}


class VoiceReader(Voice):
    """Reads one voice, field by field and line by line."""

    # --- lines of music ---------------------------------------------------------------------

    def read(self, items: Iterable[Field | Music]) -> None:
        for item in items:
            if isinstance(item, Field):
                self.group = None
                self.field(item)
            else:
                self.line, self.start = item.line, item.column
                self._row(straight(item.text))
                self.group = None
        self.close()

    def _row(self, text: str) -> None:
        at = 0
        while at < len(text):
            at = self._token(text, at)

    def _token(self, text: str, at: int) -> int:
        """Read one thing at a place of the line; returns the place after it."""
        sign = text[at]
        if sign.isspace():
            self.group = None
            return at + 1
        if sign in "`$":
            return at + 1
        if sign == "y":
            return self._digits(text, at + 1)[1]
        if sign == ".":
            if text[at + 1 : at + 2] == "-":
                return self._tie(at, 2)
            if text[at + 1 : at + 2] == "(" and not text[at + 2 : at + 3].isdigit():
                self.slur_starts.append((True, self._place(at)))
                return at + 2
        if found := BARLINE.match(text, at):
            return self._barline(text, found)
        if sign.isalpha() and (slip := jump_without_signs(text, at) or word(text, at, self.setting.symbols)):
            self._wrong(slip.what, at)
            return slip.end
        if found := _NOTE.match(text, at):
            if flat_behind(text, found.start(2)):
                self.flats.setdefault(self.index, self._place(found.start(2)))
            return self._note(text, found)
        if sign in "zx":
            return self._rest(text, at)
        if sign in "ZX":
            return self._rest_bars(text, at)
        if sign == "[":
            return self._bracket(text, at)
        if sign == "(":
            return self._round(text, at)
        if sign == ")":
            last = self.graces[-1] if self.graces and self.grace_place else self.last.draft if self.last else None
            last = last or self.before_bar
            if last is None:
                self.tell("A slur ends that never began.", self._place(at))
            else:
                self.signs.end_slur(last, self._place(at))
            return at + 1
        if sign == "-":
            return self._tie(at, 1)
        if sign in "<>":
            return self._broken(text, at)
        if sign == "{":
            return self._graces(text, at)
        if sign == '"':
            return self._quoted(text, at)
        if sign == "&":
            self.voice += 1
            self.ends.append(self.pos)
            self.pos = ZERO
            self.last = self.group = None
            return at + 1
        return self._decoration(text, at, self.pending)

    def _decoration(self, text: str, at: int, pending: list[tuple[str, Place]]) -> int:
        """`!trill!`, `+trill+` or a letter that stands for one."""
        sign = text[at]
        if len(pending) >= _SIGNS_LIMIT:
            self._wrong(f"More than {_SIGNS_LIMIT} signs stand before one note.", at)
            pending.clear()
        if sign in "!+":
            end = text.find(sign, at + 1)
            name = text[at + 1 : end] if end > at + 1 else ""
            if not name or len(name) > 30 or (sign == "+" and not is_known(name) and name != "courtesy"):
                self._wrong(f"“{sign}” has no partner: a sign stands between two, such as !trill!.", at)
                return at + 1
            if sign == "!" and not re.fullmatch(r"[\w<>()^+./ -]+", name):
                self._wrong(f"“!{name[:20]}!” is not a sign. A sign stands between two !, such as !trill!.", at)
                return at + 1
            pending.append((name, self._place(at)))
            if what := misplaced(text, at, end + 1, name):
                self.tell(what, self._place(at))
            return end + 1
        name = self.setting.symbols.get(sign, "")
        if name.startswith('"'):
            self._say(name[1:])
        elif name and name != "nil":
            pending.append((name, self._place(at)))
            if what := misplaced(text, at, at + 1, name):
                self.tell(what, self._place(at))
        elif name != "nil":
            self._wrong(f"“{sign}” has no meaning in the music.{hint(sign)}", at)
            return self._after(at + 1, text) if sign.isalpha() or sign in "#♯♭♮" else at + 1
        return at + 1

    def _after(self, at: int, text: str) -> int:
        """The place after the length of something that isn’t a note."""
        found = _REST_OF_NOTE.match(text, at)
        return found.end() if found else at

    def _digits(self, text: str, at: int) -> tuple[str, int]:
        found = _DIGITS.match(text, at)
        assert found is not None
        return found[0], found.end()

    def _quoted(self, text: str, at: int) -> int:
        end = at + 1
        while end < len(text) and text[end] != '"':
            end += 2 if text[end] == "\\" else 1
        if end >= len(text):
            self._wrong("Words have no closing quotation mark.", at)
            return len(text)
        self._say(text[at + 1 : end])
        if what := finger_in_words(text[at + 1 : end]):
            self.tell(what, self._place(at))
        return end + 1

    def _say(self, words: str) -> None:
        """Words above or below the next note; chord symbols stand above like other words."""
        side = {"^": "above", "_": "below"}.get(words[:1], "")
        text = plain_text(words[1:] if words[:1] in "^_<>@" else words)
        if words[:1] == "@":
            text = re.sub(r"^-?[\d.]+\s*,\s*-?[\d.]+\s*", "", text)
        self.words.append((text, side or "above", ""))

    def _barline(self, text: str, found: re.Match[str]) -> int:
        end = found.end()
        barline = Barline.read(found[0])
        self.group = None
        ending = _ENDING.match(text, end)
        self._end_bar(barline, self._place(found.start()))
        if ending and not self.heard:
            self.state.ending = self._numbers(ending[0])
            end = ending.end()
        return end

    def _numbers(self, text: str) -> tuple[int, ...]:
        out: list[int] = []
        for part in text.split(","):
            first, _, last = part.partition("-")
            if first.isdigit():
                out += range(int(first), min(int(last) if last.isdigit() else int(first), int(first) + 20) + 1)
        return tuple(dict.fromkeys(out))[:20]

    def _bracket(self, text: str, at: int) -> int:
        """An inline field, an ending, or a chord."""
        if found := _INLINE.match(text, at):
            self.field(Field(found[1], found[2].strip(), self.line, self.start + found.start(2)))
            return found.end()
        if ending := _ENDING.match(text, at + 1):
            if self.heard:
                self._wrong("An ending begins within a bar: write a barline before it.", at)
            else:
                self.state.ending = self._numbers(ending[0])
            return ending.end()
        if slip := clef_change(text, at):
            self._wrong(slip.what, at)
            return slip.end
        return self._chord(text, at)

    # --- notes -----------------------------------------------------------------------------

    def _length(self, text: str, at: int) -> tuple[Fraction, int]:
        """A length in units, such as 3/2, and the place after it."""
        found = _LENGTH.match(text, at)
        assert found is not None
        top, strokes, low = found.groups()
        if len(top) > 3 or len(low) > 3 or len(strokes) > 6 or (low and len(strokes) > 1):
            self._wrong(f"“{found[0][:12]}” is not a length. Write 2, 3/2, / or /4 after the note.", at)
            return Fraction(1), found.end()
        length = Fraction(int(top or 1))
        length /= int(low) if low and int(low) else 2 ** len(strokes)
        if length == 0 or (low and not int(low)):
            self._wrong("A note can’t last 0.", at)
            length = Fraction(1)
        return length, found.end()

    def _member(self, found: re.Match[str]) -> Member | None:
        sign, name, marks = found.groups()
        letter = name.upper()
        octave = (5 if name.islower() else 4) + marks.count("'") - marks.count(",") + self.setting.octave
        at = found.start()
        if not 0 <= octave <= 9:
            self._wrong(f"“{found[0][:12]}” is out of reach of any instrument.", at)
            return None
        if found.string[found.end(1) : found.end(1) + 1] == "/":
            self._wrong("Quarter tones aren’t read.", at)
        if sign:
            alter = _ALTERS[sign]
            self.by_letter[letter] = self.by_octave[letter, octave] = alter
        else:
            alter = self._standing(letter, octave, at)
        return Member(Pitch(letter, alter, octave), accidental=_SIGN_NAMES[alter] if sign else "")

    def _note(self, text: str, found: re.Match[str]) -> int:
        member = self._member(found)
        length, end = self._length(text, found.end())
        if member is not None:
            self._sound([member], length, self._place(found.start()))
        return end

    def _rest(self, text: str, at: int) -> int:
        length, end = self._length(text, at + 1)
        if text[at] == "x":
            self.tell("An invisible rest (x) is kept as a rest.", self._place(at))
        self._sound([], length, self._place(at))
        self.group = None
        return end

    def _rest_bars(self, text: str, at: int) -> int:
        digits, end = self._digits(text, at + 1)
        count = int(digits[:6] or 1)
        if self.heard:
            self._wrong("Z stands for whole bars of rest: write a barline before it.", at)
        elif not 0 < count <= REST_BARS_LIMIT:
            self._wrong(f"“Z{digits[:8]}” is not a number of bars from 1 to {REST_BARS_LIMIT}.", at)
        elif self.state.meter is None:
            self._wrong("Z needs a time signature (M:) to say how long a bar is.", at)
        else:
            units = self.state.meter.length / self.setting.unit
            for bar in range(count):
                if bar:
                    self._end_bar(Barline(), self._place(at))
                self._sound([], units, self._place(at))
        return end

    def _chord(self, text: str, at: int, grace: str = "") -> int:
        """The notes between [ and ], each with its own signs, and the length after them."""
        members: list[Member] = []
        own: list[tuple[list[tuple[str, Place]], Member]] = []
        waiting: list[tuple[str, Place]] = []
        closing: list[int] = []
        lengths: set[Fraction] = set()
        tied: dict[tuple[str, int], int] = {}
        place = at + 1
        while place < len(text) and text[place] != "]":
            sign = text[place]
            if found := _NOTE.match(text, place):
                member = self._member(found)
                length, place = self._length(text, found.end())
                lengths.add(length)
                if member is not None:
                    members.append(member)
                    own.append((waiting, member))
                    waiting = []
            elif sign == "-" and members:
                members[-1].tied_to = True
                tied[members[-1].pitch.letter, members[-1].pitch.octave] = members[-1].pitch.alter
                self.ties[self.index] = self._place(place)
                place += 1
            elif sign == "(":
                self.slur_starts.append((False, self._place(place)))
                place += 1
            elif sign == ")":
                closing.append(place)
                place += 1
            elif sign == '"':
                place = self._quoted(text, place)
            elif sign.isspace():
                place += 1
            elif sign in "|{}[&<>zZxX:":
                break
            else:
                place = self._decoration(text, place, waiting)
        if place >= len(text) or text[place] != "]" or not members:
            self._wrong("A chord has no end: write its notes between [ and ]." if members else
                        "“[” begins neither a chord, a field nor an ending.", at)  # fmt: skip
            return max(place, at + 1)
        if len(lengths) > 1:
            self._wrong("The notes of a chord have one length: write it after the chord, [DB]2.", at)
        outer, end = self._length(text, place + 1)
        self.pending += waiting
        length = outer * next(iter(lengths))
        if grace:
            draft = self._grace(members, length, grace)
        else:
            self._sound(members, length, self._place(at))
            draft = self.last.draft if self.last else None
        if draft is None or draft.members is not members:  # the bar is full
            return end
        if not grace:
            self.tied = tied
        for names, member in own:
            self.signs.put(names, draft, member)
        for where in closing:
            self.signs.end_slur(draft, self._place(where))
        return end

    def _tie(self, at: int, width: int) -> int:
        if self.last is None or not self.last.draft.members or self.factor != 1:
            self._wrong("A tie (-) follows a note; to a note after the barline it is written before the barline.", at)
            return at + width
        for member in self.last.draft.members:
            member.tied_to = True
            self.tied[member.pitch.letter, member.pitch.octave] = member.pitch.alter
        self.ties[self.index] = self._place(at)
        if width > 1:
            self.tell("A dotted tie; it is kept as a plain one.", self._place(at))
        return at + width

    def _broken(self, text: str, at: int) -> int:
        found = _ANGLES.match(text, at)
        assert found is not None
        signs = found[0]
        if self.last is None or self.factor != 1 or len(signs) > 3:
            self._wrong(
                "“>” or “<” stands between two notes: the first is dotted, the second halved, or the reverse.", at
            )
            return at + len(signs)
        short = Fraction(1, 2 ** len(signs))
        first, self.factor = (2 - short, short) if signs[0] == ">" else (short, 2 - short)
        last = self.last
        more = last.nominal * (first - 1)
        last.nominal += more
        lasts = more * last.ratio[1] / last.ratio[0] if last.ratio else more
        last.draft.duration += lasts
        self.pos += lasts
        self.furthest = max(self.reached, self.pos)
        return at + len(signs)

    def _round(self, text: str, at: int) -> int:
        """A tuplet or the beginning of a slur."""
        found = _TUPLET.match(text, at)
        if not found:
            if len(self.slur_starts) + len(self.signs.slurs) >= _OPEN_SLURS:
                self._wrong(f"More than {_OPEN_SLURS} slurs are open here.", at)
            else:
                self.slur_starts.append((False, self._place(at)))
            return at + 1
        counts = [int(g[:3]) if g else 0 for g in found.groups()]
        p = counts[0]
        compound = self.state.meter is not None and self.state.meter.beat.numerator % 3 == 0
        q = counts[1] or _TUPLET_TIMES.get(p, 3 if compound else 2)
        r = counts[2] or p
        if not 2 <= p <= 32 or not 1 <= q <= 32 or not 1 <= r <= 64:
            self._wrong(
                f"“{found[0][:16]}” is not a tuplet. Write (3 for a triplet, (5:4 for five in the time of four.", at
            )
        elif self.tuplet is not None:
            self._wrong("A tuplet begins before the one before it is full.", at)
        else:
            self.tuplet = (p, q, r, self._place(at))
            self.tuplet_fresh = True
        return found.end()

    # --- grace notes ---------------------------------------------------------------------

    def _graces(self, text: str, at: int) -> int:
        end = text.find("}", at)
        if end < 0:
            self._wrong("Grace notes have no end: write them between { and }.", at)
            return at + 1
        inner = text[at + 1 : end]
        self.grace_at = at
        kind = "slashed" if inner.startswith("/") else "plain"
        place = at + 1 + (kind == "slashed")
        self.grace_unit = Fraction(1, 2) if len(_NOTE.findall(inner)) < 2 or "[" in inner else Fraction(1, 4)
        made: list[Draft] = []
        held, self.pending = self.pending, []
        while place < end:
            sign = text[place]
            if found := _NOTE.match(text, place):
                member = self._member(found)
                length, place = self._length(text, found.end())
                draft = self._grace([member], length, kind) if member is not None else None
                made += [draft] if draft else []
            elif sign == "[":
                before = len(self.graces)
                place = self._chord(text[:end], place, kind)
                made += self.graces[before:]
            elif sign == "(":
                self.slur_starts.append((False, self._place(place)))
                place += 1
            elif sign == ")":
                if made:
                    self.signs.end_slur(made[-1], self._place(place))
                place += 1
            elif sign.isspace() or sign in "`-":
                if sign == "-":
                    self._wrong("A tie between grace notes isn’t read.", place)
                place += 1
            elif sign in 'zxZX|&{<>:"]':
                self._wrong(f"“{sign}” can’t stand among grace notes.", place)
                place += 1
            else:
                place = self._decoration(text, place, self.pending)
        for name, where in self.pending:
            self.tell(f"The sign “{name[:30]}” has no grace note after it.", where)
        self.pending = held
        if not made and not self.overfull:
            self._wrong("There are no notes between { and }.", at)
        beam(made)
        return end + 1

    def _grace(self, members: list[Member], length: Fraction, kind: str) -> Draft | None:
        self.count += 1
        if self.count > NOTE_LIMIT:
            raise TooLong
        if self._full(self._place(self.grace_at)):
            return None
        self.grace_place += 1
        draft = Draft(self.index, self.pos, ZERO, Value("eighth"), self.voice, members=members)
        draft.grace = "slashed" if kind == "slashed" else "plain"
        draft.grace_place = self.grace_place
        heard = Heard(draft, self.grace_unit * length, None, (0, 0))
        values_of([heard], ZERO)
        self.graces.append(draft)
        self.signs.put(self.pending, draft)
        self.pending.clear()
        self._start_slurs(draft)
        return draft
