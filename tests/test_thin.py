"""What a bench does about thin sections: verdicts, pins, the command, the sketch."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import ezdxf
import pytest

from measure.cli.app import app
from measure.cli.run import run
from measure.drawing.outline_dxf import LAYERS
from measure.geometry.features import Line
from measure.job import job, records
from measure.printing.light_parts import LIGHT_PARTS
from measure.printing.strength import pins, remedies
from measure.printing.strength.sections import Section
from measure.sheet.sheet import Drawing, sketch
from tests.drawn_parts import estimate_of, features_named
from tests.jobs import record, traced


def section(value: float, u95: float | None = 0.05) -> Section:
    return Section(value, u95, (0.0, 0.0), ((0.0, 0.0), (0.0, value)), (("E1",), ("D1",)))


# --------------------------------------------------------------------------------------------------------------- pins
def test_room_for_a_pin() -> None:
    """Ø 1 in Ø 1.1, two lines of 0.42 on either side: 1.1 + 4 · 0.42 = 2.78 mm; Ø 4: 4.1 + 1.68 = 5.78 mm."""
    assert pins.room_mm(1.0, 0.42) == pytest.approx(2.78)
    assert pins.room_mm(4.0, 0.42) == pytest.approx(5.78)


@pytest.mark.parametrize(
    ("room", "line", "diameter"),
    [(2.77, 0.42, None), (2.78, 0.42, 1.0), (3.5, 0.42, 1.5), (4.0, 0.42, 2.0), (4.5, 0.42, 2.5), (5.0, 0.42, 3.0),
     (5.77, 0.42, 3.0), (5.78, 0.42, 4.0), (50.0, 0.42, 4.0), (2.2, 0.25, 1.0), (3.5, 0.6, 1.0)],
)  # fmt: skip
def test_the_pin_that_fits(room: float, line: float, diameter: float | None) -> None:
    found = pins.largest_pin(room, line)
    assert (found.diameter_mm if found else None) == diameter


def test_holes() -> None:
    """ISO 286-2: H7 is 0 to +10 µm up to 3 mm, 0 to +12 µm above to 6 mm; pins are m6, so +2 to +8, +4 to +12 µm."""
    assert pins.pin(3.0).reamed_mm == (3.0, 3.01)
    assert pins.pin(4.0).reamed_mm == (4.0, 4.012)
    assert pins.pin(1.5).drilled_mm == 1.6
    assert pins.pin(2.0).reach_mm == 6.0


# ----------------------------------------------------------------------------------------------------------- verdicts
@pytest.mark.parametrize(
    ("value", "verdict"),
    [(0.83, "too thin to print"), (0.85, "may be too thin to print"), (0.9, "weak"), (3.04, "weak"), (3.06, "sound")],
)
def test_verdicts_count_the_uncertainty(value: float, verdict: str) -> None:
    """Two lines of 0.42 are 0.84 mm; the limit is 3 mm; u95 0.05 mm."""
    assert remedies.judge(section(value)).verdict == verdict


def test_a_pin_needs_room_both_ways() -> None:
    assert remedies.judge(section(4.0)).pin == pins.pin(2.0)  # 3.95 ≥ 3.78
    assert remedies.judge(section(4.0), height_mm=3.0).pin == pins.pin(1.0)
    assert remedies.judge(section(4.0), height_mm=2.0).pin is None
    assert remedies.judge(section(3.8)).pin == pins.pin(1.5)  # 3.75 < 3.78: not surely


def test_how_thick_would_do() -> None:
    assert remedies.judge(section(1.0)).thicken_to_mm == pytest.approx(3.05)
    assert remedies.judge(section(1.0), line_mm=0.8, limit_mm=1.5).thicken_to_mm == pytest.approx(1.65)
    assert remedies.judge(section(9.0)).thicken_to_mm is None


def test_words() -> None:
    judged = [remedies.judge(s, height_mm=4.0) for s in (section(0.7), section(2.9), section(9.0))]
    text = "\n".join(remedies.lines(judged, 0.42, 3.0))
    assert "2 of the part's 3 thinnest places are below 3 mm" in text
    assert "T1: 0.70 ± 0.05 mm between E1 and D1: too thin to print" in text
    assert "T2: drill Ø 1.1 mm along the wall and glue in a steel pin Ø 1 mm" in text
    assert "T1: no room for a metal pin, which needs 2.78 mm both ways" in text
    assert "Thicken it, to 3.1 mm" in text
    assert "T3" not in text
    sound = remedies.lines(judged[2:], 0.42, 3.0)
    assert sound == (
        "None of the part's 1 thinnest places is below 3 mm.",
        "  T1: 9.00 ± 0.05 mm between E1 and D1: sound.",
    )
    assert "compact" in remedies.lines([], 0.42, 3.0)[0]
    assert "(± unknown)" in remedies.size(section(1.0, None))


# -------------------------------------------------------------------------------------------------------- the command
@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return traced(tmp_path / "job")


def test_the_command(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    """The plate: hole Ø 6 at (12, 12): 9 mm to the lower and to the left edge; pin by the height, 4.2 mm: Ø 2."""
    before = sorted(p.name for p in folder.iterdir())
    assert run(app, ["thin", str(folder), "--limit", "9,5 mm"]) == 0
    out, err = capsys.readouterr()
    assert "between E1 and D1: weak" in out
    assert "steel pin Ø 2 mm" in out
    assert LIGHT_PARTS in err
    assert "photo alone" in err
    assert run(app, ["thin", str(folder), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["from"] == "trace.json"
    assert told["sections"][0]["value_mm"] == 9.0
    assert told["sections"][0]["place"] == pytest.approx([12.0, 4.5])
    assert told["sections"][0]["sides"] == [["E1"], ["D1"]]
    assert told["sections"][0]["pin"]["diameter_mm"] == 2.0
    assert sorted(p.name for p in folder.iterdir()) == before


def test_measured_is_taken_where_there_is_one(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    run(app, ["read", str(folder), "web D1 E1 9.02"])
    run(app, ["reconcile", str(folder)])
    capsys.readouterr()
    assert run(app, ["thin", str(folder), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["from"] == "measured.json"
    lower = next(s for s in told["sections"] if s["sides"] == [["E1"], ["D1"]])
    assert 9.0 < lower["value_mm"] <= 9.03
    assert lower["u95_mm"] < 0.06  # the caliper knows it better than the photo, 0.076
    run(app, ["read", str(folder), "bore D1 6.02"])
    assert run(app, ["thin", str(folder)]) == 1
    assert "reconcile" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "code", "part"),
    [
        (["nowhere"], 2, "no job folder"),
        (["JOB", "--line", "4"], 2, "outside 0.05 to 2"),
        (["JOB", "--limit", "thin"], 2, "is not a number"),
    ],
)
def test_wrong_usage(capsys: pytest.CaptureFixture[str], folder: Path, words: list[str], code: int, part: str) -> None:
    assert run(app, ["thin", *(str(folder) if w == "JOB" else w for w in words)]) == code
    assert part in capsys.readouterr().err


def test_an_opening_has_no_walls(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    opening = record().model_copy(update={"subject": "opening"})
    job.write(tmp_path / "job", {job.TRACE: records.to_text(opening).encode()})
    assert run(app, ["thin", str(tmp_path / "job")]) == 2
    assert "no walls" in capsys.readouterr().err


def test_damaged(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    (folder / "trace.json").write_text("{")
    assert run(app, ["thin", str(folder)]) == 1
    assert "damaged" in capsys.readouterr().err


# --------------------------------------------------------------------------------------------------------- the sketch
def test_thin_places_on_the_sketch(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    run(app, ["reconcile", str(folder)])
    assert run(app, ["sketch", str(folder)]) == 0
    plain = ezdxf.readfile(folder / "sketch.dxf").modelspace()
    assert not plain.query('*[layer=="THIN"]')
    assert run(app, ["sketch", str(folder), "--thin"]) == 0
    doc = ezdxf.readfile(folder / "sketch.dxf")
    assert not doc.audit().errors
    marked = doc.modelspace().query('*[layer=="THIN"]')
    assert len(marked) == remedies.SHOWN
    text = " ".join(
        t.plain_text() if t.dxftype() == "MTEXT" else t.dxf.text for t in doc.modelspace().query("TEXT MTEXT")
    )
    for word in ("T1", "T2", "T3", "short dashes"):
        assert word in text
    assert len(doc.modelspace().query('*[layer=="OUTLINE"]')) == len(plain.query('*[layer=="OUTLINE"]'))


def test_marks_are_kept_clear_of(capsys: pytest.CaptureFixture[str]) -> None:
    """Every thin place is drawn at its true size, and its label stands once on the sheet."""
    features = features_named("tiny latch")
    thin = (Line("T1", 0, (9.2, 2.7), (9.2, 4.0)), "1.30")
    sheet = sketch(Drawing("latch", features, estimate=estimate_of(features), thin=(thin,)))
    [mark] = [m for m in sheet.marks if getattr(m, "layer", "") == "THIN"]
    (x0, y0, _), (x1, y1, _) = mark.vertices  # type: ignore[union-attr]
    assert abs(complex(x1 - x0, y1 - y0)) == pytest.approx(1.3)
    assert [getattr(m, "content", "") for m in sheet.marks].count("T1") == 1
    assert "THIN" in LAYERS
    without = sketch(replace(Drawing("latch", features, estimate=estimate_of(features))))
    assert {d.wanted.stated.labels for d in sheet.drawn} | {w.stated.labels for w in sheet.listed} == {
        d.wanted.stated.labels for d in without.drawn
    } | {w.stated.labels for w in without.listed}
