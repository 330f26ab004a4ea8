"""Even teeth: cut alike, their errors shared, told as a pattern; what is not even stays as it is."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from measure.dimensioning.dimensioning import plan_dimensions
from measure.dimensioning.gauging import EstimateGauge
from measure.dimensioning.scheme.values import Plan
from measure.geometry.features import Estimate
from measure.geometry.symmetry import turning
from measure.outline.odd_teeth import MISFIT, misfit, teeth_that_differ
from measure.outline.outline import outline
from measure.outline.teeth import even_teeth
from measure.planning.planning import advise
from measure.sheet.marks import Text
from measure.sheet.sheet import Drawing, sketch
from tests.accuracy import shapes
from tests.test_outline import loop_of

SCALE_SD = 1e-3
NO_BLUR_MM = 0.001
"""The points are drawn without any."""
HUB = shapes.circle((0, 0), 4.0)
WHEELS = {
    "12 teeth": (shapes.toothed(12, 20, 17.6, 0.5, 0.5), 12),
    "24 teeth": (shapes.toothed(24, 24, 22, 0.5, 0.5), 24),
    "14 saw teeth": (shapes.sawtooth(14, 18, 15, 0.4, 0.6), 14),
    "16 sharp teeth": (shapes.toothed(16, 18, 15.5, 0, 0), 16),
}


def wheel(segments, seed=1, noise_mm=0.012, holes=(HUB,)) -> Estimate:
    rng = np.random.default_rng(seed)
    loops = [loop_of(s, k > 0, noise_mm, rng) for k, s in enumerate([segments, *holes])]
    return outline(loops, ("scale",), np.array([[SCALE_SD**2]]), NO_BLUR_MM)


def plan_of(e: Estimate) -> Plan:
    return plan_dimensions(e.features, EstimateGauge(e))


def true_circles(segments) -> dict[str, float]:
    """Diameters of the circles round and within a drawn outline, from points along it."""
    ring = shapes.flatten(segments, 0.00005)
    ahead = np.roll(ring, -1, 0) - ring
    r = np.hypot(*np.concatenate([ring + t * ahead for t in np.linspace(0, 1, 21)]).T)
    return {"tips": 2 * float(r.max()), "roots": 2 * float(r.min())}


def without_one(n: int, r_tip: float, r_root: float):
    """A wheel with a tooth broken off at the root."""
    w, vertices = 2 * math.pi / n, []
    for k in range(n):
        for r, at in ((r_tip, -0.175), (r_tip, 0.175), (r_root, 0.325), (r_root, 0.675)):
            r_here = r_root if k == 3 else r
            vertices.append((r_here * math.cos((k + at) * w), r_here * math.sin((k + at) * w), 0.0))
    return shapes.polygon(vertices)


@pytest.mark.parametrize("name", WHEELS)
def test_every_tooth_gets_the_drawn_pieces(name: str) -> None:
    segments, n = WHEELS[name]
    found = [f.kind for f in wheel(segments).features if f.loop == 0]
    true = [s["kind"] for s in segments]
    assert len(found) == len(true)
    assert found == found[: len(found) // n] * n
    assert found.count("arc") == true.count("arc")


def test_fillets_of_half_a_millimetre_are_known_by_all_teeth_together() -> None:
    """A dozen points a tooth; one fillet has two or three. Within three of its own standard deviations, and 0.1 mm."""
    e = wheel(WHEELS["24 teeth"][0], noise_mm=0.015)
    covariance, at = e.covariance(), e.slices()
    arcs = [f for f in e.features if f.kind == "arc"]
    for f in arcs[:4]:
        sd = math.sqrt(covariance[at[f.label], at[f.label]][2, 2])
        assert abs(f.radius - 0.5) < min(3 * sd, 0.1)
        noise = math.sqrt(e.white[at[f.label], at[f.label]][2, 2])  # the rest of sd is what all tight fillets share
        assert noise < 0.08


def test_errors_of_all_teeth_are_the_same_ones() -> None:
    """The mean of all fillets' radii is no surer than one of them."""
    e = wheel(WHEELS["12 teeth"][0])
    at = e.slices()
    first = [f for f in e.features if f.kind == "arc"][::4]
    rows = [at[f.label].start + 2 for f in first]
    block = e.white[np.ix_(rows, rows)]
    assert len(rows) == 12
    assert block.mean() == pytest.approx(block[0, 0], rel=0.05)


@pytest.mark.parametrize("name", WHEELS)
def test_tip_and_root_circle_are_told_and_hold_the_truth(name: str) -> None:
    segments, n = WHEELS[name]
    inside = []
    for seed in range(8):
        plan = plan_of(wheel(segments, seed, 0.008 + 0.002 * seed))
        found = {w.form: w for w in plan.wanted if w.form in ("tips", "roots")}
        assert set(found) == {"tips", "roots"}, seed
        for form, true in true_circles(segments).items():
            assert found[form].count == n
            u95 = found[form].stated.u95
            assert u95 is not None
            inside.append(abs(found[form].stated.value - true) <= u95)
    assert np.mean(inside) >= 0.9  # of 16, 19 in 20 are promised
    assert {w.form for w in plan.wanted} <= {"tips", "roots", "diameter"}


def test_the_table_gives_one_tooth() -> None:
    plan = plan_of(wheel(WHEELS["24 teeth"][0]))
    assert plan.turning is not None
    assert plan.turning.order == 24
    assert len([x for x in plan.loose if x.startswith(("E", "R"))]) == 8
    assert {f.label for f in plan.named if f.loop == 0} <= set(plan.loose)


def test_the_sheet_says_so() -> None:
    e = wheel(WHEELS["24 teeth"][0])
    sheet = sketch(Drawing("wheel", e.features, estimate=e, thickness_mm=4.0))
    words = [m.content for m in (*sheet.marks, *(m for d in sheet.drawn for m in d.marks)) if isinstance(m, Text)]
    assert "24 teeth, evenly." in words
    assert any("over 24 teeth" in w for w in words)
    assert any(w.startswith("Ø43.9") or "43.9" in w for w in words)
    assert any("The table gives one tooth" in w for w in words)
    labels = [w for w in words if w[:1] in "ER" and w[1:].isdigit()]
    assert len(set(labels)) <= 8 + 1  # one tooth, on the sheet and in its table


def test_a_turned_wheel_elsewhere_has_the_same_teeth() -> None:
    segments = shapes.move(WHEELS["12 teeth"][0], 70, -20, 33)
    e = wheel(segments, holes=(shapes.circle((70, -20), 4.0),))
    found = {w.form: w.stated.value for w in plan_of(e).wanted}
    assert found["tips"] == pytest.approx(true_circles(WHEELS["12 teeth"][0])["tips"], abs=0.04)


def test_teeth_of_a_ring_point_inwards() -> None:
    """A round plate with a toothed hole: the loop runs clockwise."""
    hole = shapes.reverse(WHEELS["12 teeth"][0])
    e = wheel(shapes.circle((0, 0), 30.0), holes=(hole,))
    found = [f.kind for f in e.features if f.loop == 1]
    assert found == found[:8] * 12
    assert sorted(found[:8]) == ["arc"] * 4 + ["line"] * 4


@pytest.mark.parametrize(
    "segments",
    [
        without_one(14, 20.0, 17.5),
        shapes.lobed(5, 13.0, 4.6, 5.4, 0.3),
        shapes.polygon([(-24, -11, 3), (24, -11, 3), (24, 11, 3), (-24, 11, 3)]),
        shapes.circle((0, 0), 20.0),
    ],
    ids=["a tooth is gone", "five lobes", "a plate", "a disc"],
)
def test_what_has_no_even_teeth_stays_as_it_is(segments) -> None:
    assert even_teeth(loop_of(segments, False, 0.012, np.random.default_rng(2))) is None


def test_worn_teeth_are_drawn_like_the_others_and_it_is_said() -> None:
    """Two teeth of fourteen that are 0.8 mm shorter: the rest says what they were."""
    segments = WHEELS["14 saw teeth"][0]
    loop = loop_of(segments, False, 0.01, np.random.default_rng(3))
    r, a = np.hypot(*loop.points_mm.T), np.arctan2(loop.points_mm[:, 1], loop.points_mm[:, 0])
    worn = (np.abs(a - math.pi / 14) < 2 * math.pi / 14) & (r > 17.0)
    points = np.where(worn[:, None], loop.points_mm * (17.0 / r)[:, None], loop.points_mm)
    assert teeth_that_differ([loop], [loop]) == ()
    teeth = even_teeth(replace(loop, points_mm=points))
    assert teeth is not None
    assert np.hypot(*teeth.loop.points_mm.T).max() == pytest.approx(true_circles(segments)["tips"] / 2, abs=0.05)
    as_worn = replace(loop, points_mm=points)
    unseen = replace(loop, sigma_mm=np.where(worn, np.inf, loop.sigma_mm))  # where they should be there is no edge
    for again in (as_worn, unseen):
        (caution,) = teeth_that_differ([as_worn], [again])
        assert caution.code == "teeth-differ"
        assert caution.text.startswith("2 of 14 teeth")
    assert teeth_that_differ([as_worn], [loop]) == ()  # a shadow at first: their edges are found after all


def test_one_tooth_less_worn_than_an_odd_edge_differs_from_teeth_that_are_alike() -> None:
    """0.2 mm off one tooth is less than `ODD_MM`, and twenty times what these points stray."""
    segments = WHEELS["14 saw teeth"][0]
    loop = loop_of(segments, False, 0.01, np.random.default_rng(5))
    r, a = np.hypot(*loop.points_mm.T), np.arctan2(loop.points_mm[:, 1], loop.points_mm[:, 0])
    worn = (np.abs(np.remainder(a, 2 * math.pi) - 2 * math.pi * 3 / 14) < math.pi / 14) & (r > 16.0)
    off = replace(loop, points_mm=loop.points_mm - 0.2 * worn[:, None] * loop.normals)
    (caution,) = teeth_that_differ([off], [off])
    assert caution.text.startswith("1 of 14 teeth")


def test_a_tooth_drawn_otherwise_than_it_was_seen_is_a_misfit() -> None:
    """Tips 0.25 mm higher than they are; a right outline strays by noise alone."""
    seen = loop_of(WHEELS["12 teeth"][0], False, 0.012, np.random.default_rng(6))
    teeth = even_teeth(seen)
    assert teeth is not None
    assert misfit(wheel(WHEELS["12 teeth"][0], 6), 0, teeth) < MISFIT / 2
    assert misfit(wheel(shapes.toothed(12, 20.25, 17.6, 0.5, 0.5), 6), 0, teeth) > MISFIT


def test_noise_without_an_edge_somewhere_is_no_hindrance() -> None:
    loop = loop_of(WHEELS["12 teeth"][0], False, 0.012, np.random.default_rng(4))
    sigma = loop.sigma_mm.copy()
    sigma[40:43] = np.inf
    teeth = even_teeth(replace(loop, sigma_mm=sigma))
    assert teeth is not None
    assert teeth.count == 12
    assert np.isfinite(teeth.loop.sigma_mm).all()


def test_corners_of_a_polygon_are_no_teeth() -> None:
    corners = [2 * math.pi * k / 9 for k in range(9)]
    nonagon = shapes.polygon([(20 * math.cos(a), 20 * math.sin(a), 1.0) for a in corners])
    e = wheel(nonagon)
    repeats = turning(e.features, 0.2)
    assert repeats is not None
    assert repeats.order == 9
    assert not plan_of(e).toothed


def test_jaws_are_sent_over_the_teeth() -> None:
    """Where the scale is what is least known, the widest reading tells most: over opposite tips."""
    e = wheel(WHEELS["24 teeth"][0])
    e = replace(e, shared=e.shared * 9)
    first = advise(e, thickness_mm=0.0).suggestions[0]
    ends = {f.label: (f.start, f.end) for f in e.features if f.kind == "line"}
    tips = {label for label, both in ends.items() if min(math.hypot(*p) for p in both) > 23.5}
    assert first.kind == "width"
    assert set(first.features) <= tips
