"""The scorer and the census's table, on outlines and rows whose figures are known by hand."""

from __future__ import annotations

import copy
import math
from typing import Any

import pytest

from tests.accuracy import shapes as sh
from tests.accuracy.census import rim_word, thickness_mm
from tests.accuracy.jaw_readings import labelled, spoiled
from tests.accuracy.score import compare
from tests.accuracy.table import report

Record = dict[str, Any]


def truth() -> Record:
    """An L with a hole: nothing like its own mirror image."""
    loops = sh.label([sh.polygon([(0, 0), (40, 0), (40, 10), (12, 10, 3), (12, 30), (0, 30)]), sh.circle((6, 20), 2.5)])
    return {
        "photo": "ell.jpg",
        "level": "guide",
        "subject": "part",
        "thickness_mm": 4.0,
        "loops": loops,
        "dimensions": sh.dimensions(loops),
        "caliper": [
            {"kind": "thickness", "segments": [], "reading_mm": 4.01},
            {"kind": "width", "segments": ["s0", "s2"], "reading_mm": 10.02},
            {"kind": "bore", "segments": ["s7"], "reading_mm": 5.0},
        ],
    }


def disc() -> Record:
    """A disc with a small hole, which alone shows how it is turned."""
    return truth() | {"loops": sh.label([sh.circle((0, 0), 16.4), sh.circle((9, 0), 1.24)]), "dimensions": []}


def result(
    by: float = 0.0, turn: float = 0.0, factor: float = 1.0, mirror: bool = False, of: Record | None = None
) -> Record:
    """The truth as a program would have it, moved, turned, scaled or mirrored."""
    features = []
    for loop in (of or truth())["loops"]:
        for s in sh.move(loop["segments"], by, -by, turn):
            f = copy.deepcopy(s)
            f["label"], f["loop"] = f.pop("id").replace("s", "F"), loop["loop"]
            for key in ("start", "end", "centre"):
                if key in f:
                    f[key] = [f[key][0] * factor * (-1 if mirror else 1), f[key][1] * factor]
            if "radius" in f:
                f["radius"] *= factor
            if mirror and "turn" in f:
                f["turn"] = "cw" if f["turn"] == "ccw" else "ccw"
            features.append(f)
    return {"features": features, "dimensions": []}


def dimension(kind: str, features: list[str], value_mm: float, u95_mm: float = 0.05) -> Record:
    return {"kind": kind, "features": features, "value_mm": value_mm, "u95_mm": u95_mm}


def test_the_truth_itself_lies_on_the_truth_however_it_is_turned() -> None:
    s = compare(truth(), result(by=123.4, turn=77))
    assert s["max_mm"] < 0.001
    assert (s["loops_found"], s["segments_found"], s["mirrored"]) == (2, 8, False)
    assert (s["long_true"], s["long_found"], s["long_invented"]) == (8, 8, 0)


@pytest.mark.parametrize("turn", [26, 65, 91, 273])
def test_a_small_hole_turns_a_disc(turn: float) -> None:
    assert compare(disc(), result(by=12.3, turn=turn, factor=1.0009, of=disc()))["max_mm"] < 0.03


def test_a_scale_that_is_off_is_not_laid_away() -> None:
    """By hand: 1 % of 40 mm is 0.4 mm, half of it at either end or all at one."""
    assert 0.2 <= compare(truth(), result(factor=1.01))["max_mm"] <= 0.4


def test_a_mirror_image_is_noticed() -> None:
    assert compare(truth(), result(mirror=True))["mirrored"]


def test_a_hole_that_is_missed_counts() -> None:
    found = result()
    found["features"] = [f for f in found["features"] if f["loop"] == 0]
    s = compare(truth(), found)
    assert (s["loops_true"], s["loops_found"], s["long_found"]) == (2, 1, 7)


def test_a_segment_in_two_pieces_is_found_and_one_invented() -> None:
    found = result()
    whole = found["features"][0]  # along y = 0
    middle = [15.0, 0.0]
    found["features"][0] = whole | {"end": middle}
    found["features"].append(whole | {"label": "F99", "start": middle})
    s = compare(truth(), found)
    assert (s["long_found"], s["long_invented"]) == (8, 1)


def test_dimensions_are_held_against_the_truth_of_their_features() -> None:
    """By hand: 10 mm between F0 and F2 said to be 10.04 ± 0.05; 5 mm of the hole said to be 5.2 ± 0.05."""
    found = result() | {"dimensions": [dimension("distance", ["F0", "F2"], 10.04), dimension("diameter", ["F7"], 5.2)]}
    s = compare(truth(), found)
    assert s["by_kind"] == {"diameter": [1, 0], "distance": [1, 1]}
    assert s["coverage"] == 0.5
    assert s["worst"][0]["error_mm"] == pytest.approx(0.2)


def test_readings_come_with_the_results_own_labels_and_can_be_spoiled() -> None:
    rows, numbers = labelled(truth(), result(turn=30))
    assert rows == [("thickness", "", 4.01), ("width", "F0 F2", 10.02), ("bore", "F7", 5.0)]
    assert numbers == [None, 0, 1]
    assert spoiled(rows, numbers, "unit", 1)[2] == ("bore", "F7", 0.197)  # 5 / 25.4
    assert spoiled(rows, numbers, "digits", 0)[1][2] in (1.02, 10.2, 0.1, 12.0, 20.01)  # two digits of 10.02 swapped
    assert spoiled(rows, numbers, "plus", 7) is None


def row(name: str, p95_mm: float, level: str = "guide", **more: object) -> Record:
    """A drawn photo of the census."""
    score = compare(truth(), result()) | {"p95_mm": p95_mm, "by_kind": {"distance": [10, 9]}}
    rim = {"rim": 0.0, "rim_form": "sharp"}
    facts = {"name": name, "level": level, "subject": "part", "tilt": 5.0, "segments": 8, "scene": {}} | rim
    done = {"rc": 0, "said": "", "defect": False, "trace": score, "measured": score | {"p95_mm": p95_mm / 2}}
    return facts | done | {"cautions": [], "readings": 10, "false_alarms": 1} | more


def cell(table: str, line: str, column: int) -> str:
    return next(x for x in table.splitlines() if x.startswith(f"| {line} |")).split(" | ")[column]


def test_the_table_counts_as_a_person_would() -> None:
    rows = [
        row("a", 0.02),
        row("b", 0.04),
        row("c", 0.5),  # gross, silent; with readings 0.25, wrong still
        row("d", 0.2, cautions=[{"code": "faint-edge", "text": ""}]),  # wrong, said; right with readings
        row("e", 0.03, "rough", rim=0.3, rim_form="round"),
        {**row("f", 0.0), "rc": 1, "said": "No card."},
    ]
    text = report(rows)
    assert cell(text, "photos", 1) == "5"
    assert cell(text, "refused", 1) == "20.0 % of 5 (≤ 4 %)"
    assert cell(text, "wrong, photo alone", 1).startswith("50.0 % of 4")
    assert cell(text, "wrong, with readings", 1).startswith("25.0 % of 4")
    assert cell(text, "gross and no caution", 1).startswith("25.0 % of 4")
    assert cell(text, "silent wrong", 1).startswith("25.0 % of 4")
    assert cell(text, "median p95, photo alone, mm", 3).startswith("0.030")
    assert cell(text, "inside u95, photo alone", 1) == "90.0 % of 40"
    assert cell(text, "cautions on right outlines", 1) == "0.0 % of 2"
    assert cell(text, "rounded rims", 1) == "1"
    assert "refused 1: No card." in text
    assert "c (guide, part, , sharp): alone 0.50" in text


def test_a_row_that_failed_is_named() -> None:
    assert "did not run: x: boom" in report([row("a", 0.02), {"name": "x", "failed": "boom"}])


@pytest.mark.parametrize(("rim_mm", "word"), [(0.0, "sharp"), (0.1, "little"), (0.3, "clear")])
def test_what_owners_say_of_a_rim(rim_mm: float, word: str) -> None:
    assert rim_word({"rim_mm": rim_mm}) == word


def test_the_thickness_is_as_read() -> None:
    assert thickness_mm(truth()) == 4.01
    assert math.isclose(thickness_mm(truth() | {"caliper": []}), 4.0)
