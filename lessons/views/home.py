"""The student's page at home, opened by a link without signing in.

These views know links, the copy of the newest sheet, and what came back from it; they import
nothing else of the lessons, so that nothing else can be shown. A link that is unknown, has
expired or was revoked gets the same answer. Posts need no CSRF token: there is no signed-in
person whose rights could be borrowed, the address itself is the key.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, timedelta
from functools import wraps
from uuid import UUID, uuid4

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_POST, require_safe

from lessons import links
from lessons.home_models import HomePage, HomeQuestion, StudentLink, Tick
from lessons.home_showing import page_html, worker_source
from studio.asked import read_day, read_number
from studio.throttle import may, spent
from studio.visitors import client_address

STRETCH = 600  # seconds the limits are counted over
PER_ADDRESS = 900  # requests from one network address; a studio's family may share one
PER_LINK = 400
WRONG_PER_ADDRESS = 30  # addresses that open nothing
TICKS_A_DAY = 300  # kept from one student
QUESTIONS_A_DAY = 12
MINUTES_AT_MOST = 600
DAYS_BACK = 60

View = Callable[[HttpRequest, str, StudentLink], HttpResponse]


def by_link(view: View) -> Callable[[HttpRequest, str], HttpResponse]:
    """Open a view to whoever knows a link's token, and limit how often it is asked for."""

    @wraps(view)
    def opened(request: HttpRequest, token: str) -> HttpResponse:
        visitor = client_address(request)
        wrong = f"wrong link from {visitor}"
        if not may(f"home from {visitor}", PER_ADDRESS, STRETCH) or spent(wrong, WRONG_PER_ADDRESS, STRETCH):
            return _too_often()
        link = links.find_link(token, at=timezone.now())
        if link is None:
            may(wrong, WRONG_PER_ADDRESS, STRETCH)
            return _closed()
        if not may(f"home by {link.digest}", PER_LINK, STRETCH):
            return _too_often()
        written = links.grouped(links.plain(token))
        if token != written and request.method in ("GET", "HEAD"):
            return _private(redirect("home", written))
        return _private(view(request, written, link))

    return opened


@login_not_required
@require_safe
@gzip_page  # drawings shrink to a fifth; nothing a visitor sends is repeated beside a secret
@by_link
def home(request: HttpRequest, token: str, link: StudentLink) -> HttpResponse:
    """The page of the student's newest sheet."""
    page = _page(link)
    if page is None:
        return _words("Nothing here yet", "Your teacher has not made a practice sheet for this page so far.", 200)
    ticks = Tick.objects.filter(student_id=link.student_id, day__gte=_oldest(page)).order_by("made", "id")
    questions = HomeQuestion.objects.filter(student_id=link.student_id, made__gte=page.made).order_by("made", "id")
    return HttpResponse(page_html(page, address=reverse("home", args=[token]), ticks=ticks, questions=questions))


@login_not_required
@require_safe
@by_link
def home_worker(request: HttpRequest, token: str, link: StudentLink) -> HttpResponse:
    """The service worker that keeps this page for use without network; its scope is this link's path."""
    source = worker_source(_page(link), reverse("home", args=[token]))
    return HttpResponse(source, content_type="text/javascript; charset=utf-8")


@csrf_exempt
@login_not_required
@require_POST
@by_link
def home_keep(request: HttpRequest, token: str, link: StudentLink) -> HttpResponse:
    """Keep a tick or a question. The same token twice is kept once and answered alike."""
    page = _page(link)
    what = request.POST.get("what", "")
    try:
        if page is None:
            raise NotKept("There is no practice sheet here yet.")
        if what == "tick":
            _keep_tick(request, link, page)
        elif what == "question":
            _keep_question(request, link, page)
        else:
            raise NotKept("This can’t be kept here.")
    except NotKept as problem:
        return HttpResponse(str(problem), status=422, content_type="text/plain; charset=utf-8")
    if request.headers.get("X-Requested-With") == "fetch":
        return HttpResponse(status=204)
    return HttpResponse(status=303, headers={"Location": reverse("home", args=[token])})


class NotKept(Exception):
    """What was sent doesn't fit; the message is for the student."""


def _keep_tick(request: HttpRequest, link: StudentLink, page: HomePage) -> None:
    sent = request.POST
    title = _title(sent.get("item", ""), link, page)
    day = _day(sent.get("day", ""), page)
    minutes = read_number(sent.get("minutes", "")) or None
    if minutes is not None and minutes > MINUTES_AT_MOST:
        raise NotKept(f"At most {MINUTES_AT_MOST} minutes fit into a day.")
    token = _token(sent.get("token", ""))
    if _since_yesterday(Tick, link) >= TICKS_A_DAY and not Tick.objects.filter(token=token).exists():
        raise NotKept("That is more than can be kept in one day.")
    Tick.objects.get_or_create(
        token=token,
        defaults={
            "student_id": link.student_id,
            "sheet_id": page.sheet_id,
            "item": int(sent["item"]),
            "title": title[:200],
            "day": day,
            "done": sent.get("done", "yes") != "no",
            "minutes": minutes,
            "made": _made(sent.get("made", "")),
        },
    )


def _title(item: str, link: StudentLink, page: HomePage) -> str:
    """What an item is called: on this sheet, or on the one before, when a tick comes late. Raises NotKept."""
    found = _titles(page).get(item)
    if found is None:
        before = HomePage.objects.filter(student_id=link.student_id, sheet_id__lt=page.sheet_id).first()
        found = _titles(before).get(item) if before else None
    if found is None:
        raise NotKept("This is not on your sheet any more; tell your teacher.")
    return found


def _titles(page: HomePage) -> dict[str, str]:
    return {str(item["id"]): str(item["title"]) for item in page.content["items"]}


def _keep_question(request: HttpRequest, link: StudentLink, page: HomePage) -> None:
    text = " ".join(request.POST.get("text", "").split())
    if not 0 < len(text) <= 300:
        raise NotKept("Write one line, up to 300 characters.")
    if _since_yesterday(HomeQuestion, link) >= QUESTIONS_A_DAY:
        raise NotKept("That is enough for one day: ask the rest in the lesson.")
    HomeQuestion.objects.get_or_create(
        token=_token(request.POST.get("token", "")),
        defaults={
            "student_id": link.student_id,
            "sheet_id": page.sheet_id,
            "text": text,
            "made": _made(request.POST.get("made", "")),
        },
    )


def _page(link: StudentLink) -> HomePage | None:
    return HomePage.objects.filter(student_id=link.student_id).order_by("-sheet_id").first()


def _oldest(page: HomePage) -> date:
    return date.fromisoformat(page.content["lesson_date"]) - timedelta(days=7)


def _day(written: str, page: HomePage) -> date:
    """A day from a while back until tomorrow: clocks and time zones differ. Raises NotKept."""
    day = read_day(written)
    today = timezone.now().date()
    if day is None or not today - timedelta(days=DAYS_BACK) <= day <= today + timedelta(days=1):
        raise NotKept("That day can’t be ticked.")
    return day


def _token(written: str) -> UUID:
    """The browser's token; without script there is none, and each touch counts."""
    if not written:
        return uuid4()
    try:
        return UUID(written)
    except ValueError:
        raise NotKept("This can’t be kept here.") from None


def _made(written: str) -> datetime:
    """When the student touched it, by their clock; never in the future, nor longer ago than can be ticked."""
    now = timezone.now()
    try:
        made = parse_datetime(written)
    except ValueError:
        made = None
    if made is None or timezone.is_naive(made):
        return now
    return max(min(made, now), now - timedelta(days=DAYS_BACK))


def _since_yesterday(table: type[Tick] | type[HomeQuestion], link: StudentLink) -> int:
    since = timezone.now() - timedelta(days=1)
    return table._default_manager.filter(student_id=link.student_id, received__gte=since).count()


def _closed() -> HttpResponse:
    return _private(
        _words(
            "This link opens nothing",
            "It may have been typed differently from the sheet, or it has ended. Your teacher can give you a new one.",
            404,
        )
    )


def _too_often() -> HttpResponse:
    answer = _words("Too many requests", "Wait ten minutes, then open the page again.", 429)
    answer.headers["Retry-After"] = str(STRETCH)
    return _private(answer)


def _words(title: str, words: str, status: int) -> HttpResponse:
    return HttpResponse(render_to_string("lessons/home_closed.html", {"title": title, "words": words}), status=status)


def _private(answer: HttpResponse) -> HttpResponse:
    """Not for search engines, shared caches or other sites; the address never travels as a referrer."""
    answer.headers["Referrer-Policy"] = "no-referrer"
    answer.headers["X-Robots-Tag"] = "noindex, nofollow"
    answer.headers["Cache-Control"] = "private, no-cache"
    return answer
