"""Backup and restore of a studio: one .tar.gz with the database, the uploads, the sheets and a manifest.

The database is copied through SQLite's own backup interface, so the studio may be in use; it is
copied before the files, so that whatever it names is in the archive. A file never changes, but it may
go, after the row that names it: when one goes meanwhile, the database is copied afresh as well.
A restore unpacks beside the data folder, checks every byte against the manifest, and only then
puts the new folder in the old one's place: there is never a half-restored studio.
"""

from __future__ import annotations

import gzip
import hashlib
import io
import json
import os
import shutil
import sqlite3
import tarfile
import tempfile
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath
from typing import IO, Any

FORMAT = 1
DATABASE = "passagework.sqlite3"
FOLDERS = ("uploads", "sheets")
KEY = "secret-key"
_NO_STUDIO = {KEY, "serving.pid"}
_MANIFEST = "manifest.json"
_MANIFEST_LIMIT = 64 * 1024 * 1024  # bytes
_BLOCK = 1024 * 1024
_TRIES = 5


class ArchiveError(Exception):
    """Says what is wrong with an archive or a folder, for the person at the command line."""


@dataclass(frozen=True)
class Entry:
    """One file of an archive: its name there, its size in bytes, its SHA-256."""

    name: str
    size: int
    sha256: str


def back_up(archive: Path, *, database: Path, uploads: Path, sheets: Path, overwrite: bool = False) -> list[Entry]:
    """Write the archive and return what is in it. Raises ArchiveError.

    The archive appears under its name only when it is whole, readable by its owner alone.
    """
    if archive.exists() and not overwrite:
        raise ArchiveError(f"{archive} is there already: choose another name, or add --overwrite.")
    if not database.is_file():
        raise ArchiveError(f"There is no studio to back up: {database} does not exist.")
    if not archive.parent.is_dir():
        raise ArchiveError(f"The folder {archive.parent} does not exist.")
    for _ in range(_TRIES):
        with tempfile.TemporaryDirectory(dir=archive.parent, prefix=".passagework-backup-") as scratch:
            whole = Path(scratch) / "archive"
            try:
                entries = _gather(whole, Path(scratch) / DATABASE, database, uploads, sheets)
            except FileNotFoundError:
                continue
            os.replace(whole, archive)
            return entries
    raise ArchiveError("Files were deleted again and again while the backup was being made: make it again later.")


def _gather(whole: Path, copy: Path, database: Path, uploads: Path, sheets: Path) -> list[Entry]:
    """Write the archive to `whole`, with the database copied to `copy`. Raises FileNotFoundError when a file
    goes meanwhile."""

    def files() -> dict[str, Path]:
        return {**_files_below("uploads", uploads), **_files_below("sheets", sheets)}

    before = files()
    _copy_database(database, copy)
    sources = files()
    if gone := before.keys() - sources.keys():  # the copy may name it still
        raise FileNotFoundError(min(gone))
    sources[DATABASE] = copy
    entries = [_describe(name, path) for name, path in sorted(sources.items())]
    with os.fdopen(os.open(whole, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as out:
        _write(out, entries, sources)
        out.flush()
        os.fsync(out.fileno())
    return entries


def restore(
    archive: Path,
    folder: Path,
    *,
    replace: bool = False,
    check_database: Callable[[Path], None] = lambda database: None,
) -> Path | None:
    """Put the archive's studio into `folder`. Raises ArchiveError and leaves `folder` as it was.

    A folder with a studio in it is refused unless `replace`; it is then kept beside the new one
    under a name with the time, which is returned.
    """
    if not archive.is_file():
        raise ArchiveError(f"{archive} does not exist.")
    if not replace and holds_studio(folder):
        raise ArchiveError(
            f"{folder} holds a studio already. Restore into an empty folder, or add --replace: "
            "the present folder is then kept beside it."
        )
    _refuse_while_served(folder)
    folder.parent.mkdir(parents=True, exist_ok=True)
    staged = Path(tempfile.mkdtemp(dir=folder.parent, prefix=f".{folder.name}-restoring-"))
    try:
        _unpack(archive, staged)
        _check_integrity(staged / DATABASE)
        check_database(staged / DATABASE)
        if (folder / KEY).is_file():
            shutil.copy2(folder / KEY, staged / KEY)
        return _swap(staged, folder)
    finally:
        shutil.rmtree(staged, ignore_errors=True)


def holds_studio(folder: Path) -> bool:
    """Whether a folder has a database or any file of a studio; a secret key alone is not one."""
    if not folder.is_dir():
        return False
    return any(any(path.iterdir()) if path.is_dir() else path.name not in _NO_STUDIO for path in folder.iterdir())


def _files_below(name: str, folder: Path) -> dict[str, Path]:
    if not folder.is_dir():
        return {}
    return {
        f"{name}/{path.relative_to(folder).as_posix()}": path
        for path in folder.rglob("*")
        if path.is_file() and not path.is_symlink()
    }


def _copy_database(source: Path, target: Path) -> None:
    reading, writing = sqlite3.connect(source, timeout=20), sqlite3.connect(target)
    try:
        reading.backup(writing)
        writing.execute("PRAGMA journal_mode=DELETE")
        _forget_sign_ins(writing)
    finally:
        reading.close()
        writing.close()


def _forget_sign_ins(database: sqlite3.Connection) -> None:
    """Take out who is signed in: with such a row anybody could be, without a password."""
    if database.execute("SELECT 1 FROM sqlite_master WHERE name = 'django_session'").fetchone():
        database.execute("PRAGMA secure_delete=ON")
        database.execute("DELETE FROM django_session")
        database.commit()


def _describe(name: str, path: Path) -> Entry:
    digest, size = hashlib.sha256(), 0
    with path.open("rb") as source:
        while block := source.read(_BLOCK):
            digest.update(block)
            size += len(block)
    return Entry(name, size, digest.hexdigest())


def _write(out: IO[bytes], entries: list[Entry], sources: dict[str, Path]) -> None:
    manifest = {
        "format": FORMAT,
        "made": datetime.now(UTC).isoformat(timespec="seconds"),
        "files": [{"name": entry.name, "size": entry.size, "sha256": entry.sha256} for entry in entries],
    }
    with tarfile.open(fileobj=out, mode="w:gz") as tar:
        raw = json.dumps(manifest, indent=1, ensure_ascii=False).encode()
        _add(tar, _MANIFEST, len(raw), io.BytesIO(raw))
        for entry in entries:
            with sources[entry.name].open("rb") as source:
                _add(tar, entry.name, entry.size, source)


def _add(tar: tarfile.TarFile, name: str, size: int, source: IO[bytes]) -> None:
    member = tarfile.TarInfo(name)
    member.size, member.mode, member.mtime = size, 0o600, int(datetime.now(UTC).timestamp())
    tar.addfile(member, source)


def _unpack(archive: Path, staged: Path) -> None:
    """Unpack into an empty folder, checking names, sizes and hashes. Nothing is trusted but the manifest's hashes."""
    try:
        with tarfile.open(archive, mode="r:gz") as tar:
            expected = _read_manifest(tar)
            while (member := tar.next()) is not None:
                entry = expected.pop(member.name, None)
                source = tar.extractfile(member) if member.isreg() else None
                if entry is None or source is None:
                    raise ArchiveError(f"The archive is damaged: “{member.name}” does not belong in it.")
                _unpack_one(source, entry, staged)
            _read_to_the_end(tar)
    except (tarfile.TarError, EOFError, zlib.error, gzip.BadGzipFile) as error:
        raise ArchiveError(f"The archive is damaged or not a backup of a studio ({error}).") from error
    if expected:
        raise ArchiveError(f"The archive is damaged: “{min(expected)}” is missing.")


def _read_to_the_end(tar: tarfile.TarFile) -> None:
    """Read the padding after the last member, so that a torn end is noticed by the compression's own checksum."""
    padding = tar.fileobj.read(_BLOCK) if tar.fileobj else b""
    if padding.strip(b"\0") or len(padding) == _BLOCK:
        raise ArchiveError("The archive is damaged: something follows its last file.")


def _read_manifest(tar: tarfile.TarFile) -> dict[str, Entry]:
    first = tar.next()
    source = tar.extractfile(first) if first is not None and first.isreg() and first.name == _MANIFEST else None
    if first is None or source is None or first.size > _MANIFEST_LIMIT:
        raise ArchiveError("This is not a backup of a studio: it does not begin with a manifest.")
    try:
        manifest: Any = json.loads(source.read())
        version = manifest["format"]
        entries = [Entry(str(raw["name"]), int(raw["size"]), str(raw["sha256"])) for raw in manifest["files"]]
    except (ValueError, KeyError, TypeError) as error:
        raise ArchiveError("The archive is damaged: its manifest can’t be read.") from error
    if version != FORMAT:
        raise ArchiveError(f"The archive has format {version}; this version reads format {FORMAT}. Update first.")
    for entry in entries:
        if not _is_ours(entry.name):
            raise ArchiveError(f"The archive is damaged: it names “{entry.name}”, which is no file of a studio.")
    if DATABASE not in {entry.name for entry in entries}:
        raise ArchiveError("The archive is damaged: it has no database.")
    return {entry.name: entry for entry in entries}


def _is_ours(name: str) -> bool:
    path = PurePosixPath(name)
    plain = "\\" not in name and "\0" not in name and not path.is_absolute() and path.as_posix() == name
    inside = len(path.parts) > 1 and path.parts[0] in FOLDERS and ".." not in path.parts
    return plain and (name == DATABASE or inside)


def _unpack_one(source: IO[bytes], entry: Entry, staged: Path) -> None:
    target = staged / entry.name
    target.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    digest, left = hashlib.sha256(), entry.size
    with os.fdopen(os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as out:
        while block := source.read(_BLOCK):
            left -= len(block)
            if left < 0:
                break
            digest.update(block)
            out.write(block)
    if left or digest.hexdigest() != entry.sha256:
        raise ArchiveError(f"The archive is damaged: “{entry.name}” is not what the manifest says.")


def _check_integrity(database: Path) -> None:
    try:
        connection = sqlite3.connect(database)
        try:
            verdict = connection.execute("PRAGMA integrity_check").fetchone()[0]
        finally:
            connection.close()
    except sqlite3.DatabaseError as error:
        raise ArchiveError(f"The archive’s database can’t be read ({error}).") from error
    if verdict != "ok":
        raise ArchiveError(f"The archive’s database is damaged ({verdict}).")


def _refuse_while_served(folder: Path) -> None:
    try:
        running = int((folder / "serving.pid").read_text())
        os.kill(running, 0)
    except (FileNotFoundError, ValueError, ProcessLookupError):
        return
    except PermissionError:
        pass
    raise ArchiveError("The studio is being served from this folder: stop it first, then restore.")


def _swap(staged: Path, folder: Path) -> Path | None:
    """Exchange the folders by renaming. If the second renaming fails, the first is taken back."""
    kept = None
    if folder.exists():
        kept = folder.with_name(f"{folder.name}-before-{datetime.now():%Y%m%d-%H%M%S}")
        try:
            os.rename(folder, kept)
        except OSError as error:
            raise ArchiveError(f"{folder} can’t be put aside ({error.strerror}); nothing was changed.") from error
    try:
        os.rename(staged, folder)
    except OSError as error:
        if kept:
            os.rename(kept, folder)
        raise ArchiveError(f"The restored folder can’t be put in place ({error.strerror}).") from error
    if kept and not holds_studio(kept):
        shutil.rmtree(kept)
        return None
    return kept
