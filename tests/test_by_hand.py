"""A missing boundary drawn by hand: the words, what they draw, and what comes of it in a job."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from calib.errors import PartRefused, WrongUsage
from measure.broken.breaks import find_breaks, outer
from measure.broken.by_hand.drawing import drawn
from measure.broken.by_hand.shaping import shaped
from measure.broken.by_hand.words import As, Bend, Goal, On, To, steps_of
from measure.cli.app import app
from measure.cli.run import run
from measure.dimensioning import gauging
from measure.dimensioning.gauging import Stated
from measure.geometry.features import Estimate, Line, length
from measure.geometry.rejoin import shifted_all
from measure.job import job, records
from measure.planning.planning import advise
from measure.sheet import sheet
from measure.steps.complete import complete
from measure.steps.drawing import drawing
from measure.steps.reconcile import reconcile
from measure.steps.sketch import sketch
from tests.broken_parts import bridge, off_mm, tear, wedge
from tests.test_complete import _job

CORNER = (44.0, 0.0)
"""Of the wedge, where its two edges meet that the break cuts (tests.broken_parts)."""

CLEAR_MM, TINY = 5.0, 1e-4
"""Right of the bridge's middle; and a share of the outline by which the break stays within its corners."""


@pytest.fixture
def broken(tmp_path: Path) -> Path:
    """A wedge with its corner off, as a job."""
    return _job(tmp_path / "job", wedge(), (0.28, 0.38))


def seen() -> Estimate:
    """The same wedge."""
    return tear(wedge(), (0.28, 0.38), np.random.default_rng(5), depth=1.0).estimate


@pytest.mark.parametrize(
    ("words", "step"),
    [
        ("on 12", On(by_mm=12)),
        ("On 12.5 mm", On(by_mm=12.5)),
        ("on to E3", On(to=Goal(label="E3"))),
        ("on to 30, -12.5", On(to=Goal((30, -12.5)))),
        ("to end", To(Goal())),
        ("arc to 3,4", Bend(Goal((3, 4)))),
        ("arc r5 to end left", Bend(Goal(), 5, turn="ccw")),
        ("arc through 28,9 to 30,12", Bend(Goal((30, 12)), through=(28, 9))),
        ("as e5 - r7", As("E5", "R7")),
    ],
)
def test_words_are_understood(words: str, step: object) -> None:
    assert steps_of(words) == (step,)


@pytest.mark.parametrize(
    "words", ["", ";;", "sideways 3", "on 0", "on 1e9", "to 1", "arc -5 to end", "to 9999,0", "on"]
)
def test_what_can_not_be_drawn_is_refused_in_a_sentence(words: str) -> None:
    with pytest.raises(WrongUsage):
        steps_of(words)


def lines_drawn(words: str) -> list[Line]:
    """What is drawn in the wedge's break."""
    features = seen().features
    return [s.feature for s in shaped(features, find_breaks(features)[0], steps_of(words))]


def test_straight_on_to_an_edge_meets_its_line() -> None:
    """Both lines go through the wedge's corner; the trace's noise is some hundredths of a millimetre."""
    first, last = lines_drawn("on to E2")
    assert math.dist(first.end, CORNER) < 0.3
    assert first.end == last.start


def test_a_typed_length_and_radius_are_kept() -> None:
    first, arc = lines_drawn("on 3; arc 6 to end")
    assert length(first) == pytest.approx(3)
    assert arc.radius == 6
    for p in (arc.start, arc.end):
        assert math.dist(p, arc.centre) == pytest.approx(6, abs=1e-6)


def test_an_arc_without_a_radius_leaves_no_corner() -> None:
    """Its centre lies square to the line before, where that ends."""
    first, arc = lines_drawn("on 2; arc to end")
    along = np.subtract(first.end, first.start)
    assert abs(along @ np.subtract(arc.centre, arc.start)) / length(first) == pytest.approx(0, abs=1e-6)


def test_as_on_the_other_side_is_the_mirror_image() -> None:
    """The bridge is mirrored about x = 0. What is torn off between two of its corners is drawn like the other side, to
    half the noise that its ends may have each and what the bent line between them hides."""
    whole = outer(bridge())
    ends = np.cumsum([length(f) for f in whole]) / sum(length(f) for f in whole)
    i = next(i for i, f in enumerate(whole) if f.kind == "line" and f.start[0] > CLEAR_MM < f.end[0] and f.start[1] > 9)
    b = tear(bridge(), (ends[i - 2] - TINY, ends[i + 1] + TINY), np.random.default_rng(5), depth=1.0)
    loop = outer(b.estimate.features)
    at = next(k for k, f in enumerate(loop) if f.kind == "curve")
    done = drawn(b.estimate, find_breaks(b.estimate.features)[0], f"as {loop[at + 2].label}-{loop[at + 4].label}")
    assert off_mm(b, done.estimate).max() < 0.3


def test_an_outline_that_crosses_itself_is_refused() -> None:
    e = seen()
    with pytest.raises(PartRefused, match="cross itself"):
        drawn(e, find_breaks(e.features)[0], "to 20,40; to end")


def test_what_was_drawn_goes_along_with_the_rest() -> None:
    """A part that is one hundredth larger in all: its seen features move by that, and the drawn corner goes along."""
    e = seen()
    done = drawn(e, find_breaks(e.features)[0], "to 45,1; to end").estimate
    larger = np.zeros(len(e.white))
    for f in e.features:
        at = e.slices()[f.label]
        if f.kind == "line":
            d = np.subtract(f.end, f.start) / length(f)
            larger[at] = [0.01 * (np.add(f.start, f.end) / 2) @ [d[1], -d[0]], 0]
        elif f.kind == "circle":
            larger[at] = [0.01 * f.centre[0], 0.01 * f.centre[1], 0.01 * f.radius]
    one = replace(e, sensitivity=larger[:, None], shared=np.eye(1), shared_names=("size",))
    made = drawn(one, find_breaks(e.features)[0], "to 45,1; to end").estimate
    moved = shifted_all(made.features, made.sensitivity[:, 0])
    for before, after in zip(done.features, moved, strict=True):
        if before.origin == "completed":
            mid = np.add(before.start, before.end) / 2
            u = np.subtract(before.end, before.start) / length(before)
            n = np.array([u[1], -u[0]])
            assert n @ (np.add(after.start, after.end) / 2) == pytest.approx(1.01 * n @ mid, abs=0.01)


def test_drawn_reconciled_and_sketched_and_listed(broken: Path) -> None:
    complete(broken, drawn="on 4; to 45,1; to end")
    record = records.from_text((broken / job.TRACE).read_text(), job.TRACE)
    made = {f.label for f in record.features if f.origin == "completed"}
    assert made == set(record.completed[0].features)
    assert record.completed[0].drawn == "on 4; to 45,1; to end"
    assert [f.label for f in record.broken] == ["C1"]
    reconcile(broken)
    sketch(broken)
    drawing = (broken / "sketch.svg").read_text()
    assert "COMPLETED" in (broken / "sketch.dxf").read_text()
    assert "filled by hand" in drawing
    assert all(label in drawing for label in made)
    complete(broken, by="seen", broken="C1")
    assert not (broken / job.SEEN).exists()


def lengths_of(folder: Path) -> list[Stated]:
    """All lengths that stand on the sketch of a job, in dimensions and in its table."""
    record = records.from_text((folder / job.MEASURED).read_text(), job.MEASURED)
    drawn_sheet = sheet.sketch(drawing(record, None))
    said = [d.wanted.stated for d in drawn_sheet.drawn] + [p.stated for p in drawn_sheet.listed]
    return [s for s in said if not s.is_angle]


def test_edges_that_hardly_turn_get_no_absurd_size(broken: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An edge drawn at 3° to the one before crosses it nobody knows where: no size is told of that corner."""
    complete(broken, drawn="on 2; to 47,0.25; to end")
    reconcile(broken)
    assert all(s.u95 is None or s.u95 < 1.0 or s.u95 < s.value / 4 for s in lengths_of(broken))
    monkeypatch.setattr(gauging, "LOST_MM", math.inf)
    absurd = [s for s in lengths_of(broken) if s.u95 is not None and s.u95 > s.value / 4]
    assert max(s.u95 or 0.0 for s in absurd) > 5  # so it would be, unless it is left out


def test_a_break_left_open_is_kept_as_broken(broken: Path) -> None:
    before = (broken / job.TRACE).read_bytes()
    complete(broken, broken="C1-E2", by="open")
    record = records.from_text((broken / job.TRACE).read_text(), job.TRACE)
    assert [f.label for f in record.broken] == ["C2"]
    assert "E2" not in [f.label for f in record.features]
    assert not any({"C2", "E2"} & set(d.features) for d in record.dimensions)
    assert not any(
        "C2" in s.features
        for s in advise(records.estimate(record, job.TRACE), thickness_mm=4.0, subject="part").suggestions
    )
    reconcile(broken)
    sketch(broken)
    assert "FRACTURE" in (broken / "sketch.dxf").read_text()
    assert "stays open" in (broken / "sketch.svg").read_text()
    complete(broken, by="open")
    assert (broken / job.TRACE).read_bytes() == before


@pytest.mark.parametrize(
    ("options", "code", "exit_code"),
    [
        (["--draw", "sideways 3"], "draw", 2),
        (["--draw", "on to E3"], "draw", 2),
        (["--draw", "to 20,40"], "draw", 1),
        (["--draw", "to end", "--by", "mirror"], "by", 2),
        (["--draw", "to end", "--broken", "E99"], "broken", 2),
    ],
)
def test_bad_input_on_the_command_line(broken: Path, capsys, options, code, exit_code) -> None:
    before = (broken / job.TRACE).read_bytes()
    assert run(app, ["complete", str(broken), *options, "--json"]) == exit_code
    out = capsys.readouterr()
    assert json.loads(out.out)["error"]["code"] == code
    assert "Traceback" not in out.err
    assert (broken / job.TRACE).read_bytes() == before
