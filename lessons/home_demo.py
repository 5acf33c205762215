"""What came back from the demonstration's students at home, played through the same tables as the page's own posts."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from lessons.home_models import HomeQuestion, Tick
from lessons.models import Assignment, Sheet


def practise_at_home(sheet: Sheet, told: Mapping[str, Any], made: Mapping[str, Assignment], *, now: datetime) -> None:
    """Tick the days told as [work, days after the lesson, minutes] and write the line told, if they lie before now."""
    zone = ZoneInfo(sheet.student.teacher.studio.timezone)
    titles = {item["assignment"]: item["title"] for item in sheet.content["items"]}
    lesson_day = date.fromisoformat(sheet.content["lesson_date"])

    def evening(days: int) -> datetime:
        return datetime.combine(lesson_day + timedelta(days=days), time(18, 20), zone)

    for key, days, minutes in told["days"]:
        work = made[key].pk
        if work in titles and evening(days) < now:
            Tick.objects.create(
                student=sheet.student, sheet=sheet, item=work, title=titles[work], day=evening(days).date(),
                minutes=minutes or None, made=evening(days), received=evening(days),
            )  # fmt: skip
    if told["line"] and evening(told["line"][0]) < now:
        HomeQuestion.objects.create(
            student=sheet.student, sheet=sheet, text=told["line"][1], made=evening(told["line"][0]),
            received=evening(told["line"][0]),
        )  # fmt: skip
