"""Bare note lists in, one entry a row out."""

import json

import pytest

from repertoire.notation.notes_csv import NotesError, analyse_notes, note_files, read_notes

HEAD = "pitch_midi,onset_quarters,duration_quarters,string,finger\n"


def test_every_row_has_an_entry_in_order():
    notes = read_notes(HEAD + "69,0,0.5,,\n71,0.5,0.5,2,1\n72,1,1,,\n\n40,3,1,,\n")
    found = analyse_notes(notes, "violin")
    assert json.loads(json.dumps(found)) == found
    assert [entry["marked"] for entry in found["notes"]] == [False, True, False, None]
    assert (found["notes"][1]["string"], found["notes"][1]["finger"], found["notes"][1]["position"]) == (2, 1, 1)
    assert found["notes"][1]["distance_mm"] == 35.8  # [A] 328 · (1 − 2^(−2/12))
    assert found["notes"][3]["string"] is None
    assert "below the violin" in found["findings"][0]["message"]
    assert "alternatives" not in found


def test_rows_with_one_onset_are_a_double_stop_and_columns_may_come_in_any_order():
    notes = read_notes("duration_quarters,pitch_midi,onset_quarters\n1,71,0\n1,67,0\n")
    found = analyse_notes(notes, "violin")["notes"]
    assert (found[0]["string"], found[1]["string"]) == (2, 3)


def test_alternatives_come_when_asked_for():
    rows = "".join(f"{m},{n * 0.5},0.5,,\n" for n, m in enumerate([69, 71, 73, 74, 76, 78, 79, 78, 76, 74, 73, 71]))
    found = analyse_notes(read_notes(HEAD + rows), "violin", alternatives=3)
    assert 2 <= len(found["alternatives"]) <= 3
    for alternative in found["alternatives"]:
        assert len(alternative["string"]) == len(alternative["finger"]) == len(alternative["position"]) == 12
        assert alternative["facts"]["highest_position"] >= 1


@pytest.mark.parametrize(
    "text, words",
    [
        ("pitch,onset_quarters,duration_quarters\n", "pitch_midi"),
        (HEAD + "69,0,one,,\n", "Row 2"),
        (HEAD + "69,0,1,5,\n", "string from 1 to 4"),
        (HEAD + "69,0,1,,7\n", "finger from 0 to 4"),
        (HEAD + "69\n", "fewer cells"),
        (HEAD + "200,0,1,,\n", "0 to 127"),
    ],
)
def test_what_can_not_be_read_is_said_with_its_row(text, words):
    with pytest.raises(NotesError, match=words):
        read_notes(text)


def test_files_are_named_one_by_one_or_by_folder(tmp_path):
    for name in ("b.csv", "a.csv", "c.txt"):
        (tmp_path / name).write_text(HEAD)
    assert [p.name for p in note_files([tmp_path])] == ["a.csv", "b.csv"]
    with pytest.raises(NotesError, match="one file"):
        note_files([tmp_path, tmp_path / "a.csv"])
    with pytest.raises(NotesError, match="no file"):
        note_files([tmp_path / "z.csv"])
