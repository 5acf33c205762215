"""`manage.py import_part` tells what a file holds, before there is a database."""

import io
import json
from pathlib import Path

import pytest
from django.core.management import call_command

from .small_files import FOUR, bars, note, packed, score

WHOLE = note("C4", 16, "whole")


@pytest.fixture
def file(tmp_path: Path) -> Path:
    data = score(
        bars(FOUR + WHOLE),
        bars(
            FOUR + note("C4", 8, "half", notations='<slur type="start"/><technical><down-bow/></technical>')
            + note("E4", 8, "half", notations='<slur type="stop"/>') + note("G4", 8, "half", chord="<chord/>"),
            WHOLE + "<harmony/>",
            WHOLE,
            FOUR + WHOLE,
            numbers=("1", "2", "3", "1"),
        ),
        names=("Violin", "Viola"),
    )  # fmt: skip
    path = tmp_path / "quartet.mxl"
    path.write_bytes(packed(data))
    return path


def test_counts_range_marks_and_what_was_left_out(file):
    out = io.StringIO()
    call_command("import_part", str(file), part="Viola", stdout=out)
    told = json.loads(out.getvalue())
    assert (told["part"], told["instrument"]) == ("Viola", "viola")
    assert (told["movements"], told["bars"], told["notes"], told["note_heads"]) == (2, 4, 5, 6)
    assert told["range"] == ["C4", "G4"]
    assert told["marks"] == {"bow": 1, "slur": 1}
    assert told["left_out"] == [{"movement": 1, "bar": "2", "what": "A chord symbol.", "count": 1}]


@pytest.mark.parametrize(
    ("part", "message"),
    [("Oboe", "There is no part “Oboe” in this file. It holds: 1 Violin; 2 Viola."), ("7", "There is no part “7”")],
)
def test_a_wrong_part_ends_with_a_message_and_code_1(file, part, message):
    err = io.StringIO()
    with pytest.raises(SystemExit) as ended:
        call_command("import_part", str(file), part=part, stderr=err)
    assert ended.value.code == 1
    assert message in err.getvalue()


def test_a_file_that_is_not_there(tmp_path):
    err = io.StringIO()
    with pytest.raises(SystemExit):
        call_command("import_part", str(tmp_path / "none.mxl"), part="1", stderr=err)
    assert "can’t be opened" in err.getvalue()
