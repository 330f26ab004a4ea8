"""Which reading next: against random and best choices, and the way through a worksheet."""

import itertools
import re
import shutil
from pathlib import Path

import numpy as np
import pytest

from calib.errors import ReadingsRefused, WrongUsage
from measure.adjustment.equations import with_edge_error
from measure.planning.numbered import written_out
from measure.planning.planning import advise
from measure.planning.reach import comfortable_readings
from measure.planning.worksheet import worksheet
from measure.steps.next import next_readings
from measure.steps.read import read
from measure.steps.reconcile import reconcile
from tests.accuracy.fits import gain_over_random, share_of_best
from tests.simulated_parts import circle, parts, polygon, slot
from tests.simulated_traces import features_of, trace

SAMPLES = Path(__file__).resolve().parent.parent / "samples"


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


def test_it_says_when_to_stop():
    plate = features_of([polygon([(0, 0, 0), (30, 0, 0), (30, 20, 0), (0, 20, 0)])])
    estimate = with_edge_error(trace(plate, 3.0, np.random.default_rng(2)).estimate)
    all_taken = [(k, labels) for k, labels, _ in comfortable_readings(estimate, 3.0)]
    advice = advise(estimate, thickness_mm=3.0, taken=all_taken)
    assert advice.suggestions == ()
    loose = advise(estimate, thickness_mm=3.0, goal_mm=2.0)
    assert loose.open_before == loose.open_after == 0
    assert loose.suggestions == ()


def test_balloons_of_a_worksheet_keep_apart():
    part = next(p for p in parts() if p.name == "plate")
    estimate = with_edge_error(trace(part.features, part.thickness_mm, np.random.default_rng(3)).estimate)
    advice = advise(estimate, thickness_mm=part.thickness_mm, count=6)
    sheet = worksheet("plate", part.features, advice.suggestions, "jawline read")
    balloons = [m.centre for m in sheet.marks if getattr(m, "radius", 0) and m.layer == "DIMENSIONS"]
    assert len(balloons) == sum(s.kind != "thickness" for s in advice.suggestions)
    assert min(np.hypot(*np.subtract(a, b)) for a, b in itertools.combinations(balloons, 2)) > 7.2


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
