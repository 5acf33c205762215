"""Possible fingerings of a passage or some of its bars: shown beside each other, taken or left."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from repertoire import drafts, suggesting
from repertoire.access import get_passage
from repertoire.bounds import BoundsError, read_bounds
from repertoire.drafts import ChangedElsewhere, Desk, Refused
from repertoire.excerpts import screen_of
from repertoire.fingerings import HOW_MANY, PRESETS, Answer, Question, ask, how_many_of
from repertoire.left_hand import instrument_with_strings, preset_for
from repertoire.models import Passage
from repertoire.notation.engraving import engrave_together
from repertoire.notation.left_hand_strip import left_hand_strip
from repertoire.players import Player, chosen_player, limits_of, players_to_choose
from repertoire.technique.line import LineError
from repertoire.views.marking import ELSEWHERE, from_script, look_for
from studio.access import teacher_of
from studio.hand_forms import HandForm
from studio.models import StudentHand


@dataclass(frozen=True, slots=True)
class Row:
    """One system of all alternatives, and the strips below it in words."""

    svg: str
    words: tuple[str, ...]


@require_http_methods(["GET", "HEAD", "POST"])
def fingerings(request: HttpRequest, passage_id: int) -> HttpResponse:
    """At most three fingerings that differ in character; one can be taken into the draft."""
    passage = get_passage(request, passage_id)
    if not passage.has_notation:
        messages.info(request, "This piece was entered without notation, so there are no notes to finger.")
        return redirect("passage", passage.pk)
    desk = drafts.desk(passage, teacher_of(request), request.GET.get("from", ""))
    instrument = instrument_with_strings(passage, desk.line)
    if not instrument:
        messages.info(request, "Fingerings are told for violin and viola; set the part’s instrument to one of them.")
        return redirect("passage", passage.pk)
    player, limits = _player(request, passage, instrument)
    question, trouble = _question(request, desk, player)
    answer = ask(passage, desk.line, question) if not trouble else None
    status = 422 if trouble else 200
    if request.method == "POST" and answer is not None:
        try:
            return _answered(request, passage, desk, answer)
        except ChangedElsewhere:
            trouble, status = ELSEWHERE, 409
        except Refused as error:
            trouble, status = " ".join(error.reasons), 422
    context: dict[str, Any] = {
        "section": "repertoire",
        "passage": passage,
        "movement": passage.movement,
        "piece": passage.movement.revision.part.piece,
        "desk": desk,
        "question": question,
        "answer": answer,
        "trouble": trouble or (answer.trouble if answer else ""),
        "fact_rows": _fact_rows(answer) if answer else (),
        "rows": _systems(request, passage, answer) if answer else (),
        "bars": request.GET.get("bars", ""),
        "presets": PRESETS,
        "how_many_choices": HOW_MANY,
        "player": player,
        "players": players_to_choose(request, player),
        "form": limits,
        "excerpt_url": request.get_full_path(),
        "screen": screen_of(request),
        "query": request.GET.urlencode(),
        "afresh": _afresh(request) if answer and answer.narrow else "",
    }
    page = "fingerings_staves.html" if from_script(request) else "fingerings.html"
    return render(request, f"repertoire/{page}", context, status=status)


def _player(request: HttpRequest, passage: Passage, instrument: str) -> tuple[Player, HandForm]:
    """The hand chosen; its limits as kept, or as set for this question alone."""
    player = chosen_player(request, passage, instrument)
    kept = StudentHand.objects.filter(student=player.student).first() if player.student else None
    once = request.GET.get("limits") == "set" and request.GET.get("limits_of", "") == str(
        player.student.pk if player.student else ""
    )
    form = HandForm(request.GET if once else None, instance=kept or StudentHand())
    if once and form.is_valid():
        player = replace(player, limits=limits_of(form.instance), limit_words=form.instance.words)
    return player, form


def _question(request: HttpRequest, desk: Desk, player: Player) -> tuple[Question, str]:
    """What is asked for, and why it can't be ("" when it can)."""
    asked = request.GET
    preset = asked.get("preset", "")
    usual = preset_for(desk.passage.movement)
    question = Question(
        marks=desk.marks,
        player=player,
        preset=preset if preset in dict(PRESETS) else usual,
        how_many=how_many_of(asked.get("how_many", "")),
        fresh=asked.get("written") == "fresh",
        reading=usual,
    )
    if not asked.get("bars", "").strip():
        return question, ""
    try:
        return replace(question, bounds=read_bounds(asked["bars"], desk.line)), ""
    except (BoundsError, LineError) as error:
        return question, str(error)


def _answered(request: HttpRequest, passage: Passage, desk: Desk, answer: Answer) -> HttpResponse:
    """One taken into the draft, or none of them. Raises Refused, ChangedElsewhere."""
    teacher = teacher_of(request)
    wanted = request.POST.get("take", "")
    if wanted == "none":
        suggesting.ignore(passage, teacher, [each.offer for each in answer.possible])
        return redirect("passage", passage.pk)
    taken = next((each for each in answer.possible if each.alternative.name == wanted), None)
    if taken is None:
        raise Refused("That fingering isn’t among these any more: choose again.")
    if set(taken.offer.marks) == set(desk.marks):
        messages.info(request, "These fingers are written there already.")
        return redirect("mark", passage.pk)
    drafts.take_suggestion(
        passage,
        teacher,
        taken.offer,
        state=request.POST.get("state", ""),
        wanted=request.GET.get("from", ""),
        words=f"the fingering “{taken.alternative.title}”",
        others=[each.offer for each in answer.possible if each is not taken],
    )
    messages.success(
        request,
        f"“{taken.alternative.title}” stands in the draft: change what you like, then keep it. Undo takes it back.",
    )
    return redirect(reverse("mark", args=[passage.pk]))


def _afresh(request: HttpRequest) -> str:
    """The same question without what is written there."""
    asked = request.GET.copy()
    asked["written"] = "fresh"
    return asked.urlencode()


def _fact_rows(answer: Answer) -> list[tuple[str, list[str]]]:
    """A row for each fact with the value of each alternative."""
    columns = [dict(each.facts) for each in answer.possible]
    return [(name, [column[name] for column in columns]) for name in (columns[0] if columns else ())]


def _systems(request: HttpRequest, passage: Passage, answer: Answer) -> list[Row]:
    """The alternatives as staves of one system, each with its left-hand line below."""
    if not answer.possible:
        return []
    staves = [(each.letter, answer.line, each.marks) for each in answer.possible]
    drawn = engrave_together(staves, look_for(request, passage, prefix="f-"))
    rows = []
    for system in drawn.systems:
        words = []
        for each in answer.possible:
            strip = left_hand_strip(each.fingering, system)
            if strip.drawing:
                letter = f'<text x="0" y="3.2" font-size="3.4" font-weight="bold" fill="#111111">{each.letter}</text>'
                system = system.with_strip(letter + strip.drawing, strip.height_mm)
                words.append(f"{each.letter}: {strip.words}")
        rows.append(Row(system.svg, tuple(words)))
    return rows
