"""After a reading the state is there at once, on sixty features too; the drawing is what the command draws."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from measure.bench.changes import add_reading
from measure.bench.live import live, sketch_svg
from measure.bench.shelf import Job
from measure.bench.state import plain_state
from measure.geometry.dimensions import list_dimensions
from measure.geometry.features import Circle, Feature, Line
from measure.job import job, records
from measure.steps.reconcile import reconcile
from measure.steps.sketch import sketch
from tests.jobs import estimate, record

STATE_S = 0.3
"""Processor time that a person does not notice."""


def comb(teeth: int = 12) -> tuple[Feature, ...]:
    """A comb of teeth of 5 mm, 8 mm apart, with holes along its back: invented."""
    right = 8.0 * teeth + 2
    corners = [(0.0, 0.0), (right, 0.0)]
    for k in range(teeth):
        x = right - 8 * k
        corners += [(x, 30.0), (x - 5, 30.0), (x - 5, 22.0), (x - 8, 22.0)]
    corners[-1] = (0.0, 22.0)
    n = len(corners)
    edges = [Line(f"E{i + 1}", 0, corners[i], corners[(i + 1) % n]) for i in range(n)]
    holes = [Circle(f"D{k + 1}", k + 1, (6.0 + 8 * k, 9.0), 2.0 + 0.05 * k) for k in range(60 - n)]
    return (*edges, *holes)


@pytest.fixture
def sixty(tmp_path: Path) -> Job:
    e = estimate(comb())
    assert len(e.features) == 60
    given = {
        "features": tuple(records.feature_record(f) for f in e.features),
        "dimensions": tuple(records.dimension_record(d) for d in list_dimensions(e)),
        "adjustment": records.adjustment_record(e),
    }
    folder = tmp_path / "comb"
    job.write(folder, {job.TRACE: records.to_text(record("comb").model_copy(update=given)).encode()})
    return Job("comb", folder)


def test_the_state_after_a_reading_is_there_at_once(sixty: Job) -> None:
    now = live(sixty.folder)
    took = []
    for k in range(4):
        began = time.process_time()
        add_reading(sixty, now, {"kind": "bore", "features": ["D1"], "value": f"4.0{k}"})
        now = live(sixty.folder)
        state = plain_state(sixty, None, now, None)
        took.append(time.process_time() - began)
        assert len(state["readings"]) == k + 1
    assert min(took) < STATE_S


def test_the_drawing_is_the_commands_own(sixty: Job) -> None:
    add_reading(sixty, live(sixty.folder), {"kind": "bore", "features": ["D1"], "value": "4.01"})
    svg = sketch_svg(live(sixty.folder), sixty.folder, None, "en")
    reconcile(sixty.folder)
    sketch(sixty.folder)
    assert svg == (sixty.folder / "sketch.svg").read_bytes()
