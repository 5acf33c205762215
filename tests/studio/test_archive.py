"""Backup and restore: into an empty folder and compared; damaged archives change nothing."""

from __future__ import annotations

import hashlib
import io
import json
import os
import sqlite3
import stat
import tarfile
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from studio import archive as archiving
from studio.archive import ArchiveError, back_up, holds_studio, restore
from studio.models import Student


@pytest.fixture
def folder(tmp_path):
    """A studio's data folder: a database with one row, two uploads, a sheet."""
    data = tmp_path / "data"
    (data / "uploads" / "parts").mkdir(parents=True)
    (data / "sheets").mkdir()
    (data / "uploads" / "parts" / "study.musicxml").write_bytes(b"<score-partwise/>")
    (data / "uploads" / "empty.txt").write_bytes(b"")
    (data / "sheets" / "7-3.pdf").write_bytes(b"%PDF-1.7 " + bytes(range(256)) * 5000)
    (data / "secret-key").write_text("k" * 50)
    database = sqlite3.connect(data / "passagework.sqlite3")
    database.execute("PRAGMA journal_mode=WAL")
    database.execute("CREATE TABLE lesson (note TEXT)")
    database.execute("INSERT INTO lesson VALUES ('slow bows')")
    database.commit()
    database.close()
    return data


def make(folder, archive):
    return back_up(
        archive,
        database=folder / "passagework.sqlite3",
        uploads=folder / "uploads",
        sheets=folder / "sheets",
    )


def files_of(folder):
    """Every file but the database and the key, by name, with its bytes."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and path.parent != folder
    }


def notes_of(folder):
    database = sqlite3.connect(folder / "passagework.sqlite3")
    try:
        return [row[0] for row in database.execute("SELECT note FROM lesson")]
    finally:
        database.close()


def test_nobody_is_signed_in_by_an_archive(folder, tmp_path):
    source = sqlite3.connect(folder / "passagework.sqlite3")
    source.execute("CREATE TABLE django_session (session_key TEXT)")
    source.execute("INSERT INTO django_session VALUES ('live-and-signed-in')")
    source.commit()
    make(folder, tmp_path / "whole.tar.gz")
    restore(tmp_path / "whole.tar.gz", tmp_path / "again")
    assert b"live-and-signed-in" not in (tmp_path / "again" / "passagework.sqlite3").read_bytes()
    assert source.execute("SELECT count(*) FROM django_session").fetchone() == (1,), "the studio goes on"
    source.close()
    assert notes_of(tmp_path / "again") == ["slow bows"]


def delete_the_study(folder):
    """As the studio does it: the row first, then the file."""
    database = sqlite3.connect(folder / "passagework.sqlite3")
    database.execute("DELETE FROM lesson")
    database.commit()
    database.close()
    (folder / "uploads" / "parts" / "study.musicxml").unlink(missing_ok=True)


@pytest.mark.parametrize(("step", "after"), [("_copy_database", True), ("_describe", False), ("_write", False)])
def test_what_is_deleted_while_it_runs_is_in_neither_the_database_nor_the_files(
    folder, tmp_path, monkeypatch, step, after
):
    real = getattr(archiving, step)

    def meanwhile(*asked):
        done = real(*asked) if after else None
        delete_the_study(folder)
        return done if after else real(*asked)

    monkeypatch.setattr(archiving, step, meanwhile)
    make(folder, tmp_path / "whole.tar.gz")
    restore(tmp_path / "whole.tar.gz", tmp_path / "again")
    assert notes_of(tmp_path / "again") == []
    assert set(files_of(tmp_path / "again")) == {"sheets/7-3.pdf", "uploads/empty.txt"}
    assert not list(tmp_path.glob(".passagework-backup-*"))


def test_files_deleted_without_end_are_told(folder, tmp_path, monkeypatch):
    real = archiving._copy_database

    def meanwhile(source, target):
        next(path for path in (folder / "uploads").rglob("*") if path.is_file()).unlink()
        (folder / "uploads" / f"{target.parent.name}.txt").write_bytes(b"another")
        real(source, target)

    monkeypatch.setattr(archiving, "_copy_database", meanwhile)
    with pytest.raises(ArchiveError, match="make it again later"):
        make(folder, tmp_path / "whole.tar.gz")
    assert not (tmp_path / "whole.tar.gz").exists()


@pytest.fixture
def archive(folder, tmp_path):
    path = tmp_path / "studio.tar.gz"
    make(folder, path)
    return path


class TestThereAndBack:
    def test_into_an_empty_folder(self, folder, archive, tmp_path):
        there = tmp_path / "elsewhere" / "data"
        assert restore(archive, there) is None
        assert files_of(there) == files_of(folder)
        assert set(files_of(there)) == {"uploads/parts/study.musicxml", "uploads/empty.txt", "sheets/7-3.pdf"}
        assert notes_of(there) == ["slow bows"]
        assert stat.S_IMODE(there.stat().st_mode) == 0o700
        assert stat.S_IMODE((there / "passagework.sqlite3").stat().st_mode) == 0o600

    def test_the_key_is_not_in_the_archive_and_the_one_in_place_stays(self, archive, tmp_path):
        with tarfile.open(archive) as tar:
            assert tar.getnames() == [
                "manifest.json",
                "passagework.sqlite3",
                "sheets/7-3.pdf",
                "uploads/empty.txt",
                "uploads/parts/study.musicxml",
            ]
        there = tmp_path / "there"
        there.mkdir()
        (there / "secret-key").write_text("x" * 50)
        restore(archive, there)
        assert (there / "secret-key").read_text() == "x" * 50

    def test_the_archive_is_for_its_owner_alone(self, archive):
        assert stat.S_IMODE(archive.stat().st_mode) == 0o600

    def test_while_somebody_writes(self, folder, tmp_path):
        writer = sqlite3.connect(folder / "passagework.sqlite3", isolation_level=None)
        writer.execute("INSERT INTO lesson VALUES ('kept')")
        writer.execute("BEGIN IMMEDIATE")
        writer.execute("INSERT INTO lesson VALUES ('not yet kept')")
        make(folder, tmp_path / "busy.tar.gz")
        writer.execute("ROLLBACK")
        writer.close()
        restore(tmp_path / "busy.tar.gz", tmp_path / "there")
        assert notes_of(tmp_path / "there") == ["slow bows", "kept"]

    def test_an_archive_in_the_way_is_not_overwritten(self, folder, archive):
        before = archive.read_bytes()
        with pytest.raises(ArchiveError, match="there already"):
            make(folder, archive)
        assert archive.read_bytes() == before


class TestAStudioInTheWay:
    def test_it_is_refused(self, folder, archive):
        with pytest.raises(ArchiveError, match="holds a studio already"):
            restore(archive, folder)
        assert notes_of(folder) == ["slow bows"]

    def test_or_kept_beside(self, folder, archive):
        (folder / "sheets" / "newer.pdf").write_bytes(b"%PDF newer")
        kept = restore(archive, folder, replace=True)
        assert kept is not None
        assert (kept / "sheets" / "newer.pdf").read_bytes() == b"%PDF newer"
        assert not (folder / "sheets" / "newer.pdf").exists()
        assert notes_of(folder) == ["slow bows"]
        assert (folder / "secret-key").read_text() == "k" * 50

    def test_not_while_it_is_served(self, folder, archive):
        (folder / "serving.pid").write_text(str(os.getpid()))
        with pytest.raises(ArchiveError, match="stop it first"):
            restore(archive, folder, replace=True)

    def test_what_counts_as_a_studio(self, tmp_path):
        assert not holds_studio(tmp_path / "nothing")
        (tmp_path / "secret-key").write_text("x")
        (tmp_path / "uploads").mkdir()
        assert not holds_studio(tmp_path)
        (tmp_path / "uploads" / "part.xml").write_text("x")
        assert holds_studio(tmp_path)


def rewrite(archive, change):
    """Read an archive's members into a dict, let `change` alter it, and write it again."""
    with tarfile.open(archive) as tar:
        members = {member.name: tar.extractfile(member).read() for member in tar}
    change(members)
    with tarfile.open(archive, "w:gz") as tar:
        for name, raw in members.items():
            member = tarfile.TarInfo(name)
            member.size = len(raw)
            tar.addfile(member, io.BytesIO(raw))


def in_manifest(members, change):
    manifest = json.loads(members["manifest.json"])
    change(manifest)
    members["manifest.json"] = json.dumps(manifest).encode()


def entry(name, raw):
    return {"name": name, "size": len(raw), "sha256": hashlib.sha256(raw).hexdigest()}


def another_byte(members):
    members["sheets/7-3.pdf"] = members["sheets/7-3.pdf"][:-1] + b"!"


def one_missing(members):
    del members["uploads/parts/study.musicxml"]


def one_too_many(members):
    members["uploads/other.xml"] = b"<x/>"


def longer(members):
    members["uploads/empty.txt"] = b"now longer"


def up_the_tree(members):
    members["uploads/../../escaped.txt"] = b"out"
    in_manifest(members, lambda manifest: manifest["files"].append(entry("uploads/../../escaped.txt", b"out")))


def from_the_root(members):
    members["/tmp/escaped.txt"] = b"out"
    in_manifest(members, lambda manifest: manifest["files"].append(entry("/tmp/escaped.txt", b"out")))


def a_key(members):
    members["secret-key"] = b"x" * 50
    in_manifest(members, lambda manifest: manifest["files"].append(entry("secret-key", b"x" * 50)))


def no_database(members):
    del members["passagework.sqlite3"]
    in_manifest(members, lambda manifest: manifest["files"].pop(0))


def broken_database(members):
    raw = b"SQLite format 3\0" + b"nonsense" * 1000
    members["passagework.sqlite3"] = raw

    def change(manifest):
        manifest["files"][0] = entry("passagework.sqlite3", raw)

    in_manifest(members, change)


def another_format(members):
    in_manifest(members, lambda manifest: manifest.update(format=2))


def no_manifest(members):
    del members["manifest.json"]


def torn_manifest(members):
    members["manifest.json"] = members["manifest.json"][:40]


@pytest.mark.parametrize(
    ("damage", "message"),
    [
        (another_byte, "“sheets/7-3.pdf” is not what the manifest says"),
        (one_missing, "“uploads/parts/study.musicxml” is missing"),
        (one_too_many, "“uploads/other.xml” does not belong in it"),
        (longer, "“uploads/empty.txt” is not what the manifest says"),
        (up_the_tree, "no file of a studio"),
        (from_the_root, "no file of a studio"),
        (a_key, "no file of a studio"),
        (no_database, "has no database"),
        (broken_database, "database"),
        (another_format, "has format 2"),
        (no_manifest, "does not begin with a manifest"),
        (torn_manifest, "manifest can’t be read"),
    ],
)
class TestDamage:
    def test_it_is_refused_and_nothing_is_left(self, archive, tmp_path, damage, message):
        rewrite(archive, damage)
        place = tmp_path / "place"
        place.mkdir()
        with pytest.raises(ArchiveError, match=message):
            restore(archive, place / "data")
        assert list(place.iterdir()) == []
        assert not (tmp_path / "escaped.txt").exists()
        assert not Path("/tmp/escaped.txt").exists()

    def test_a_studio_in_place_stays_as_it_was(self, folder, archive, tmp_path, damage, message):
        rewrite(archive, damage)
        before = files_of(folder)
        with pytest.raises(ArchiveError, match=message):
            restore(archive, folder, replace=True)
        assert files_of(folder) == before
        assert notes_of(folder) == ["slow bows"]
        assert sorted(path.name for path in tmp_path.iterdir()) == ["data", "studio.tar.gz"]


@pytest.mark.parametrize("keep", [0, 10, 1000, -1])
def test_a_torn_archive(archive, tmp_path, keep):
    archive.write_bytes(archive.read_bytes()[:keep])
    with pytest.raises(ArchiveError, match=r"damaged|not a backup"):
        restore(archive, tmp_path / "there")
    assert not (tmp_path / "there").exists()


def test_a_link_in_the_archive_is_refused(archive, tmp_path):
    with tarfile.open(archive) as tar:
        members = {member.name: tar.extractfile(member).read() for member in tar}
    with tarfile.open(archive, "w:gz") as tar:
        for name, raw in members.items():
            member = tarfile.TarInfo(name)
            if name == "uploads/empty.txt":
                member.type, member.linkname = tarfile.SYMTYPE, "/etc/passwd"
                tar.addfile(member)
            else:
                member.size = len(raw)
                tar.addfile(member, io.BytesIO(raw))
    with pytest.raises(ArchiveError, match="does not belong in it"):
        restore(archive, tmp_path / "there")


@pytest.mark.django_db(transaction=True)
class TestCommands:
    """The commands on the tests' own database."""

    def test_there_and_back(self, student, settings, tmp_path, capsys):
        from django.db import connection

        if connection.vendor != "sqlite":
            pytest.skip("the commands leave PostgreSQL to its own tools")
        settings.MEDIA_ROOT, settings.SHEETS_ROOT = tmp_path / "u", tmp_path / "s"
        (tmp_path / "u").mkdir()
        (tmp_path / "u" / "part.xml").write_bytes(b"<x/>")
        call_command("backup", str(tmp_path / "b.tar.gz"))
        assert "the database and 1 files" in capsys.readouterr().out
        from studio.management.commands.restore import check_version

        restore(tmp_path / "b.tar.gz", tmp_path / "there", check_database=check_version)
        database = sqlite3.connect(tmp_path / "there" / "passagework.sqlite3")
        assert database.execute("SELECT first_name FROM studio_student").fetchall() == [("Mira",)]
        database.close()
        assert Student.objects.count() == 1

    def test_an_archive_of_a_newer_version_is_refused(self, student, tmp_path):
        from django.db import connection

        from studio.management.commands.restore import check_version

        if connection.vendor != "sqlite":
            pytest.skip("the commands leave PostgreSQL to its own tools")
        call_command("backup", str(tmp_path / "b.tar.gz"))

        def from_the_future(members):
            (tmp_path / "db").write_bytes(members["passagework.sqlite3"])
            database = sqlite3.connect(tmp_path / "db")
            database.execute("INSERT INTO django_migrations (app, name, applied) VALUES ('studio', '0999_later', '')")
            database.commit()
            database.close()
            members["passagework.sqlite3"] = (tmp_path / "db").read_bytes()
            raw = members["passagework.sqlite3"]
            in_manifest(members, lambda manifest: manifest["files"].__setitem__(0, entry("passagework.sqlite3", raw)))

        rewrite(tmp_path / "b.tar.gz", from_the_future)
        with pytest.raises(ArchiveError, match="newer version"):
            restore(tmp_path / "b.tar.gz", tmp_path / "there", check_database=check_version)

    def test_restore_speaks_plainly(self, tmp_path, settings):
        with pytest.raises(CommandError, match=r"outside the data folder|PostgreSQL"):
            call_command("restore", str(tmp_path / "nothing.tar.gz"))
