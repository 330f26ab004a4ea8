"""The command line on a job without a photo: words, files, exit codes, one JSON object, nothing of a person's lost."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from measure.cli.app import app
from measure.cli.run import run
from tests.jobs import traced

JAWLINE = [sys.executable, "-c", "from measure.cli import main; main()"]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return traced(tmp_path / "job")


class Said:
    """What a command printed, and its exit code."""

    def __init__(self, capsys: pytest.CaptureFixture[str], *words: object) -> None:
        capsys.readouterr()
        self.code = run(app, [str(w) for w in words])
        self.out, self.err = capsys.readouterr()

    def refused(self, code: int, *parts: str) -> None:
        assert self.code == code, self.err
        assert len(self.err.strip().splitlines()) == 1, self.err
        assert "Traceback" not in self.err
        for part in parts:
            assert part in self.err


# -------------------------------------------------------------------------------------------------------- whole process
def test_a_command_that_takes_a_moment_says_what_it_does(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """To somebody at a terminal, in one line and at once; to a script nothing."""
    words = ["trace", str(tmp_path / "none.jpg"), "--thickness", "4"]
    assert run(app, words) == 2
    assert "Measuring" not in capsys.readouterr().err
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    assert run(app, words) == 2
    first, *rest = capsys.readouterr().err.splitlines()
    assert first == "Measuring none.jpg: some seconds, the first time up to a minute."
    assert len(rest) == 1


def test_help_needs_no_heavy_library() -> None:
    heavy = "('numpy', 'cv2', 'scipy', 'pydantic', 'PIL', 'rich')"
    code = f"import sys; from measure.cli.app import app; print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_help_names_every_command() -> None:
    done = subprocess.run([*JAWLINE, "--help"], capture_output=True, text=True, check=True)
    for command in ("trace", "read", "reconcile", "sketch", "draw", "demo", "thin", "clip", "advice"):
        assert f"\n  {command} " in done.stdout
    assert done.stderr == ""


def test_a_reader_that_goes_away_is_no_trouble() -> None:
    piped = subprocess.Popen([*JAWLINE, "--help"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert piped.stdout is not None
    piped.stdout.close()
    assert piped.stderr is not None
    assert piped.stderr.read() == ""
    piped.wait()


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    said = Said(capsys, "--version")
    assert said.code == 0
    assert said.out.startswith("jawline")


# ---------------------------------------------------------------------------------------------------------- wrong usage
@pytest.mark.parametrize(
    ("words", "part"),
    [
        (["paint"], "No such command"),
        (["trace"], "PHOTO"),
        (["trace", "a.jpg", "--frobnicate"], "No such option"),
        (["trace", "a.jpg"], "thickness is missing"),
        (["trace", "a.jpg", "--thickness", "-3"], "can't be -3"),
        (["trace", "a.jpg", "--thickness", "nan"], "can't be nan"),
        (["trace", "a.jpg", "--thickness", "inf"], "can't be inf"),
        (["trace", "a.jpg", "--thickness", "thin"], "is not a number"),
        (["trace", "a.jpg", "--thickness", "420"], "look at the decimal point"),
        (["trace", "a.jpg", "--thickness", "4", "--subject", "cat"], "part or opening"),
        (["trace", "a.jpg", "--thickness", "4", "--reference", "10x5"], "can't be used"),
        (["trace", "a.jpg", "--thickness", "4", "--reference", "thumb"], "not known"),
        (["trace", "a.jpg", "--thickness", "4"], "There is no file a.jpg"),
        (["trace", ".", "--thickness", "4"], "is a folder"),
        (["read", "nowhere", "bore D1 4"], "no job folder"),
        (["reconcile", "nowhere"], "no job folder"),
        (["sketch", "nowhere"], "no job folder"),
        (["draw", "a.jpg", "--readings", "no.csv"], "no file of readings"),
    ],
)
def test_wrong_usage_is_one_sentence_and_two(
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    words: list[str],
    part: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    Said(capsys, *words).refused(2, part)
    said = Said(capsys, *words, "--json")
    assert part in json.loads(said.out)["error"]["text"]
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("words", ["4_2", "1_0.5", "0x4", "4.2 in", "4 2", "", "½"])
def test_slips_are_no_numbers(words: str) -> None:
    from calib.written import plain_number

    assert plain_number(words) is None


def test_thickness_may_have_a_comma_and_a_unit() -> None:
    from measure.tracing.thickness import thickness_mm

    assert thickness_mm("4,2 mm", "part") == 4.2
    assert thickness_mm("0", "part") == 0.0
    assert thickness_mm("60", "part") == 60.0
    assert thickness_mm(None, "opening") == 0.0


def test_what_nobody_expected_is_one_sentence(
    capsys: pytest.CaptureFixture[str], folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def breaks(*_: object, **__: object) -> None:
        raise ZeroDivisionError("of all\nthings")

    monkeypatch.setattr("measure.steps.reconcile.reconcile", breaks)
    Said(capsys, "reconcile", folder).refused(1, "ZeroDivisionError: of all things", "JAWLINE_DEBUG=1")
    monkeypatch.setenv("JAWLINE_DEBUG", "1")
    with pytest.raises(ZeroDivisionError):
        run(app, ["reconcile", str(folder)])


def test_stopping_by_hand_leaves_a_word(
    capsys: pytest.CaptureFixture[str], folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stopped(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("measure.steps.reconcile.reconcile", stopped)
    Said(capsys, "reconcile", folder).refused(130, "Stopped")


# ------------------------------------------------------------------------------------------------------------- readings
def test_words_and_files_come_together(capsys: pytest.CaptureFixture[str], folder: Path, tmp_path: Path) -> None:
    csv = tmp_path / "more.csv"
    csv.write_text("kind,features,value,unit,tool,note\nwidth,E1 E3,30.01,mm,caliper,cold\n")
    assert Said(capsys, "read", folder, "bore D1 6.02", "thickness", "4.19").code == 0
    assert Said(capsys, "read", folder, csv).code == 0
    text = (folder / "readings.csv").read_text()
    assert text.splitlines() == [
        "kind,features,value,unit,tool,note",
        "bore,D1,6.02,mm,caliper,",
        "thickness,,4.19,mm,caliper,",
        "width,E1 E3,30.01,mm,caliper,cold",
    ]


def test_the_same_file_twice_is_taken_once(capsys: pytest.CaptureFixture[str], folder: Path, tmp_path: Path) -> None:
    csv = tmp_path / "r.csv"
    csv.write_text("kind,features,value,unit,tool,note\n# by the bench\nbore,D1,6.02,mm,caliper,\n")
    Said(capsys, "read", folder, csv)
    before = (folder / "readings.csv").read_bytes()
    again = Said(capsys, "read", folder, csv)
    assert again.code == 0
    assert "already" in again.err
    assert (folder / "readings.csv").read_bytes() == before == csv.read_bytes()
    assert Said(capsys, "read", folder, csv, "--force").code == 0
    assert (folder / "readings.csv").read_text().count("bore,D1") == 2


def test_readings_mended_by_hand_are_kept(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    Said(capsys, "read", folder, "bore D1 60.2")
    mended = "\ufeff# mended\nnote;kind;features;value;unit\nslipped;bore;D1;6,02;mm\n\n"
    (folder / "readings.csv").write_text(mended, encoding="utf-8")
    assert Said(capsys, "read", folder, "width E1 E3 30.01").code == 0
    text = (folder / "readings.csv").read_text("utf-8")
    assert text.startswith(mended.removeprefix("\ufeff"))
    assert text.splitlines()[-1] == ";width;E1 E3;30.01;mm"
    assert Said(capsys, "reconcile", folder).code == 0
    values = [r["value_mm"] for r in json.loads((folder / "measured.json").read_text())["readings"]]
    assert values == [6.02, 30.01]


def test_a_column_that_the_hand_made_file_lacks(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    (folder / "readings.csv").write_text("kind,features,value\nbore,D1,6.02\n")
    Said(capsys, "read", folder, "width E1 E3 1.181 in").refused(1, "no column “unit”")
    assert Said(capsys, "read", folder, "width E1 E3 30.0").code == 0


def test_replace_starts_afresh_but_not_over_a_persons_work(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    Said(capsys, "read", folder, "bore D1 6.02")
    assert Said(capsys, "read", folder, "bore D1 6.04", "--replace").code == 0
    assert "6.02" not in (folder / "readings.csv").read_text()
    with open(folder / "readings.csv", "a") as f:
        f.write("# mine\n")
    Said(capsys, "read", folder, "bore D1 6.06", "--replace").refused(2, "has been changed")
    assert Said(capsys, "read", folder, "bore D1 6.06", "--replace", "--force").code == 0


def test_own_tools_are_remembered(capsys: pytest.CaptureFixture[str], folder: Path, tmp_path: Path) -> None:
    tools = tmp_path / "bench.toml"
    tools.write_text("[bench-micrometer]\nstep_mm = 0.001\npermissible_mm = 0.004\n")
    assert Said(capsys, "read", folder, "width E1 E3 30.004 mm bench-micrometer", "--tools", tools).code == 0
    assert Said(capsys, "reconcile", folder).code == 0
    Said(capsys, "reconcile", folder, "--tools", tmp_path / "none.toml").refused(2, "no tools file")


# ------------------------------------------------------------------------------------------------------------ reconcile
def test_reconcile_writes_the_same_form(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    Said(capsys, "read", folder, "width E1 E3 30.06 bore D1 6.02 width E2 E4 60.1")
    said = Said(capsys, "reconcile", folder, "--json")
    assert said.code == 0
    told = json.loads(said.out)
    measured = json.loads((folder / "measured.json").read_text())
    assert told["readings"] == measured["readings"]
    assert set(measured["readings"][0]) == {
        "kind", "features", "value_mm", "residual_mm", "verdict", "reason", "likely",
        "redundancy", "detectable_mm"
    }  # fmt: skip
    width = next(d for d in measured["dimensions"] if d["kind"] == "distance" and set(d["features"]) == {"E1", "E3"})
    assert abs(width["value_mm"] - 30.06) < 0.05
    assert width["basis"] in ("caliper", "both")
    assert set(measured) >= {
        "schema",
        "units",
        "scale",
        "subject",
        "thickness_mm",
        "features",
        "dimensions",
        "warnings",
    }


def test_reconcile_without_readings_says_so(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    said = Said(capsys, "reconcile", folder)
    assert said.code == 0
    assert "no readings" in said.err


def test_a_suspect_is_named(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    Said(capsys, "read", folder, "width E1 E3 30.01 width E2 E4 60.02 bore D1 6.01 gap E5 E6 0.197 mm")
    said = Said(capsys, "reconcile", folder)
    assert said.code == 0
    assert "Suspect: gap E5 E6 0.197 mm" in said.out
    last = json.loads((folder / "measured.json").read_text())["readings"][-1]
    assert (last["verdict"], last["likely"]) == ("suspect", "unit")


def test_readings_that_all_contradict_the_photo_are_refused(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    Said(capsys, "read", folder, "width E1 E3 23.4 width E2 E4 71.9 bore D1 9.3 gap E5 E6 2.2 web D1 E1 14.8")
    Said(capsys, "reconcile", folder).refused(1, "contradict each other")
    assert not (folder / "measured.json").exists()


def test_sketch_notices_that_something_changed(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    Said(capsys, "sketch", folder).refused(2, "run `jawline reconcile` first")
    Said(capsys, "read", folder, "bore D1 6.02")
    Said(capsys, "reconcile", folder)
    Said(capsys, "read", folder, "width E1 E3 30.01")
    Said(capsys, "sketch", folder).refused(1, "readings.csv has changed", "reconcile")


# ------------------------------------------------------------------------------------------------------ damaged folders
@pytest.mark.parametrize("command", ["read", "reconcile"])
@pytest.mark.parametrize(
    ("content", "part"),
    [
        (b"", "damaged or half-written"),
        (b'{"schema": "jawline/1", "units"', "damaged or half-written"),
        (b'{"schema": "jawline/7"}', "this version reads"),
        (b"\x89PNG\r\n\xff\xff", "damaged"),
        (b'{"scale": 3}', "not a file of a jawline job"),
    ],
)
def test_damaged_jobs(
    capsys: pytest.CaptureFixture[str], folder: Path, command: str, content: bytes, part: str
) -> None:
    (folder / "trace.json").write_bytes(content)
    words = [command, folder, *(["bore D1 6"] if command == "read" else [])]
    Said(capsys, *words).refused(1, part)
    assert {p.name for p in folder.iterdir()} == {"trace.json", ".jawline.json"}


def test_a_measured_json_that_is_not_jawlines_is_not_overwritten(
    capsys: pytest.CaptureFixture[str], folder: Path
) -> None:
    (folder / "measured.json").write_text("my notes")
    Said(capsys, "reconcile", folder).refused(2, "was not written by jawline")
    assert (folder / "measured.json").read_text() == "my notes"
    assert Said(capsys, "reconcile", folder, "--force").code == 0


def test_a_read_only_job(capsys: pytest.CaptureFixture[str], folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "access", lambda path, mode: False)
    Said(capsys, "reconcile", folder).refused(2, "choose another folder")
    Said(capsys, "read", folder, "bore D1 6.02").refused(2, "choose another folder")
    assert not (folder / "readings.csv").exists()
