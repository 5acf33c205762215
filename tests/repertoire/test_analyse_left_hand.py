"""The left hand in `analyse`: of a file, and of bare note lists."""

import json
from pathlib import Path

import pytest
from django.core.management import call_command

STUDY = Path(__file__).resolve().parents[2] / "fixtures" / "music" / "evening-boat.musicxml"
HEAD = "pitch_midi,onset_quarters,duration_quarters,string,finger\n"


def run(capsys, *words):
    call_command("analyse", *map(str, words))
    return capsys.readouterr().out


def test_a_file_gives_its_left_hand(capsys):
    found = json.loads(run(capsys, STUDY, "--part", "1", "--json"))
    for entry in found["notes"]:
        assert entry["string"] in (1, 2, 3, 4)
        assert entry["finger"] in range(5)
        assert 0 <= entry["weight"] <= 1
        assert entry["distance_mm"] >= 0
    assert any(entry["marked"] for entry in found["notes"])
    for shift in found["shifts"]:
        assert shift["guide_starting"] or shift["guide_arriving"]
    assert 1 <= len(found["alternatives"]) <= 3
    assert len(found["alternatives"][0]["string"]) == len(found["notes"])


def test_alternatives_and_character_can_be_chosen(capsys):
    found = json.loads(run(capsys, STUDY, "--part", "1", "--alternatives", "0", "--preset", "low and clear"))
    assert "alternatives" not in found


def test_a_folder_of_note_lists_is_written_file_by_file(tmp_path, capsys):
    folder, out = tmp_path / "lists", tmp_path / "made" / "here"
    folder.mkdir()
    (folder / "one.csv").write_text(HEAD + "69,0,1,,\n71,1,1,2,1\n")
    (folder / "two.csv").write_text(HEAD + "60,0,1,,\n")
    assert run(capsys, "--notes", folder, "--out", out, "--instrument", "viola") == ""
    assert sorted(p.name for p in out.iterdir()) == ["one.json", "two.json"]
    found = json.loads((out / "one.json").read_text())
    assert len(found["notes"]) == 2
    assert found["instrument"] == "viola"


def test_one_note_list_is_printed(tmp_path, capsys):
    (tmp_path / "one.csv").write_text(HEAD + "69,0,1,,\n71,1,1,,\n")
    found = json.loads(run(capsys, "--notes", tmp_path / "one.csv", "--alternatives", "2"))
    assert len(found["notes"]) == 2
    assert found["alternatives"]


@pytest.mark.parametrize("words", [(), ("--notes", "nowhere.csv"), (str(STUDY), "--notes", "x.csv", "--part", "1")])
def test_what_can_not_be_done_is_said_on_standard_error(words, capsys):
    with pytest.raises(SystemExit):
        call_command("analyse", *words)
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err


def test_a_faulty_list_is_named_with_its_row(tmp_path, capsys):
    (tmp_path / "odd.csv").write_text(HEAD + "69,0,1,,\nhigh,1,1,,\n")
    with pytest.raises(SystemExit):
        call_command("analyse", "--notes", str(tmp_path / "odd.csv"))
    assert "odd.csv: Row 3" in capsys.readouterr().err
