"""Possible bowings of a passage, and the three answers to an uneven rhythm: shown, taken or left."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from repertoire import drafts, suggesting
from repertoire.access import get_passage
from repertoire.bow import PLANNED, BowAsked, read, tempo_note
from repertoire.bow_asked import asked
from repertoire.comparison import BOW_ROWS, Version, drawn_together, fact_rows, with_strip
from repertoire.drafts import ChangedElsewhere, Desk, Refused
from repertoire.excerpts import printed_marks, screen_of
from repertoire.models import Marking, Passage, Suggestion
from repertoire.notation.bow_strip import ROOM_MM
from repertoire.notation.cutting import cut, marks_in
from repertoire.notation.look import words_for
from repertoire.notation.picture import Picture
from repertoire.notation.signs import describe
from repertoire.suggesting import Offer
from repertoire.technique.bow_alternatives import AT_FIRST, RULES, PossibleBowing, possible_bowings
from repertoire.technique.bow_words import share_word
from repertoire.technique.line import Line
from repertoire.technique.marks import Marks, dump
from repertoire.technique.uneven import UnevenAnswer, UnevenError, UnevenPair, uneven_answers, uneven_pairs
from repertoire.views.marking import ELSEWHERE, from_script, look_for
from studio.access import teacher_of
from studio.terms import terms_for, worded


@dataclass(frozen=True, slots=True)
class Row:
    """One system of all alternatives, and what is drawn below it in words."""

    svg: str
    words: tuple[str, ...]


@dataclass(frozen=True)
class Offered:
    """One possible bowing with the letter of its staff, and what it says of itself."""

    letter: str
    found: PossibleBowing
    version: Version
    offer: Offer

    @property
    def trade_off(self) -> str:
        return worded(self.found.trade_off, self.version.terms)

    @property
    def leaves_out(self) -> str:
        return worded(self.found.leaves_out, self.version.terms)


@require_http_methods(["GET", "HEAD", "POST"])
def bowings(request: HttpRequest, passage_id: int) -> HttpResponse:
    """At most three bowings that differ in character at a time; one can be taken into the draft."""
    passage = get_passage(request, passage_id)
    if not passage.has_notation:
        messages.info(request, "This piece was entered without notation, so there is nothing to bow.")
        return redirect("passage", passage.pk)
    desk = drafts.desk(passage, teacher_of(request), request.GET.get("from", ""))
    wanted = replace(asked(request, passage), reading=PLANNED, dynamic="", pass_number=1)
    every = possible_bowings(
        desk.line,
        desk.marks,
        printed=printed_marks(passage),
        tempo=wanted.tempo,
        settings=wanted.settings,
        costs=wanted.costs,
        limit=None,
    )
    page = _page_asked(request, len(every))
    offered = _offered(request, passage, desk.line, wanted, every[page * AT_FIRST : (page + 1) * AT_FIRST])
    trouble, status = "", 200
    if request.method == "POST":
        try:
            return _answered(request, desk, [each.offer for each in offered], "the bowing")
        except ChangedElsewhere:
            trouble, status = ELSEWHERE, 409
        except Refused as error:
            trouble, status = " ".join(error.reasons), 422
    now = _version(request, passage, desk.line, desk.marks, wanted)
    context: dict[str, Any] = {
        "section": "repertoire",
        "passage": passage,
        "desk": desk,
        "offered": offered,
        "rows": _systems(request, passage, offered, desk.marks),
        "facts": fact_rows([now, *(each.version for each in offered)], BOW_ROWS) if offered else (),
        "tempo": round(float(now.bowing.tempo)),
        "tempo_changes": bool(now.bowing.tempi.changes),
        "tempo_note": tempo_note(now.bowing, wanted, now.terms),
        "page": page,
        "next_page": page + 1 if len(every) > (page + 1) * AT_FIRST else 0,
        "trouble": trouble,
        "excerpt_url": request.get_full_path(),
        "screen": screen_of(request),
        "query": request.GET.urlencode(),
    }
    template = "bowings_staves.html" if from_script(request) else "bowings.html"
    return render(request, f"repertoire/{template}", context, status=status)


def _page_asked(request: HttpRequest, count: int) -> int:
    """Which three are shown, from 0."""
    given = request.GET.get("page", "")
    number = int(given) if given.isascii() and given.isdigit() and len(given) < 4 else 0
    return number if number * AT_FIRST < count else 0


def _version(request: HttpRequest, passage: Passage, line: Line, marks: Marks, wanted: BowAsked) -> Version:
    unkept = Marking(passage=passage, marks=dump(marks))
    return Version(unkept, line, "", terms_for(teacher_of(request).studio.terms), bow=wanted)


def _offered(
    request: HttpRequest, passage: Passage, line: Line, wanted: BowAsked, found: Sequence[PossibleBowing]
) -> list[Offered]:
    told = {"tempo": wanted.tempo, "reading": wanted.reading}
    return [
        Offered(
            letter,
            each,
            _version(request, passage, line, each.marks, wanted),
            Offer(Suggestion.Aspect.BOW, each.name, each.rules, each.marks, told),
        )
        for letter, each in zip("ABC", found, strict=False)
    ]


def _systems(request: HttpRequest, passage: Passage, offered: Sequence[Offered], now: Marks) -> list[Row]:
    """The alternatives as staves of one system, what differs from now ringed, each with its planned
    bow distribution below."""
    if not offered:
        return []
    staves = [(each.letter, each.version.line, each.found.marks) for each in offered]
    drawn = drawn_together(staves, look_for(request, passage, prefix="b-"), against=now, room_mm=ROOM_MM)
    return _with_strips(drawn, [(each.letter, each.found.name, each.version) for each in offered])


def _with_strips(drawn: Picture, versions: Sequence[tuple[str, str, Version]]) -> list[Row]:
    """The systems with a bow distribution for each version, by letter and name."""
    rows = []
    for system in drawn.systems:
        words = []
        for number, (letter, name, version) in enumerate(versions):
            system, said = with_strip(version, system, "bow", staff=number, letter=letter)
            words += [f"{letter}, {name}: {said}"] if said else []
        rows.append(Row(system.svg, tuple(words)))
    return rows


def _answered(request: HttpRequest, desk: Desk, offers: Sequence[Offer], what: str) -> HttpResponse:
    """One taken into the draft, or none of them. Raises Refused, ChangedElsewhere."""
    passage, teacher = desk.passage, teacher_of(request)
    wanted = request.POST.get("take", "")
    if wanted == "none":
        suggesting.ignore(passage, teacher, offers)
        messages.info(request, "None is taken.")
        return redirect("passage", passage.pk)
    taken = next((offer for offer in offers if offer.character == wanted), None)
    if taken is None:
        raise Refused("That one isn’t among these any more: choose again.")
    if set(taken.marks) == set(desk.marks):
        messages.info(request, "That is what is written there already.")
        return redirect("mark", passage.pk)
    drafts.take_suggestion(
        passage,
        teacher,
        taken,
        state=request.POST.get("state", ""),
        wanted=request.GET.get("from", ""),
        words=f"{what} “{taken.character}”",
        others=[offer for offer in offers if offer is not taken],
    )
    messages.success(
        request, f"“{taken.character}” stands in the draft: change what you like, then keep it. Undo takes it back."
    )
    return redirect("mark", passage.pk)


@dataclass(frozen=True)
class AnswerSaid:
    """One answer to an uneven rhythm in words and figures."""

    letter: str
    answer: UnevenAnswer
    offer: Offer
    sentence: str
    long_share: str
    short_share: str
    speeds: str
    ratio: str
    travel: str
    lift: str
    following: str


@require_http_methods(["GET", "HEAD", "POST"])
def uneven(request: HttpRequest, passage_id: int) -> HttpResponse:
    """The answers to a long and a short note beside each other, with their numbers."""
    passage = get_passage(request, passage_id)
    if not passage.has_notation:
        messages.info(request, "This piece was entered without notation, so there is nothing to bow.")
        return redirect("passage", passage.pk)
    desk = drafts.desk(passage, teacher_of(request), request.GET.get("from", ""))
    wanted = replace(asked(request, passage), dynamic="", pass_number=1)
    bowing = read(desk.line, desk.marks, wanted)
    terms = terms_for(teacher_of(request).studio.terms)
    pairs = uneven_pairs(bowing, request.GET.get("at", ""))
    at = request.GET.get("at", "") or (pairs[0].long.address if pairs else "")
    trouble, status = "", 200
    answers: list[AnswerSaid] = []
    if at:
        try:
            found = uneven_answers(desk.line, desk.marks, at, wanted.tempo, wanted.settings)
            answers = [_said(request, letter, each, at) for letter, each in zip("ABC", found, strict=False)]
        except UnevenError as error:
            trouble, status = worded(str(error), terms), 422
    if request.method == "POST" and answers:
        try:
            return _answered(request, desk, [each.offer for each in answers], "the answer")
        except ChangedElsewhere:
            trouble, status = ELSEWHERE, 409
        except Refused as error:
            trouble, status = " ".join(error.reasons), 422
    context: dict[str, Any] = {
        "section": "repertoire",
        "passage": passage,
        "desk": desk,
        "pairs": [
            (kind, [(p.long.address, worded(_pair_words(desk.line, p), terms)) for p in pairs if p.kind is kind])
            for kind in dict.fromkeys(p.kind for p in pairs)
        ],
        "cuts": [describe(mark, desk.line, words_for(teacher_of(request).studio.terms)) for mark in _cuts(answers)],
        "at": answers[0].answer.long if answers else at,
        "answers": answers,
        "rows": _answer_systems(request, passage, desk, answers, wanted),
        "tempo": round(float(bowing.tempo)),
        "tempo_changes": bool(bowing.tempi.changes),
        "tempo_note": tempo_note(bowing, wanted, terms),
        "trouble": trouble,
        "excerpt_url": request.get_full_path(),
        "screen": screen_of(request),
        "query": request.GET.urlencode(),
    }
    template = "bowings_staves.html" if from_script(request) else "uneven.html"
    return render(request, f"repertoire/{template}", context, status=status)


def _pair_words(line: Line, pair: UnevenPair) -> str:
    names = [" and ".join(p.label for p in m.main.pitches) for m in (pair.long, pair.short)]
    return f"{line.where(pair.long.address)}: {names[0]}, then {names[1]}"


def _cuts(answers: Sequence[AnswerSaid]) -> Marks:
    return answers[0].answer.cuts if answers else ()


def _said(request: HttpRequest, letter: str, answer: UnevenAnswer, at: str) -> AnswerSaid:
    terms = terms_for(teacher_of(request).studio.terms)
    speeds = [f"{v:.0f}" if v is not None else "open" for v in (answer.long_mm_s, answer.short_mm_s)]
    ratio = float(answer.ratio)
    offer = Offer(Suggestion.Aspect.BOW, answer.name, RULES, answer.marks, {"uneven rhythm at": at})
    return AnswerSaid(
        letter=letter,
        answer=answer,
        offer=offer,
        sentence=worded(answer.sentence, terms),
        long_share=share_word(answer.long_share),
        short_share=share_word(answer.short_share),
        speeds=f"{speeds[0]}, then {speeds[1]} mm a second",
        ratio="the same" if abs(ratio - 1) < 0.02 else f"{ratio:.1f}".removesuffix(".0") + " times as fast",
        travel="back where it was" if answer.travel == 0 else f"on by {share_word(abs(answer.travel))}",
        lift=f"{answer.lift_mm:.0f} mm through the air" if answer.lift_mm else "none",
        following=f"{answer.next_direction}-bow",
    )


def _answer_systems(
    request: HttpRequest, passage: Passage, desk: Desk, answers: Sequence[AnswerSaid], wanted: BowAsked
) -> list[Row]:
    """The bars of the place, written in each of the three ways, with the bow each answer counts on."""
    if not answers:
        return []
    line = desk.line
    first = line.event(answers[0].answer.long).bar
    last = min(line.event(answers[0].answer.short).bar + 1, line.bars[-1].index)
    bars = cut(line, first, None, last, None)
    staves = [(each.letter, bars, marks_in(each.answer.marks, bars)) for each in answers]
    now = marks_in(desk.marks, bars)
    drawn = drawn_together(staves, look_for(request, passage, prefix="u-"), against=now, room_mm=ROOM_MM)
    asked = replace(wanted, reading=PLANNED)
    counted = [
        _version(request, passage, bars, marks_in(each.answer.marks_with_amounts, bars), asked) for each in answers
    ]
    return _with_strips(drawn, [(e.letter, e.answer.name, v) for e, v in zip(answers, counted, strict=True)])
