"""Students, their instruments and guardians, and the settings: what the forms do."""

from __future__ import annotations

from datetime import date

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from studio.models import Guardian, Guardianship, InstrumentPeriod, Student


def new_student(**given):
    return {"first_name": "Jonas", "status": "active", "clef": "", "staff_height": "8"} | given


class TestStudents:
    def test_a_first_name_is_enough(self, client_of, teacher):
        answer = client_of(teacher).post("/students/new", new_student())
        jonas = Student.objects.get()
        assert answer["Location"] == f"/students/{jonas.pk}/details"
        assert (jonas.first_name, jonas.surname, jonas.birth_year, jonas.teacher) == ("Jonas", "", None, teacher)
        assert not jonas.instruments.exists()

    def test_without_an_instrument_it_is_saved_with_a_warning(self, client_of, teacher):
        answer = client_of(teacher).post("/students/new", new_student(), follow=True)
        assert "No instrument is noted for Jonas yet" in answer.content.decode()
        InstrumentPeriod.objects.create(student=Student.objects.get(), instrument="viola", since=date(2026, 1, 10))
        page = client_of(teacher).post(answer.redirect_chain[-1][0], new_student(), follow=True).content.decode()
        assert "Saved." in page
        assert "No instrument is noted" not in page

    def test_with_an_instrument(self, client_of, teacher):
        given = new_student() | {
            "instrument-instrument": "violin",
            "instrument-size": "3/4",
            "instrument-string_length": "300",
            "instrument-since": "2026-01-10",
        }
        client_of(teacher).post("/students/new", given)
        violin = Student.objects.get().instruments.get()
        assert (str(violin), violin.string_length, violin.since, violin.until) == (
            "3/4 violin",
            300,
            date(2026, 1, 10),
            None,
        )

    def test_a_wrong_instrument_saves_nothing_and_keeps_the_input(self, client_of, teacher):
        given = new_student(surname="Reed") | {
            "instrument-instrument": "viola",
            "instrument-since": "2026-01-10",
            "instrument-until": "2026-01-01",
        }
        answer = client_of(teacher).post("/students/new", given)
        assert answer.status_code == 422
        assert "It ends before it begins." in answer.content.decode()
        assert 'value="Reed"' in answer.content.decode()
        assert not Student.objects.exists()

    def test_change(self, client_of, teacher, student):
        client_of(teacher).post(
            f"/students/{student.pk}/details",
            new_student(
                first_name="Mira",
                birth_year="2014",
                status="paused",
                clef="alto",
                staff_height="9.5",
                private_notes="shy",
            ),
        )
        student.refresh_from_db()
        assert (student.surname, student.birth_year, student.status, student.clef) == ("", 2014, "paused", "alto")
        assert str(student.staff_height) == "9.5"
        assert student.private_notes == "shy"

    @pytest.mark.parametrize(
        "wrong", [{"first_name": ""}, {"birth_year": "1400"}, {"staff_height": "20"}, {"status": "gone"}]
    )
    def test_nonsense_is_refused(self, client_of, teacher, student, wrong):
        answer = client_of(teacher).post(f"/students/{student.pk}/details", new_student() | wrong)
        assert answer.status_code == 422
        assert "<h1>Mira</h1>" in answer.content.decode(), "the heading keeps the stored name"
        student.refresh_from_db()
        assert student.first_name == "Mira"

    def test_the_list_by_status(self, client_of, teacher, student):
        Student.objects.create(teacher=teacher, first_name="Otto", status="left")
        me = client_of(teacher)
        here = me.get("/students/").content.decode()
        assert "Mira" in here
        assert "14 inch viola" in here
        assert "Otto" not in here
        assert "Left (1)" in here
        gone = me.get("/students/?status=left").content.decode()
        assert "Otto" in gone
        assert "Mira" not in gone

    def test_the_list_asks_as_often_for_many_as_for_one(self, client_of, teacher, student, django_assert_num_queries):
        me = client_of(teacher)
        with django_assert_num_queries(7):  # session, teacher, studio; counts, students, instruments, lesson times
            me.get("/students/")
        for number in range(20):
            other = Student.objects.create(teacher=teacher, first_name=f"Student {number}")
            InstrumentPeriod.objects.create(student=other, instrument="violin", since=date(2025, 1, 1))
        with django_assert_num_queries(7):
            me.get("/students/")


class TestInstruments:
    def add(self, me, student, **given):
        raw = {"instrument": "viola", "size": "15 inch", "since": "2026-02-01"} | given
        return me.post(reverse("instrument_new", args=[student.pk]), raw)

    def test_an_overlap_is_said_on_the_form(self, client_of, teacher, student):
        answer = self.add(client_of(teacher), student)
        assert answer.status_code == 422
        assert "This overlaps the 14 inch viola from 06 Jan 2025" in answer.content.decode()
        assert student.instruments.count() == 1

    def test_the_present_one_can_end_with_it(self, client_of, teacher, student):
        assert self.add(client_of(teacher), student, end_current="on").status_code == 302
        old, new = student.instruments.order_by("since")
        assert (old.until, new.since, new.until) == (date(2026, 1, 31), date(2026, 2, 1), None)

    def test_another_kind_may_be_played_at_the_same_time(self, client_of, teacher, student):
        assert self.add(client_of(teacher), student, instrument="violin", end_current="on").status_code == 302
        assert student.instruments.get(instrument="viola").until is None
        assert [str(period) for period in student.instruments_on(date(2026, 3, 1))] == [
            "15 inch violin",
            "14 inch viola",
        ]
        assert str(student.instrument_on(date(2026, 3, 1))) == "15 inch violin"

    def test_change_end_and_remove(self, client_of, teacher, student):
        me, viola = client_of(teacher), student.instruments.get()
        page = reverse("instrument_edit", args=[student.pk, viola.pk])
        me.post(page, {"instrument": "viola", "size": "14½ inch", "since": "2025-01-06", "string_length": "330"})
        viola.refresh_from_db()
        assert (viola.size, viola.string_length) == ("14½ inch", 330)
        me.post(page + "/end")
        viola.refresh_from_db()
        assert viola.until is not None
        me.post(page + "/remove")
        assert not student.instruments.exists()

    def test_no_string_of_a_metre(self, client_of, teacher, student):
        answer = self.add(client_of(teacher), student, instrument="violin", string_length="1000")
        assert answer.status_code == 422


@pytest.mark.django_db(transaction=True)
class TestTheDatabaseHoldsToIt:
    """Written past the forms: the database itself refuses an overlap of one kind."""

    def period(self, student, since, until=None, instrument="viola"):
        with transaction.atomic():
            return InstrumentPeriod.objects.create(student=student, instrument=instrument, since=since, until=until)

    @pytest.mark.parametrize(
        ("since", "until"),
        [
            (date(2026, 1, 1), None),
            (date(2024, 1, 1), None),
            (date(2024, 1, 1), date(2025, 1, 6)),
            (date(2025, 6, 1), date(2025, 7, 1)),
        ],
    )
    def test_on_insert(self, student, since, until):
        with pytest.raises(IntegrityError, match=r"overlap|instrument_periods_apart"):
            self.period(student, since, until)
        assert student.instruments.count() == 1

    def test_on_update(self, student):
        earlier = self.period(student, date(2024, 1, 1), date(2025, 1, 5))
        with pytest.raises(IntegrityError), transaction.atomic():
            InstrumentPeriod.objects.filter(pk=earlier.pk).update(until=date(2025, 1, 6))
        earlier.refresh_from_db()
        assert earlier.until == date(2025, 1, 5)

    def test_a_period_may_be_changed_without_meeting_itself(self, student):
        assert InstrumentPeriod.objects.filter(student=student).update(since=date(2025, 1, 7)) == 1

    def test_another_kind_or_student_is_free(self, student):
        self.period(student, date(2025, 1, 6), instrument="violin")
        self.period(Student.objects.create(teacher=student.teacher, first_name="Jonas"), date(2025, 1, 6))
        assert InstrumentPeriod.objects.count() == 3

    def test_no_end_before_the_start(self, student):
        with pytest.raises(IntegrityError):
            self.period(student, date(2024, 2, 1), date(2024, 1, 1))


class TestGuardians:
    def test_a_new_one(self, client_of, teacher, student):
        given = {"name": "Ines Holt", "email": "ines@example.org", "phone": "01632 960001", "new-relation": "mother"}
        client_of(teacher).post(reverse("guardian_add", args=[student.pk]), given)
        tie = student.guardianships.get()
        assert (tie.guardian.name, tie.guardian.phone, tie.relation, tie.receives_notes) == (
            "Ines Holt",
            "01632 960001",
            "mother",
            False,
        )
        assert tie.guardian.teacher == teacher

    def test_a_sibling_shares_hers(self, client_of, teacher, student):
        ines = Guardian.objects.create(teacher=teacher, name="Ines Holt")
        Guardianship.objects.create(student=student, guardian=ines)
        jonas = Student.objects.create(teacher=teacher, first_name="Jonas")
        page = reverse("guardian_add", args=[jonas.pk])
        me = client_of(teacher)
        assert "Ines Holt" in me.get(page).content.decode()
        me.post(page, {"known": "yes", "known-guardian": ines.pk, "known-receives_notes": "on"})
        assert [tie.student.first_name for tie in ines.guardianships.order_by("id")] == ["Mira", "Jonas"]
        me.post(reverse("guardian_remove", args=[student.pk, student.guardianships.get().pk]))
        assert Guardian.objects.filter(pk=ines.pk).exists(), "still Jonas's"
        me.post(reverse("guardian_remove", args=[jonas.pk, jonas.guardianships.get().pk]))
        assert not Guardian.objects.filter(pk=ines.pk).exists(), "nobody's: her contacts are not kept"

    def test_another_teachers_guardian_cannot_be_picked(self, client_of, teacher, colleague, student):
        hers = Guardian.objects.create(teacher=colleague, name="Paul Moor")
        answer = client_of(teacher).post(
            reverse("guardian_add", args=[student.pk]), {"known": "yes", "known-guardian": hers.pk}
        )
        assert answer.status_code == 422
        assert "Paul Moor" not in answer.content.decode()
        assert not student.guardianships.exists()

    def test_change_contacts_and_who_receives_notes(self, client_of, teacher, student):
        ines = Guardian.objects.create(teacher=teacher, name="Ines Holt")
        tie = Guardianship.objects.create(student=student, guardian=ines, receives_notes=True)
        given = {"name": "Ines Holt-Reed", "email": "", "phone": "01632 960002", f"tie-{tie.pk}-relation": "mother"}
        client_of(teacher).post(reverse("guardian_edit", args=[ines.pk]), given)
        ines.refresh_from_db()
        tie.refresh_from_db()
        assert (ines.name, ines.phone, tie.relation, tie.receives_notes) == (
            "Ines Holt-Reed",
            "01632 960002",
            "mother",
            False,
        )

    def test_contacts_stay_behind_a_disclosure(self, client_of, teacher, student):
        ines = Guardian.objects.create(teacher=teacher, name="Ines Holt", phone="01632 960001")
        Guardianship.objects.create(student=student, guardian=ines)
        page = client_of(teacher).get(f"/students/{student.pk}/details").content.decode()
        before, inside = page.split("<details>", 1)
        assert "01632 960001" not in before
        assert "01632 960001" in inside.split("</details>")[0]


class TestSettings:
    def test_the_studio(self, client_of, teacher):
        given = {
            "studio": "yes",
            "studio-name": "Fell and Moor",
            "studio-timezone": "America/Toronto",
            "studio-paper": "Letter",
            "studio-terms": "american",
            "studio-a4_hz": "442",
            "studio-week_start": "6",
            "studio-string_signs": "sul",
        }
        assert client_of(teacher).post("/settings", given)["Location"] == "/settings"
        kept = type(teacher.studio).objects.get(pk=teacher.studio_id)
        assert (kept.name, kept.timezone, kept.paper, kept.terms) == (
            "Fell and Moor",
            "America/Toronto",
            "Letter",
            "american",
        )
        assert (kept.a4_hz, kept.week_start, kept.string_signs) == (442, 6, "sul")

    def test_a_wrong_pitch_is_refused_and_the_page_keeps_the_studios_name(self, client_of, teacher):
        answer = client_of(teacher).post(
            "/settings",
            {
                "studio": "yes",
                "studio-name": "Elsewhere",
                "studio-timezone": "UTC",
                "studio-paper": "A4",
                "studio-terms": "british",
                "studio-a4_hz": "4400",
                "studio-week_start": "0",
                "studio-string_signs": "roman",
            },
        )
        assert answer.status_code == 422
        assert "<title>Settings · Lindenhof Studio</title>" in answer.content.decode()

    def test_the_profile(self, client_of, teacher, colleague):
        me = client_of(teacher)
        me.post("/settings", {"profile": "yes", "profile-name": "Ada M. Fell", "profile-email": "Ada.Fell@example.org"})
        teacher.refresh_from_db()
        assert (teacher.name, teacher.email) == ("Ada M. Fell", "ada.fell@example.org")
        taken = {"profile": "yes", "profile-name": "Ada", "profile-email": "Clara@example.org"}
        assert me.post("/settings", taken).status_code == 422
