"""jawline check: photos and folders of them, good and bad files together, in one or several processes."""

from __future__ import annotations

import csv
import io
import json
import os
from functools import cache
from pathlib import Path

import pytest
from PIL import Image

from calib.written import printable
from measure.check.rules import INEXACT_MM
from measure.cli.app import app
from measure.cli.run import run
from measure.steps import check as step
from measure.steps.check import Checked, _first_of_same, check_photo, table_lines
from measure.tracing.request import Request
from tests.sample_photos import FOLDER, save, scene, without
from tests.spoiled_photos import blurred


class Said:
    """What a command printed, and its exit code."""

    def __init__(self, capsys: pytest.CaptureFixture[str], *words: object) -> None:
        capsys.readouterr()
        self.code = run(app, [str(w) for w in words])
        self.out, self.err = capsys.readouterr()


@cache
def half() -> bytes:
    """The sample at half its size, as a JPEG."""
    out = io.BytesIO()
    Image.fromarray(scene().rgb).save(out, "JPEG", quality=92)
    return out.getvalue()


@pytest.fixture
def inbox(tmp_path: Path) -> Path:
    """A folder as a mailbox leaves it."""
    folder = tmp_path / "in box, “Mai” 🔧"
    folder.mkdir()
    (folder / "Klappe 'neu' 🔧.jpg").write_bytes(half())
    (folder / "=copy.jpg").write_bytes(half())
    (folder / "cut.jpg").write_bytes(half()[:60000])
    (folder / "film.mp4").write_bytes(b"\0\0\0\x20ftypmp42" + bytes(2000))
    (folder / "notes.txt").write_text("see attached")
    (folder / "zero.jpg").touch()
    (folder / "zero2.jpg").touch()
    (folder / ".hidden").write_text("of a file manager")
    (folder / "deeper").mkdir()
    return folder


NAMES = ["=copy.jpg", "Klappe 'neu' 🔧.jpg", "cut.jpg", "film.mp4", "notes.txt", "zero.jpg", "zero2.jpg"]


@pytest.mark.parametrize("jobs", [1, 2])
def test_a_folder_is_worked_through_whatever_is_in_it(
    capsys: pytest.CaptureFixture[str], inbox: Path, jobs: int
) -> None:
    before = sorted(p.name for p in inbox.rglob("*"))
    said = Said(capsys, "check", inbox, "--thickness", "4.2", "--json", "--jobs", jobs)
    assert said.code == 1
    told = json.loads(said.out)
    assert (told["step"], told["good"], told["usable"], told["retake"]) == ("check", 0, 2, 5)
    found = {p["file"]: p for p in told["photos"]}
    assert list(found) == NAMES
    assert found["Klappe 'neu' 🔧.jpg"]["same_as"] == "=copy.jpg"
    assert found["Klappe 'neu' 🔧.jpg"]["reasons"] == found["=copy.jpg"]["reasons"]
    assert found["zero2.jpg"]["same_as"] is None
    first = {name: p["reasons"][0]["code"] for name, p in found.items()}
    assert first["cut.jpg"] == "photo-truncated"
    assert first["film.mp4"] == first["notes.txt"] == "not-a-photo"
    assert first["zero.jpg"] == "photo-empty"
    assert first["=copy.jpg"] == "too-far"
    # a small photo without EXIF, of an upper edge nobody spoke of: said to be inexact, by what the trace is sure of
    assert found["=copy.jpg"]["u95_50_mm"] > INEXACT_MM
    assert "inexact" in {r["code"] for r in found["=copy.jpg"]["reasons"]}
    assert found["cut.jpg"]["u95_50_mm"] is None
    assert "[6/6]" in said.err
    assert "[7/" not in said.err  # the copy is not worked again
    assert sorted(p.name for p in inbox.rglob("*")) == before  # nothing is written


def test_csv_is_a_table(capsys: pytest.CaptureFixture[str], inbox: Path) -> None:
    for name in ("Klappe 'neu' 🔧.jpg", "=copy.jpg"):
        (inbox / name).unlink()
    said = Said(capsys, "check", inbox, "--csv")
    rows = list(csv.DictReader(io.StringIO(said.out)))
    assert [r["file"] for r in rows] == NAMES[2:]
    assert {r["verdict"] for r in rows} == {"retake"}
    assert rows[0]["codes"] == "photo-truncated"
    assert rows[0]["reply"].startswith("Thank you")


def test_stopped_by_hand_it_says_what_it_has_found_by_then(
    capsys: pytest.CaptureFixture[str], inbox: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def looks(path: Path, request: Request) -> Checked:
        if path.name == "notes.txt":
            raise KeyboardInterrupt
        return check_photo(path, request)

    monkeypatch.setattr(step, "check_photo", looks)
    said = Said(capsys, "check", inbox, "--csv", "--jobs", "1")
    assert said.code == 130
    assert [r["file"] for r in csv.DictReader(io.StringIO(said.out))] == NAMES[:4]
    assert said.err.splitlines()[-1].startswith("Stopped")
    said = Said(capsys, "check", inbox, "--jobs", "1")
    assert (said.code, "cut.jpg" in said.out, "zero.jpg" in said.out) == (130, True, False)
    said = Said(capsys, "check", inbox, "--jobs", "1", "--json")
    assert (said.code, json.loads(said.out)["error"]["code"]) == (130, "stopped")


def test_one_photo_for_people(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    said = Said(capsys, "check", FOLDER / "photo.jpg", "--thickness", "4.2")
    assert said.code == 0
    assert said.out.splitlines()[0].startswith("photo.jpg  good    50 mm ± 0.")
    assert "card-digits" in said.out
    assert "Reply: Thank you for the photo" in said.out
    assert said.err == ""


def test_with_a_sheet_for_a_reference_nobody_is_told_about_a_card(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    photo = save(without(scene().rgb, scene().card_px), tmp_path / "a.jpg")
    said = Said(capsys, "check", photo, "--reference", "a4", "--json")
    assert said.code == 1
    found = json.loads(said.out)["photos"][0]
    assert found["verdict"] == "retake"
    texts = [found["reply"], *(r["text"] for r in found["reasons"])]
    assert any("A4 sheet" in t for t in texts)
    assert not any("card" in t for t in texts)


def test_a_photo_without_a_card_must_be_taken_again(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    photo = save(blurred(without(scene().rgb, scene().card_px), 3), tmp_path / "a.jpg")
    said = Said(capsys, "check", photo, "--json")
    assert said.code == 1
    found = json.loads(said.out)["photos"][0]
    assert found["verdict"] == "retake"
    assert "blurred" in [r["code"] for r in found["reasons"]]


@pytest.mark.parametrize(
    ("words", "part"),
    [
        (["nowhere.jpg"], "There is no file nowhere.jpg"),
        (["."], "There is no file in the folder"),
        ([], "PHOTO"),
        (["a.jpg", "--jobs", "0"], "--jobs is a number"),
        (["a.jpg", "--jobs", "many"], "--jobs"),
        (["a.jpg", "--thickness", "400"], "look at the decimal point"),
        (["a.jpg", "--json", "--csv"], "exclude each other"),
        (["a.jpg", "--reference", "a5"], "The reference “a5” is not known"),
    ],
)
def test_wrong_usage(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: list[str], part: str
) -> None:
    monkeypatch.chdir(tmp_path)
    said = Said(capsys, "check", *words)
    assert said.code == 2
    assert part in said.err
    assert len(said.err.strip().splitlines()) == 1


def test_a_defect_in_one_photo_is_told_of_that_photo(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "a.jpg").write_bytes(half())

    def breaks(*_: object) -> None:
        raise ZeroDivisionError("of all things")

    monkeypatch.setattr("measure.check.fitness.fitness", breaks)
    said = Said(capsys, "check", tmp_path, "--json")
    assert said.code == 1
    assert json.loads(said.out)["photos"][0]["reasons"][0]["code"] == "unexpected"


def test_the_same_content_is_found_whatever_it_is_called(tmp_path: Path) -> None:
    for name, content in (("a", b"xyz"), ("b", b"xyw"), ("c", b"xyz"), ("d", b""), ("e", b"")):
        (tmp_path / name).write_bytes(content)
    paths = [tmp_path / n for n in "abcdea"]
    assert _first_of_same(paths) == [0, 1, 0, 3, 4, 0]


def test_what_is_no_file_gets_a_line_and_asks_its_owner_nothing(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    (tmp_path / "gone.jpg").symlink_to(tmp_path / "nowhere.jpg")
    (tmp_path / "round.jpg").symlink_to("round.jpg")
    os.mkfifo(tmp_path / "pipe.jpg")
    (tmp_path / "unpacked.JPG").mkdir()
    (tmp_path / "deeper").mkdir()
    given = [tmp_path / "gone.jpg", tmp_path]  # as a shell would expand a star
    said = Said(capsys, "check", *given, "--json", "--jobs", "1")
    assert said.code == 1
    found = {x["file"]: x for x in json.loads(said.out)["photos"]}
    assert {name: x["reasons"][0]["code"] for name, x in found.items()} == {
        "gone.jpg": "no-file",
        "round.jpg": "no-file",
        "pipe.jpg": "not-a-file",
        "unpacked.JPG": "not-a-file",
    }
    assert {x["reply"] for x in found.values()} == {""}
    assert "Reply" not in Said(capsys, "check", tmp_path / "pipe.jpg").out


def test_names_cannot_move_the_cursor() -> None:
    assert printable("a\x1b[2J\nb.jpg") == "a?[2J?b.jpg"
    lines = table_lines([Checked("a\x1b[2J.jpg", "good", (), None, "Thank you.")])
    assert not any("\x1b" in line for line in lines)
