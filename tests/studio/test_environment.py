"""The settings refuse nonsense when the program starts, in words that say what to write instead."""

from __future__ import annotations

import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


def start(folder, show="DEBUG", **variables):
    """Start the program with these variables alone; returns what it prints and its last line of complaint."""
    environment = {"PATH": os.environ["PATH"], "PASSAGEWORK_DATA": str(folder)} | variables
    ran = subprocess.run(
        [sys.executable, "-c", f"from studio import settings; print(settings.{show})"],
        cwd=ROOT,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    return ran.stdout.strip(), ran.stderr.strip().rpartition("\n")[2]


@pytest.mark.parametrize(
    ("variable", "value", "complaint"),
    [
        ("PASSAGEWORK_DEBUG", "perhaps", "write yes or no"),
        ("PASSAGEWORK_HTTPS", "443", "write yes or no"),
        ("PASSAGEWORK_UPLOAD_MB", "0", "write a whole number from 1 to 500"),
        ("PASSAGEWORK_UPLOAD_MB", "many", "write a whole number from 1 to 500"),
        ("PASSAGEWORK_SIGN_IN_TRIES", "1", "write a whole number from 3 to 100"),
        ("PASSAGEWORK_WORKERS", "0", "write a whole number from 1 to 32"),
        ("PASSAGEWORK_ADDRESS", "studio.example", "write it like https://studio.home.arpa"),
        ("PASSAGEWORK_ADDRESS", "https://studio.example/home", "write it like https://studio.home.arpa"),
        ("PASSAGEWORK_HOSTS", "https://studio.example/", "write host names alone"),
        ("PASSAGEWORK_HOSTS", "studio.example:8000", "write host names alone"),
        ("PASSAGEWORK_BIND", "8000", "write it like 127.0.0.1:8000"),
        ("PASSAGEWORK_BIND", "127.0.0.1:99999", "write it like 127.0.0.1:8000"),
        ("PASSAGEWORK_SECRET_KEY", "secret", "40 characters at least"),
        ("PASSAGEWORK_DATABASE", "mysql://a:b@localhost/c", "SQLite or PostgreSQL"),
        ("PASSAGEWORK_DATABASE", "nowhere", "can’t be read"),
    ],
)
def test_nonsense_is_refused(tmp_path, variable, value, complaint):
    shown, said = start(tmp_path, **{variable: value})
    assert shown == ""
    assert "ImproperlyConfigured" in said
    assert variable in said
    assert complaint in said


def test_a_data_folder_that_cannot_be_made_is_said(tmp_path):
    (tmp_path / "file").write_text("")
    _, said = start(tmp_path / "file" / "data")
    assert "PASSAGEWORK_DATA" in said


def test_without_any_variable_it_is_closed(tmp_path):
    shown = "DEBUG, settings.HTTPS, settings.DEMO, settings.ALLOWED_HOSTS, settings.BIND"
    assert start(tmp_path, shown)[0] == "False False False ['127.0.0.1', 'localhost', '[::1]'] 127.0.0.1:8000"


def test_https_makes_cookies_secure_and_redirects(tmp_path):
    secure = ("SESSION_COOKIE_SECURE", "CSRF_COOKIE_SECURE", "SECURE_SSL_REDIRECT", "CSRF_TRUSTED_ORIGINS")
    shown = ", settings.".join(secure)
    assert start(tmp_path, shown, PASSAGEWORK_HTTPS="yes", PASSAGEWORK_HOSTS="studio.home.arpa")[0] == (
        "True True True ['https://studio.home.arpa']"
    )


class TestSecretKey:
    def test_it_is_made_once_and_for_its_owner_alone(self, tmp_path):
        first, _ = start(tmp_path / "data", "SECRET_KEY")
        second, _ = start(tmp_path / "data", "SECRET_KEY")
        assert first == second
        assert len(first) >= 40
        assert stat.S_IMODE((tmp_path / "data" / "secret-key").stat().st_mode) == 0o600
        assert stat.S_IMODE((tmp_path / "data").stat().st_mode) == 0o700

    def test_a_short_one_is_refused(self, tmp_path):
        (tmp_path / "secret-key").write_text("short")
        assert "too short" in start(tmp_path)[1]
