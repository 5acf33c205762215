"""Files of notation of either format: MusicXML or ABC, told apart by what they hold."""

from __future__ import annotations

from typing import Literal

from . import abc, musicxml
from .musicxml import Contents, FileError, ReadPart
from .opening import PACKED_LIMIT

__all__ = ["Contents", "FileError", "ReadPart", "format_of", "list_contents", "read_part"]


def format_of(data: bytes, file_name: str) -> Literal["musicxml", "abc"]:
    """The format of a file; what is neither is left to the reader of MusicXML to refuse."""
    return "abc" if abc.is_abc(data, file_name) else "musicxml"


def list_contents(data: bytes, file_name: str, *, limit: int = PACKED_LIMIT) -> Contents:
    """The parts a file holds, or the tunes. Raises FileError."""
    reader = abc if format_of(data, file_name) == "abc" else musicxml
    return reader.list_contents(data, file_name, limit=limit)


def read_part(data: bytes, file_name: str, part: str | int, *, limit: int = PACKED_LIMIT) -> ReadPart:
    """One part, or one tune, by its number from 1. Raises FileError."""
    reader = abc if format_of(data, file_name) == "abc" else musicxml
    return reader.read_part(data, file_name, part, limit=limit)
