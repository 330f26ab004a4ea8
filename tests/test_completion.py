"""Broken parts: what is completed lies where the whole part's boundary was, and its uncertainty holds."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from calib.errors import JobRefused, WrongUsage
from measure.broken.breaks import Break, check_length, find_breaks, marked_break, outer
from measure.broken.completion.one_break import completed
from measure.broken.completion.outcome import Completed
from measure.broken.continuing import LEAST_SURE_MM, corner_covariance, meeting
from measure.broken.mending import in_words, mended
from measure.geometry.dimensions import list_dimensions, size_of
from measure.geometry.features import PARAMETERS, flatten, same_kind
from measure.job.records import OPEN_BY_MM
from tests.broken_parts import Broken, bridge, off_mm, roof, star_knob, tear, wedge
from tests.simulated_parts import circle, polygon
from tests.simulated_traces import features_of

# Shares of the outer loop where breaks may begin so that their counterpart is whole and the fracture lies inside.
RIGHT_OF_BRIDGE = (0.13, 0.19)


def _tried(part, way, width, starts, trials):
    out = []
    for seed in range(trials):
        rng = np.random.default_rng(seed)
        a = rng.uniform(*starts)
        b = tear(part, (a, a + width), rng, depth=1.0)
        which = find_breaks(b.estimate.features)[0]
        out.append((b, completed(b.estimate, which, [], way)))
    return out


def _whole(b: Broken) -> shapely.Polygon:
    return shapely.Polygon(np.concatenate([flatten(f)[:-1] for f in b.whole if f.loop == 0]))


def _sound(b: Broken) -> bool:
    """Does the fracture lie within the part, as fractures do?"""
    curve = next(f for f in b.estimate.features if f.kind == "curve")
    return _whole(b).buffer(0.3).covers(shapely.LineString(curve.points))


def _holds_together(done: Completed) -> None:
    e = done.estimate
    loop = [f for f in e.features if f.loop == 0]
    for f, g in zip(loop, [*loop[1:], loop[0]], strict=True):
        assert np.hypot(*(flatten(f)[-1] - flatten(g)[0])) < OPEN_BY_MM / 4, (f.label, g.label)
    assert len({f.label for f in e.features}) == len(e.features)
    m = sum(PARAMETERS[f.kind] for f in e.features)
    assert e.white.shape == (m, m)
    assert e.sensitivity.shape[0] == m
    assert np.linalg.eigvalsh(e.white).min() > -1e-9


@pytest.mark.parametrize(
    ("part", "way", "width", "starts"),
    [(bridge(), "mirror", 0.11, RIGHT_OF_BRIDGE), (star_knob(), "turn", 0.07, (0.0, 0.85))],
    ids=["mirror", "turn"],
)
def test_copies_lie_within_015_mm_of_what_is_missing(part, way, width, starts):
    trials = [(b, d) for b, d in _tried(part, way, width, starts, 80) if _sound(b)]
    assert len(trials) >= 50
    p95 = []
    for b, done in trials:
        assert isinstance(done, Completed), done
        _holds_together(done)
        p95.append(np.quantile(off_mm(b, done.estimate), 0.95))
    assert np.quantile(p95, 0.95) <= 0.15  # the goal that was set


def test_uncertainty_of_completed_sizes_holds():
    """Distances and radii with completed features, against the truth: at least 19 in 20 lie within u95."""
    hit, total = 0, 0
    for b, done in _tried(bridge(), "mirror", 0.11, RIGHT_OF_BRIDGE, 50):
        if not isinstance(done, Completed):
            continue
        named = {f.label: f for f in done.estimate.features}
        twin = {}
        for label, f in named.items():  # the true feature that lies nearest, of the same kind
            like = [g for g in b.whole if same_kind(g, f) and g.loop == f.loop]
            twin[label] = min(like, key=lambda g, f=f: shapely.LineString(flatten(f)).hausdorff_distance(
                shapely.LineString(flatten(g))))  # fmt: skip
        for d in list_dimensions(done.estimate):
            if not any(x in (*done.fresh, *done.prolonged) for x in d.features):
                continue
            true = size_of(d.kind, [twin[x] for x in d.features]).value_mm
            total += 1
            hit += abs(true - d.value_mm) <= d.u95_mm
    assert total > 200
    assert hit / total > 0.93


def test_a_corner_broken_off_where_both_edges_go_on():
    hit = 0
    for b, done in _tried(wedge(), "extend", 0.1, (0.28, 0.3), 50):  # over the corner at a third of the way round
        assert isinstance(done, Completed), done
        _holds_together(done)
        assert done.fresh == ()
        hit += np.quantile(off_mm(b, done.estimate), 0.95) <= 0.15
    assert hit >= 45


@pytest.mark.parametrize("arched", [False, True], ids=["lines", "arc"])
def test_a_corner_lies_where_its_uncertainty_says(arched):
    """Ridges broken off at random: at least 92 of 100 true corners lie within u95 along and across; the rest,
    less sure than the limit, are refused by name of the reason."""
    hit, least, total, refused = 0, 0, 0, 0
    for seed in range(250):
        rng = np.random.default_rng(seed)
        b = tear(*roof(rng, arched), rng, depth=1.0)
        fs, which = outer(b.estimate.features), find_breaks(b.estimate.features)[0]
        f, g = fs[which.before()], fs[which.after()]
        met = meeting(b.estimate, f, g, np.hypot(*np.subtract(f.end, g.start)))
        if isinstance(met, str):
            refused += "meet" in met
            continue
        assert not met.one
        assert met.u95_mm <= LEAST_SURE_MM
        total += 1
        at = np.array(met.at)  # the true corner is the origin
        variance, ways = np.linalg.eigh(corner_covariance(b.estimate, f, g, at))
        along = np.abs(ways.T @ at) / np.sqrt(variance)
        hit += along[1] <= 1.96
        least += along[0] <= 1.96
    assert refused == 250 - total > 20
    assert total > 120
    assert hit / total >= 0.92
    assert least / total >= 0.92


def test_an_arc_that_is_cut_in_two_is_one_again():
    upper = {"kind": "arc", "centre": (0, 0), "radius": 10.0, "start": (10, 0), "end": (-10, 0), "turn": "ccw"}
    lower = {**upper, "start": (-10, 0), "end": (10, 0)}
    ring = features_of([[upper, lower], circle(0, 3, 4)])
    b = tear(ring, (0.1, 0.2), np.random.default_rng(1))
    done = completed(b.estimate, find_breaks(b.estimate.features)[0], [], "extend")
    assert isinstance(done, Completed), done
    _holds_together(done)
    assert len(done.merged) == 1
    assert np.quantile(off_mm(b, done.estimate), 0.95) <= 0.15


def test_a_part_that_is_no_image_of_itself_is_not_mirrored():
    b = tear(wedge(), (0.28, 0.38), np.random.default_rng(3), depth=1.0)
    done = completed(b.estimate, find_breaks(b.estimate.features)[0], [], "mirror")
    assert not done


def test_a_slightly_lopsided_part_is_not_mirrored():
    """0.6 mm wider on the left: far beyond 0.03 mm of noise."""
    left = [(-11.6, 22, 2), (-15.6, 9, 3), (-28.6, 9, 2), (-28.6, 0, 2)]
    corners = [(28, 0, 2), (28, 9, 2), (15, 9, 3), (11, 22, 2), *left]
    part = features_of([polygon(corners), circle(-21, 4.5, 2), circle(21, 4.5, 2), circle(0, 14, 3)])
    for seed in range(10):
        b = tear(part, (0.05, 0.18), np.random.default_rng(seed), depth=1.0)
        done = completed(b.estimate, find_breaks(b.estimate.features)[0], [], "mirror")
        assert not done
        assert "off by" in done.why


def test_a_break_across_the_axis_is_not_copied_from_itself():
    b = tear(bridge(), (0.22, 0.34), np.random.default_rng(0), depth=1.0)
    done = completed(b.estimate, find_breaks(b.estimate.features)[0], [], "mirror")
    assert not done


def test_the_best_evidence_is_taken_and_said():
    b = tear(bridge(), (0.15, 0.26), np.random.default_rng(5), depth=1.0)
    found = mended(b.estimate)
    assert found.breaks[0].way == "mirror"
    words = in_words(found.breaks[0])
    assert "mirrored" in words
    assert "mm" in words
    assert [f.label for f in found.broken] == [f.label for f in found.breaks[0].broken]
    assert {f.origin for f in found.estimate.features if f.label in found.breaks[0].fresh} == {"completed"}


def test_no_break():
    with pytest.raises(JobRefused, match="No break"):
        find_breaks(bridge())


@pytest.mark.parametrize(("words", "what"), [("E99", "no E99"), ("D1", "hole"), ("E1 to E2", "does not say where")])
def test_marks_that_are_none(words, what):
    with pytest.raises(WrongUsage, match=what):
        marked_break(bridge(), words)


def test_marks_run_in_order_of_travel_and_past_the_end():
    part = bridge()
    loop = [f.label for f in part if f.loop == 0]
    b = marked_break(part, f"{loop[-1]}-{loop[1]}")
    assert b.members() == [len(loop) - 1, 0, 1]


def test_most_of_the_boundary_broken():
    part = bridge()
    loop = [f.label for f in part if f.loop == 0]
    with pytest.raises(JobRefused, match="%"):
        check_length(part, [Break(0, len(loop) - 3, len(loop))])
    with pytest.raises(WrongUsage, match=f"was {loop[-4]}-{loop[0]} meant"):  # the other way round it would do
        marked_break(part, f"{loop[0]}-{loop[-4]}")
