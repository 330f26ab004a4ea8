"""Breaks that are plain are found by themselves, others are asked for, and whole parts are let be."""

from __future__ import annotations

import json
import math
from pathlib import Path
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from calib.errors import JobRefused
from measure.broken.breaks import find_breaks, outer
from measure.broken.suspected import plain_breaks, suspected
from measure.cli.app import app
from measure.cli.run import run
from measure.geometry.features import Curve, Feature
from measure.steps.trace import of_breaks
from measure.tracing.values import Trace
from tests.accuracy.suspected import WHOLE, as_true, of_torn, verdict
from tests.broken_parts import wedge
from tests.simulated_parts import polygon
from tests.simulated_traces import features_of
from tests.simulated_traces import trace as simulated
from tests.test_complete import job_of

BROKEN = sorted((Path(__file__).parent / "accuracy").glob("*/*-broken.truth.json"))
TORN, MOST_MISSED = 5, 0.45
"""So many outlines are torn; and the share of coarse fractures that may look like corners that somebody drew
(`python -m tests.accuracy.suspected`: a third)."""


def around(corners: list[tuple[float, float, float]]) -> tuple[Feature, ...]:
    return features_of([polygon(corners)])


def test_no_whole_part_is_called_broken_or_asked_about() -> None:
    assert len(WHOLE) > 10
    assert {p.stem: verdict(as_true(p)) for p in WHOLE if verdict(as_true(p)) != "nothing"} == {}


@pytest.mark.parametrize("path", BROKEN, ids=lambda p: p.stem)
def test_a_ragged_free_line_is_plainly_a_break(path: Path) -> None:
    """The true outlines of photographed broken parts: each has one fracture, of a dozen straight pieces."""
    (found,) = suspected(as_true(path))
    assert found.plain
    torn = [s["id"] for s in json.loads(path.read_text())["loops"][0]["segments"] if s["kind"] == "curve"]
    assert list(found.labels) == torn
    assert "ragged" in found.words()


def test_torn_outlines_are_found_or_asked_about() -> None:
    said = of_torn("ragged", WHOLE[:TORN]) + of_torn("coarse", WHOLE[:TORN])
    assert said["nothing"] <= MOST_MISSED * said.total(), said
    assert said["found"] > 0


ROUND = [(0.0, 0.0, 3.0), (50.0, 0.0, 3.0), (50.0, 30.0, 3.0)]
OFF = [*ROUND, (16.0, 30.0, 0.0), (0.0, 18.0, 0.0)]
"""The plate with one of its rounded corners off."""


def test_a_corner_that_broke_off_is_asked_about() -> None:
    """A plate with rounded corners, one of them off: its line meets the edges at 53° and 37°, as 4 to 3."""
    whole_but_one = around(OFF)
    (found,) = suspected(whole_but_one)
    (off,) = [f for f in whole_but_one if f.kind == "line" and f.start == pytest.approx((16, 30))]
    assert found.labels == (off.label,)
    assert not found.plain
    assert found.words() == f"Is it broken at {off.label}? Nothing else of this part is like that."


@pytest.mark.parametrize(
    "corners",
    [
        [*ROUND, (0.0, 30.0, 3.0)],  # whole
        [*ROUND, (12.0, 30.0, 0.0), (0.0, 18.0, 0.0)],  # a chamfer of 45° is drawn
        [(0.0, 0.0, 3.0), (50.0, 0.0, 3.0), (50.0, 18.0, 0), (34.0, 30.0, 0), (16.0, 30.0, 0.0), (0.0, 18.0, 0.0)],
        [*ROUND, (1.0, 30.0, 0.0), (0.0, 29.3, 0.0)],  # a nick
    ],
    ids=["whole", "chamfer", "both sides alike", "nick"],
)
def test_what_somebody_drew_is_not(corners: list[tuple[float, float, float]]) -> None:
    assert suspected(around(corners)) == []


def test_where_all_corners_are_odd_none_is() -> None:
    assert suspected(wedge()) == []


def test_a_smooth_free_line_is_asked_about_and_a_ragged_one_is_not() -> None:
    left = math.pi * np.linspace(0, 1, 30)
    bow = [(float(50 - 20 * t / math.pi), float(30 + 4 * math.sin(t))) for t in left]
    jag = [(x, y + (0.8 if i % 3 else 0.0)) for i, (x, y) in enumerate(bow)]
    for points, plain in ((bow, False), (jag, True)):
        loop = list(around([(0, 0, 3), (50, 0, 3), (50, 30, 0), (30, 30, 0), (0, 30, 3)]))
        at = next(i for i, f in enumerate(loop) if f.kind == "line" and f.start == pytest.approx((50, 30)))
        loop[at] = Curve("C1", 0, tuple(points))
        found = suspected(loop)
        assert [(s.labels, s.plain) for s in found] == [(("C1",), plain)]


def test_the_command_line_asks_after_a_trace_and_before_it_completes(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    estimate = simulated(around(OFF), 4.0, np.random.default_rng(5)).estimate
    (asked,) = suspected(estimate.features)
    found = cast(Trace, SimpleNamespace(subject="part", gap=None, estimate=estimate))
    (line,) = of_breaks(Path("plate"), found)
    assert line == f"{asked.words()} If it is: jawline complete plate --broken {asked.mark}"
    folder = job_of(tmp_path / "plate", estimate)
    assert run(app, ["complete", str(folder)]) == 1
    said = capsys.readouterr().err
    assert asked.words() in said
    assert f"--broken {asked.mark}" in said
    assert run(app, ["complete", str(folder), "--broken", asked.mark]) == 0
    assert "filled with its counterpart mirrored" in capsys.readouterr().out  # the other rounded corner


def test_what_is_not_plain_is_named_with_the_way_to_say_so() -> None:
    features = around(OFF)
    with pytest.raises(JobRefused) as why:
        plain_breaks(features)
    (asked,) = suspected(features)
    assert asked.words() in why.value.text
    assert why.value.code == "no-break"
    whole = around([*ROUND, (0.0, 30.0, 3.0)])
    with pytest.raises(JobRefused, match="No break was found"):
        plain_breaks(whole)


def test_free_lines_are_breaks_as_ever() -> None:
    features = as_true(BROKEN[0])
    assert plain_breaks(features) == find_breaks(features)
    assert [outer(features)[i].kind for b in plain_breaks(features) for i in b.members()] == ["curve"]
