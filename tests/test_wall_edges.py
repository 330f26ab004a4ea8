"""Both edges of a wall are told apart; strokes that change nothing say so; no outline crosses itself."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np

from measure.geometry.features import Estimate, Line
from measure.job import job, records, view_record
from measure.steps.shown import shown
from measure.steps.trace import trace
from measure.tracing.parts import crosses_itself
from measure.tracing.request import Request
from tests.jobs import plate

LATCH = Path(__file__).parent / "accuracy" / "photos" / "vent-latch.jpg"


def test_an_outline_that_crosses_itself_is_told() -> None:
    """A bow tie does; a plate does not."""
    nothing = np.zeros((0, 0))
    e = Estimate(plate(), nothing, (), nothing, nothing)
    assert not crosses_itself(e)
    corners = [(0.0, 0.0), (10.0, 10.0), (10.0, 0.0), (0.0, 10.0)]
    ring = zip(corners, [*corners[1:], corners[0]], strict=True)
    tie = tuple(Line(f"E{k + 1}", 0, a, b) for k, (a, b) in enumerate(ring))
    assert crosses_itself(replace(e, features=tie))


def test_strokes_that_change_nothing_say_so_and_both_edges_are_drawn(tmp_path: Path) -> None:
    """A dot in the middle of the longest edge's material is certain anyway."""
    thickness = json.loads(LATCH.with_suffix(".truth.json").read_text())["thickness_mm"]
    folder = tmp_path / "job"
    trace(LATCH, folder, Request(thickness))
    record = records.from_text((folder / job.TRACE).read_text(), "x")
    kept = view_record.from_text((folder / job.VIEW).read_text(), "x")
    line = max((f for f in record.features if f.kind == "line"), key=lambda f: np.hypot(*np.subtract(f.start, f.end)))
    u = np.subtract(line.end, line.start) / np.hypot(*np.subtract(line.end, line.start))
    inside = np.add(line.start, line.end) / 2 + 2.0 * np.array([-u[1], u[0]])
    dot = Line("E1", 0, tuple(inside), tuple(inside + 0.1 * u))
    sighted = view_record.sighted(kept)
    at = sighted.edge_px(dot, sighted.wall.upper_mm)[0]
    marks = tmp_path / "marks.json"
    marks.write_text(json.dumps({"part": [[[float(at[0]), float(at[1])]]]}))
    done = trace(LATCH, folder, Request(thickness), marks=marks)
    assert "marks-change-nothing" in [c.code for c in done.cautions]
    seen = shown(folder)
    assert seen is not None
    outside = sum(f.loop == 0 for f in record.features)
    assert len(seen.upper) == len(seen.lower) == outside
    assert set(seen.upper).isdisjoint(seen.lower)
