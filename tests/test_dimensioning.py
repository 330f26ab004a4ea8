"""The choice of dimensions: complete, without closed chains, and as a draughtsperson would have it."""

import math

import numpy as np
import pytest

from measure.dimensioning.dimensioning import datum_turn, plan_dimensions
from measure.dimensioning.gauging import SIZES, EstimateGauge, ListGauge, Stated, shapes_of, slopes
from measure.dimensioning.scheme.freedom import Freedom
from measure.dimensioning.scheme.groups import equal_rounds, tangent
from measure.geometry.features import Circle, by_loop
from measure.geometry.motion import Motion
from measure.geometry.symmetry import mirror_axes, mirror_gap, turning
from tests.drawn_parts import belt, drawn_parts, estimate_of
from tests.simulated_parts import parts
from tests.simulated_traces import features_of, trace

PARTS = drawn_parts()
TABLED = {"uneven wheel", "even wheel"}


def plan_of(name):
    return plan_dimensions(PARTS[name], EstimateGauge(estimate_of(PARTS[name])))


def sizes(plan, form=None):
    """Kind, value and count of each dimension that does not merely follow from others."""
    return [
        (w.stated.kind, round(w.stated.value, 2), w.count)
        for w in plan.wanted
        if not w.auxiliary and form in (None, w.form)
    ]


def rows_of(plan):
    """(k, m) gradients of the dimensions after the parameters of all features, computed afresh."""
    shapes = shapes_of(plan.features)
    at, n = {}, 0
    for label, shape in shapes.items():
        at[label] = n
        n += shape.parameters
    arm = 20.0

    def row(f, labels):
        out = np.zeros(n)
        for label, part in zip(labels, slopes(f, [shapes[x] for x in labels]), strict=True):
            scale = 1 if shapes[label].is_round else np.array([1, arm])
            out[at[label] : at[label] + len(part)] += part / scale
        return out / np.linalg.norm(out)

    stated = [row(SIZES[w.stated.kind], w.stated.labels) for w in plan.wanted if not w.auxiliary]
    return np.array(stated), row, n


@pytest.mark.parametrize("name", PARTS)
def test_no_dimension_follows_from_the_others(name):
    rows, _, _ = rows_of(plan_of(name))
    assert np.linalg.matrix_rank(rows, tol=1e-6) == len(rows)


@pytest.mark.parametrize("name", sorted(set(PARTS) - TABLED))
def test_nothing_is_left_undimensioned(name):
    assert plan_of(name).loose == ()


@pytest.mark.parametrize("name", ["gusset", "tiny latch", "clip"])
def test_complete_by_an_independent_count(name):
    """With square edges, tangent fillets and equal groups, the dimensions leave three freedoms: those of the sheet."""
    plan = plan_of(name)
    rows, row, n = rows_of(plan)
    more = []
    lines = [f for f in plan.features if f.kind == "line"]
    angle = {f.label: shapes_of([f])[f.label].s for f in lines}
    square = [f for f in lines if min(abs(math.sin(2 * angle[f.label])), 1) < 1e-6]
    for f in square[1:]:
        more.append(row(lambda a, b: a.s - b.s, [square[0].label, f.label]))
    for fs in by_loop(plan.features).values():
        for a, b in zip(fs, [*fs[1:], *fs[:1]], strict=True):
            if a.kind != b.kind and tangent(a, b):
                arc, line = (a, b) if a.kind == "arc" else (b, a)
                more.append(row(lambda c, e: SIZES["offset"](c, e) - c.s, [arc.label, line.label]))
    for w in plan.wanted:
        for other in w.members[1:]:
            more.append(row(lambda a, b: a.s - b.s, [w.members[0], other]))
    assert np.linalg.matrix_rank(np.array([*rows, *more]), tol=1e-3) == n - 3


def test_a_size_that_closes_a_chain_is_refused():
    free = Freedom(shapes_of(PARTS["bare square"]), 15.0)
    for a, b in (("E1", "E2"), ("E1", "E3"), ("E1", "E4")):
        free.relate(lambda p, q: p.s - q.s, [a, b])
    assert free.dimension(SIZES["distance"], ["E1", "E3"])
    assert free.dimension(SIZES["distance"], ["E2", "E4"])
    assert not free.dimension(SIZES["distance"], ["E3", "E1"])
    assert free.left == 0


def test_datum_edges_and_places_from_them():
    plan = plan_of("gusset")
    assert plan.datums == ("E5", "E1")
    assert ("offset", 9.0, 1) in sizes(plan)
    assert ("offset", 31.0, 1) in sizes(plan)
    assert ("distance", 58.0, 1) in sizes(plan)
    assert ("distance", 41.0, 1) in sizes(plan)
    assert sizes(plan, "angle") == [("angle", pytest.approx(40.1, abs=0.1), 1)]


def test_equal_holes_and_fillets_are_told_once():
    plan = plan_of("plate with six holes")
    assert sizes(plan, "diameter") == [("diameter", 4.5, 6)]
    assert sizes(plan, "radius") == [("radius", 4.0, 4)]
    widths = [("distance", 76.0, 1), ("distance", 40.0, 1), ("centres", 62.0, 1), ("centres", 26.0, 1)]
    assert sizes(plan, "linear") == widths


def test_slots_by_width_and_centre_distance():
    plan = plan_of("slotted bar")
    widths = [w for w in plan.wanted if w.members and w.form == "linear"]
    assert [(w.stated.kind, round(w.stated.value, 2), w.count) for w in widths] == [("distance", 6.2, 2)]
    assert ("centres", 39.8, 1) in sizes(plan)
    assert ("centres", 13.8, 1) in sizes(plan)
    assert [round(w.stated.value, 2) for w in plan.wanted if w.auxiliary] == [110.0]


def test_a_slanting_slot_gets_an_angle():
    plan = plan_of("plate with a slanting slot")
    assert ("angle", pytest.approx(math.degrees(math.atan2(13, 22)), abs=0.01), 1) in sizes(plan, "angle")


def test_round_parts_are_measured_from_the_largest_round():
    plan = plan_of("flange")
    assert plan.datums == ("D1", "D1")
    assert sizes(plan) == [("diameter", 18.2, 1), ("diameter", 4.4, 6), ("diameter", 48.0, 1), ("pitch", 34.0, 6)]


def test_arcs_of_more_than_half_a_turn_by_diameter():
    assert sizes(plan_of("open ring"), "diameter") == [("diameter", 26.8, 1), ("diameter", 18.4, 1)]


def test_lobes_by_pitch_circle_radii_and_their_turn_against_the_flat():
    plan = plan_of("knob of twelve arcs")
    kinds = {k for k, _, _ in sizes(plan)}
    assert kinds == {"diameter", "offset", "radius", "pitch", "bearing"}
    assert ("radius", 5.2, 6) in sizes(plan)
    assert ("radius", 6.4, 6) in sizes(plan)
    assert ("pitch", 31.0, 6) in sizes(plan)


def test_a_comb_needs_few_words():
    plan = plan_of("comb")
    assert len(plan.features) == 56
    assert len(plan.wanted) == 11


def test_an_even_wheel_gives_one_tooth_by_table_and_an_uneven_one_all():
    assert plan_of("even wheel").loose == ("E1", "E2", "E3", "E4")
    assert plan_of("even wheel").turning.order == 9
    assert len([x for x in plan_of("uneven wheel").loose if x.startswith("E")]) == 36


def test_a_part_that_lies_askew_is_drawn_straight():
    turn = datum_turn(PARTS["gusset lying askew"])
    assert math.degrees(turn) == pytest.approx(-17.0, abs=1e-6)
    assert datum_turn(PARTS["gusset"]) == 0.0
    of_the_second_hole = (("diameter", 3.4, 1), ("offset", 47.0, 1), ("offset", 6.5, 1))
    upright = [s for s in sizes(plan_of("gusset")) if s not in of_the_second_hole]
    assert sizes(plan_of("gusset lying askew")) == upright


def test_a_tapered_bar_lies_along_its_axis_not_along_an_edge():
    bar = features_of([belt([(-47, 0, 9), (47, 0, 12.5)])])
    assert datum_turn(bar) == 0.0
    assert datum_turn(tuple(Motion(0.2, (3.0, 4.0)).of(f) for f in bar)) == pytest.approx(-0.2)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("name", ["plate", "bracket", "lever", "ring", "hatch"])
def test_noise_does_not_change_what_is_stated(name, seed):
    """Seen through the errors of a photo, a part still shows its symmetry, its groups and its datums."""
    part = next(p for p in parts() if p.name == name)
    true = plan_dimensions(part.features, EstimateGauge(estimate_of(part.features)))
    seen = trace(part.features, part.thickness_mm, np.random.default_rng(seed), noise=0.5).estimate
    plan = plan_dimensions(seen.features, EstimateGauge(seen))
    assert plan.loose == ()
    assert abs(len(plan.wanted) - len(true.wanted)) <= 2
    assert len(plan.axes) == len(true.axes)


def test_without_any_uncertainty_the_sizes_are_the_same():
    bare = plan_dimensions(PARTS["gusset"], ListGauge(PARTS["gusset"]))
    assert sizes(bare) == sizes(plan_of("gusset"))
    assert all(w.stated.u95 is None for w in bare.wanted)


# ---------------------------------------------------------------- equal rounds
def radii(*stated):
    """Circles of radii with their u95, and a gauge that says so."""
    circles = [Circle(f"D{i}", 0, (10.0 * i, 0.0), r) for i, (r, _) in enumerate(stated, 1)]
    gauge = ListGauge(
        circles, [Stated("radius", (c.label,), c.radius, u) for c, (_, u) in zip(circles, stated, strict=True)]
    )
    return [[c.radius for c in group] for group in equal_rounds(circles, gauge)]


def test_radii_are_equal_if_they_differ_by_no_more_than_both_are_uncertain_by():
    assert radii((2.0, 0.1), (2.1, 0.1)) == [[2.1, 2.0]]
    assert radii((1.9, 0.1), (2.1, 0.06)) == [[2.1], [1.9]]


def test_radii_that_hardly_anything_is_known_of_are_no_reason_to_call_them_equal():
    assert radii((3.0, 0.1), (2.5, 0.6)) == [[3.0], [2.5]]


def test_a_row_of_radii_does_not_lead_from_the_first_to_another():
    assert radii((2.13, 0.1), (2.02, 0.1), (1.91, 0.1)) == [[2.13, 2.02], [1.91]]


@pytest.mark.parametrize("name", PARTS)
def test_the_uncertainty_of_a_size_that_several_share_holds_for_each(name):
    """But for the lobes of an outline that repeats: that it does says that they are equal."""
    gauge, plan = EstimateGauge(estimate_of(PARTS[name])), plan_of(name)
    shared = [w.stated for w in plan.wanted if w.stated.kind in ("radius", "diameter") and w.count > 1]
    for size in shared if plan.turning is None else ():
        for each in (gauge(size.kind, (x,)) for x in size.labels):
            assert size.u95 >= each.u95
            assert abs(each.value - size.value) <= size.u95


# ---------------------------------------------------------------- symmetry
def test_mirror_axes():
    assert len(mirror_axes(PARTS["plate with six holes"], 0.05)) == 2
    (axis,) = mirror_axes(PARTS["open ring"], 0.05)
    assert axis.angle_rad % math.pi == pytest.approx(0.0, abs=1e-9)
    assert mirror_axes(PARTS["gusset"], 0.05) == []
    assert mirror_axes(PARTS["nearly even plate"], 0.3) == []
    assert len(mirror_axes(PARTS["nearly even plate"], 0.9)) == 1
    washer = (Circle("D1", 0, (0.0, 0.0), 10.0), Circle("D2", 1, (0.5, 0.0), 4.0))  # one feature in the very centre
    assert [math.sin(a.angle_rad) for a in mirror_axes(washer, 0.05)] == pytest.approx([0.0], abs=1e-9)


def test_turning():
    assert turning(PARTS["even wheel"], 0.05).order == 9
    assert turning(PARTS["uneven wheel"], 0.05) is None
    assert turning(PARTS["knob of twelve arcs"], 0.05).order == 6


def test_distance_from_the_mirror_image():
    gap, at = mirror_gap(PARTS["nearly even plate"])
    assert gap == pytest.approx(0.8, abs=0.15)  # one hole stands 0.8 mm farther out than the other
    assert abs(abs(at[0]) - 17) < 4
    assert mirror_gap(PARTS["open ring"])[0] < 0.01
    assert mirror_gap(PARTS["gusset"])[0] > 5
