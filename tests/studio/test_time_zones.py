"""Time zones to choose from: current ones by continent, the present one first, obsolete ones no more.

[P] The IANA zone database renamed Asia/Calcutta to Asia/Kolkata, Europe/Kiev to Europe/Kyiv and keeps
US/East-Indiana only as an older name of America/Indiana/Indianapolis (its file "backward").
"""

from __future__ import annotations

import zoneinfo

import pytest

from studio import time_zones
from studio.models import Studio
from studio.time_zones import current_zones, renamed_zones, zone_choices


@pytest.fixture
def no_tables(monkeypatch):
    """A computer whose zone files come without the lists."""
    monkeypatch.setattr(time_zones, "_table", lambda name: [])
    for cached in (current_zones, renamed_zones):
        cached.cache_clear()
    yield
    for cached in (current_zones, renamed_zones):
        cached.cache_clear()


def test_current_zones_only():
    zones = current_zones()
    for name in ("Europe/London", "Europe/Oslo", "America/Indiana/Indianapolis", "Asia/Kolkata", "Pacific/Auckland"):
        assert name in zones, name
    for name in ("US/East-Indiana", "Asia/Calcutta", "Etc/GMT+5", "Brazil/East", "GB", "EST5EDT", "UTC"):
        assert name not in zones, name
    assert set(zones) <= zoneinfo.available_timezones()


def test_without_the_lists_places_are_offered(no_tables):
    zones = current_zones()
    assert "Europe/London" in zones
    assert not {"US/Eastern", "Etc/GMT+5", "UTC"} & set(zones)
    assert renamed_zones() == {}


def test_obsolete_names_lead_to_current_ones():
    renamed = renamed_zones()
    assert renamed["Asia/Calcutta"] == "Asia/Kolkata"
    assert renamed["Europe/Kiev"] == "Europe/Kyiv"
    assert "Europe/Oslo" not in renamed


def test_the_first_choice_stands_on_top_and_once():
    top, utc, africa = zone_choices("Europe/London")[:3]
    assert (top, utc) == (("Europe/London", "Europe/London"), ("UTC", "UTC"))
    assert africa[0] == "Africa"
    europe = dict(zone_choices("Europe/London")[2:])["Europe"]
    assert "Europe/London" not in dict(europe)
    assert dict(dict(zone_choices()[1:])["America"])["America/New_York"] == "America/New York"


def test_a_stored_obsolete_zone_stays_selectable(client_of, teacher):
    Studio.objects.update(timezone="Asia/Calcutta")
    mine = client_of(teacher)
    page = mine.get("/settings").content.decode()
    assert '<option value="Asia/Calcutta" selected>Asia/Calcutta</option>' in page
    assert "Asia/Saigon" not in page
    fields = {"studio-name": "Lindenhof Studio", "studio-timezone": "Asia/Calcutta", "studio-paper": "A4"}
    fields |= {
        "studio-terms": "british",
        "studio-a4_hz": "442",
        "studio-week_start": "0",
        "studio-string_signs": "roman",
    }
    fields |= {"profile-name": "Ada Fell", "profile-email": "ada@example.org"}
    assert mine.post("/settings", fields).status_code == 302
    assert mine.post("/settings", fields | {"studio-timezone": "Asia/Saigon"}).status_code == 422
    studio = Studio.objects.get()
    assert (studio.timezone, studio.a4_hz) == ("Asia/Calcutta", 442)
