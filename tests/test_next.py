"""Which reading next: against random and best choices, and the way through a worksheet."""

import re
import shutil
from pathlib import Path as FilePath

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from shapely.geometry import LineString, Polygon

from calib.errors import ReadingsRefused, WrongUsage
from calib.tools.at_hand import AtHand, place
from calib.tools.jaws import TOOLS
from measure.adjustment.equations import with_edge_error
from measure.cli.app import app
from measure.cli.run import run
from measure.geometry.features import Feature
from measure.planning.numbered import written_out
from measure.planning.planning import advise
from measure.planning.reach import comfortable_readings
from measure.planning.worksheet import worksheet
from measure.readings.readings import make_reading, read_words
from measure.sheet.marks import CircleMark, Path, Text, polylines
from measure.sheet.sheet import Sheet
from measure.steps.agreed import became_of
from measure.steps.next import next_readings
from measure.steps.read import read
from measure.steps.reconcile import reconcile
from tests.accuracy.fits import gain_over_random, share_of_best
from tests.drawn_parts import drawn_parts, estimate_of
from tests.jobs import estimate, plate, record, traced
from tests.random_outlines import outlines
from tests.sheet_faults import box, outside_the_frame
from tests.simulated_parts import circle, polygon, slot
from tests.simulated_traces import features_of, trace

SAMPLES = FilePath(__file__).resolve().parent.parent / "samples"


def test_three_chosen_readings_do_half_as_much_again_as_random_ones():
    ratios = gain_over_random()
    assert min(ratios) > 1.1  # where only a handful of readings can be taken at all
    assert np.mean(ratios) > 1.5


@pytest.mark.parametrize("seed", range(4))
def test_within_a_tenth_of_the_best_triple(seed):
    assert share_of_best(seed) > 0.9


def test_no_reading_that_jaws_struggle_with():
    small = features_of(
        [
            polygon(
                [(0, 0, 0), (60, 0, 0), (60, 20, 0), (40, 20, 0), (40, 19, 0), (38, 19, 0), (38, 20, 0), (0, 20, 0)]
            ),
            circle(10, 10, 0.75),
            circle(50, 10, 2.2),
            slot(28, 10, 14, 5.0),
        ]
    )
    estimate = trace(small, 4.0, np.random.default_rng(0)).estimate
    names = {(k, *labels) for k, labels, _ in comfortable_readings(estimate, 4.0)}
    assert ("bore", "D2") in names
    assert ("bore", "D1") not in names  # 1.5 mm: inside jaws don't go in
    bottom, floor = "E1", "E5"  # the floor of a recess 2 mm wide and 1 mm deep: no seat for a jaw
    assert ("width", bottom, floor) not in names
    assert ("width", "E1", "E3") in names
    webs = [n for n in names if n[0] == "web"]
    assert webs
    right_end = next(f.label for f in small if f.kind == "arc" and f.end[0] > 28 and f.start[0] > 28)
    left = next(f.label for f in small if f.kind == "line" and f.loop == 0 and f.start[0] == f.end[0] == 0)
    assert ("web", right_end, left) not in names  # the slot's far end does not face that edge


def names_with(features: tuple[Feature, ...], caliper: AtHand) -> set[tuple[str, ...]]:
    return {(k, *labels) for k, labels, _ in comfortable_readings(estimate_of(features), 4.0, "part", caliper)}


def test_no_reading_is_proposed_that_the_caliper_at_hand_cant_take() -> None:
    """A bar 180 mm long with a slot 3 mm wide and a notch 3 mm wide and 6 deep: an outside jaw's tip goes into
    neither."""
    notched = [(0, 0, 0), (180, 0, 0), (180, 20, 0), (93, 20, 0), (93, 14, 0), (90, 14, 0), (90, 20, 0), (0, 20, 0)]
    bar = features_of([polygon(notched), slot(40, 10, 20, 3.0), circle(150, 10, 1.4)])
    pocket, large = names_with(bar, AtHand()), names_with(bar, AtHand(reach_mm=200, inside_mm=3.2, tip_mm=2.9))
    long = ("width", "E2", "E8")
    assert long not in pocket
    assert long in large
    in_slot = {f.label for f in bar if f.loop == 1 and f.kind == "line"}
    into_slot = {n for n in pocket | large if n[0] == "width" and in_slot & set(n)}
    assert into_slot
    assert not into_slot & pocket  # 4 mm of tip
    assert into_slot <= large
    assert ("bore", "D1") in pocket  # 2.8 mm
    assert ("bore", "D1") not in large
    assert ("width", "E4", "E8") not in pocket  # from the notch's side to the left end
    assert ("width", "E4", "E8") in large or ("width", "E6", "E8") in large


def test_the_caliper_is_told_of_once(job: FilePath, capsys: pytest.CaptureFixture[str]) -> None:
    def longest() -> float:
        done = next_readings(job, count=12, goal_mm=0.01)
        return max(s["expected_mm"] for s in done.result["suggestions"])

    before = longest()
    told = before - 1.0
    assert run(app, ["caliper", "--reach", f"{told:.2f}"]) == 0
    assert longest() < told
    assert next_readings(job, caliper=AtHand()).result["suggestions"]
    for wrong in (["--reach", "5"], ["--tip", "nan"], ["--inside", "-1"]):
        assert run(app, ["caliper", *wrong]) == 2
    place().write_text('{"reach_mm": [')
    assert run(app, ["caliper"]) == 2
    assert "Traceback" not in capsys.readouterr().err


def test_it_says_when_to_stop():
    plate = features_of([polygon([(0, 0, 0), (30, 0, 0), (30, 20, 0), (0, 20, 0)])])
    estimate = with_edge_error(trace(plate, 3.0, np.random.default_rng(2)).estimate)
    all_taken = [(k, labels) for k, labels, _ in comfortable_readings(estimate, 3.0)]
    advice = advise(estimate, thickness_mm=3.0, taken=all_taken)
    assert advice.suggestions == ()
    loose = advise(estimate, thickness_mm=3.0, goal_mm=2.0)
    assert loose.open_before == loose.open_after == 0
    assert loose.suggestions == ()


def written(sheet: Sheet) -> list[Polygon]:
    """Where balloons and words of a worksheet's picture are, the figures in the balloons apart."""
    balloons = [m for m in sheet.marks if isinstance(m, CircleMark) and m.layer == "DIMENSIONS"]
    words = [m for m in sheet.marks if isinstance(m, Text) and m.layer in ("LABELS", "NOTES", "TITLE")]
    return [*(shapely.Point(m.centre).buffer(m.radius) for m in balloons), *map(box, words)]


@pytest.mark.parametrize("name", drawn_parts())
def test_nothing_lies_over_another_on_a_worksheet(name: str) -> None:
    worksheet_is_legible(drawn_parts()[name])


@settings(max_examples=15, deadline=None, suppress_health_check=[*HealthCheck])
@given(outlines())
def test_nor_on_that_of_any_outline(features: tuple[Feature, ...]) -> None:
    worksheet_is_legible(features)


def worksheet_is_legible(features: tuple[Feature, ...]) -> None:
    """A balloon for each reading, clear of all that is written; no arrow runs through a word; nothing beyond the
    frame."""
    known = with_edge_error(estimate_of(features))
    advice = advise(known, thickness_mm=4.0, count=6, goal_mm=0.01, gauge=True)
    sheet = worksheet("nobody's part", features, advice.suggestions, "jawline read", opening=True, depth=True)
    areas = written(sheet)
    balloons = [m for m in sheet.marks if isinstance(m, CircleMark) and m.layer == "DIMENSIONS"]
    assert len(balloons) == sum(s.kind != "thickness" for s in advice.suggestions) + 1  # the seat's depth
    pairs = shapely.STRtree(areas).query(areas, predicate="intersects").T
    assert [(i, j) for i, j in pairs if i < j] == []
    lines = [LineString(polylines(m)) for m in sheet.marks if isinstance(m, Path) and m.layer == "DIMENSIONS"]
    labels = [box(m) for m in sheet.marks if isinstance(m, Text) and m.layer == "LABELS"]
    assert not [x for x in lines for b in labels if x.intersects(b)]
    assert outside_the_frame(sheet) == []


def test_a_long_part_lies_on_a_sheet_that_lies() -> None:
    """Bars of 260 × 20 mm: 297 mm of paper show it larger than 210."""
    for length, lying in ((260.0, True), (25.0, False)):
        features = features_of([polygon([(0, 0, 0), (length, 0, 0), (length, 20, 0), (0, 20, 0)])])
        advice = advise(
            with_edge_error(estimate_of(features)), thickness_mm=4.0, goal_mm=0.01, caliper=AtHand(reach_mm=300.0)
        )
        assert advice.suggestions
        sheet = worksheet("bar", features, advice.suggestions, "jawline read")
        assert (sheet.width_mm > sheet.height_mm) == lying


@pytest.fixture
def job(tmp_path):
    folder = tmp_path / "latch"
    shutil.copytree(SAMPLES / "vent-latch", folder, ignore=shutil.ignore_patterns("measured*", "sketch*", "readings*"))
    return folder


def test_worksheet_to_readings_by_number(job):
    done = next_readings(job, count=3)
    assert {p.name for p in done.files} == {"worksheet.pdf", "worksheet.csv"}
    first = done.result["suggestions"][0]
    assert re.search(rf"1  {first['kind']} {' '.join(first['features'])} ", "\n".join(done.lines))
    before = done.result["open_before"]
    read(job, [f"1={first['expected_mm']:.2f}"])
    row = (job / "readings.csv").read_text().splitlines()[-1]
    assert row.startswith(f"{first['kind']},{' '.join(first['features'])},{first['expected_mm']:.2f},mm,caliper")
    reconcile(job)
    again = next_readings(job, count=3)
    assert again.result["open_before"] < before
    assert [first["kind"], first["features"]] not in [[s["kind"], s["features"]] for s in again.result["suggestions"]]


def test_a_reading_is_judged_as_soon_as_it_is_read(tmp_path: FilePath) -> None:
    """The plate is 60 mm long and 30 high: 30 read for the length is what belongs to another two edges."""
    folder = traced(tmp_path / "plate")
    done = read(folder, ["width E2 E4 60.01", "width E1 E3 60.0"])
    assert [v["verdict"] for v in done.result["verdicts"]] == ["kept", "suspect"]
    assert done.result["verdicts"][1]["likely"] == "feature"
    assert done.lines[1].startswith("  Agrees: width E2 E4 60.01 mm: ")
    assert done.lines[2].startswith("  Suspect: width E1 E3 60.0 mm: the value fits width E2 E4")
    again = read(folder, ["bore D1 6.0"])
    assert [v["verdict"] for v in again.result["verdicts"]] == ["kept"]  # of the new one alone


def test_what_becomes_of_the_readings_by_a_new_outline(tmp_path: FilePath) -> None:
    readings = tuple(read_words(["width E2 E4 60.0 bore D1 6.0 width E1 E3 30.0"]))
    known = record()
    lines = became_of(known, estimate(), readings, TOOLS)
    assert lines == ("3 readings in the job: 3 agree with this outline, 0 suspect.",)
    without = estimate(tuple(f for f in plate() if f.label != "D1"))
    moved = (make_reading("width", ["E2", "E4"], "61.2"), *readings[1:])
    lines = became_of(known, without, moved, TOOLS)
    assert lines[0] == "3 readings in the job: 1 agree with this outline, 1 suspect, 1 without a place on it."
    assert "width E2 E4 61.2 mm" in lines[1]
    assert "the outline has no D1" in lines[2]
    assert became_of(known, estimate(), (), TOOLS) == ()


def test_worksheet_filled_in_an_editor(job):
    done = next_readings(job, count=2)
    table = job / "worksheet.csv"
    with pytest.raises(ReadingsRefused, match="no values yet"):
        read(job, [str(table)])
    second = done.result["suggestions"][1]
    lines = table.read_text().splitlines()
    filled = job / "filled.csv"
    filled.write_text("\n".join([*lines[:2], lines[2].replace(",,mm", f",{second['expected_mm']:.2f},mm")]))
    assert read(job, [str(filled)]).result["readings"] == 1


def test_numbers_need_a_worksheet_that_has_them(job):
    with pytest.raises(ReadingsRefused, match="has none"):
        read(job, ["1=24.3"])
    with pytest.raises(ReadingsRefused, match="no number 9"):
        written_out(["9=3"], b"kind,features,value,unit,tool,note\nwidth,E1 E3,,mm,caliper,1\n")


def test_unknown_caliper_is_wrong_usage(job):
    with pytest.raises(WrongUsage, match="gauge"):
        next_readings(job, tool="gauge")
