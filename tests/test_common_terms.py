"""What photos have wrong together."""

from dataclasses import replace

import numpy as np
import pytest

from calib.view.terms import view_root
from calib.view.view import View
from measure.edges.shared_terms import DIRECTIONS
from measure.geometry.features import Circle, Estimate
from measure.geometry.rejoin import shifted_all
from measure.several.common_terms import by_light, contributions
from tests.simulated_parts import parts

FEATURES = parts()[1].features
M = sum(2 if f.kind == "line" else 3 for f in FEATURES)


def photo(seed: int) -> tuple[Estimate, View]:
    """A photo with a view of invented errors, some of them from what was known beforehand."""
    rng = np.random.default_rng(seed)
    size = 10.0 ** rng.uniform(-4, 1, 10)
    own, known = (rng.normal(size=(10, k)) * size[:, None] for k in (14, 5))
    covariance = own @ own.T + known @ known.T
    view = View(np.r_[np.zeros(3), 10.0, -20.0, 300.0, 3000.0, 2000.0, 1500.0, 0.01], covariance, (4000, 3000), known)
    by_view = rng.normal(size=(M, 10)) / size
    names = (*(f"view_{k}" for k in range(10)), "thickness", "spread", "rim_0")
    sensitivity = np.c_[by_view @ view_root(covariance), rng.normal(size=(M, 3))]
    return Estimate(FEATURES, np.eye(M) * 1e-4, names, sensitivity, np.diag([*np.ones(10), 0.025**2, 1, 1])), view


def without_light(e: Estimate) -> Estimate:
    keep = [not n.startswith("light") for n in e.shared_names]
    return replace(e, sensitivity=e.sensitivity[:, keep], shared=e.shared[np.ix_(keep, keep)])


def test_splitting_the_view_leaves_its_covariance():
    e, view = photo(1)
    (split,) = contributions([e], [view], [("id-1", "phone")])
    assert without_light(split.estimate).covariance() == pytest.approx(e.covariance(), rel=1e-6)
    again = split.view_by_term @ split.estimate.shared @ split.view_by_term.T
    sd = np.sqrt(np.diag(view.covariance))
    assert again / np.outer(sd, sd) == pytest.approx(view.covariance / np.outer(sd, sd), abs=1e-9)


def test_what_the_card_does_is_told_from_the_rest():
    e, view = photo(2)
    (split,) = contributions([e], [view], [("id-1", "phone")])
    of_card = [n for n in split.estimate.shared_names if n.endswith("of the id-1")]
    assert of_card == ["width of the id-1", "height of the id-1", "thickness of the id-1"]
    at = [split.estimate.shared_names.index(n) for n in of_card]
    assert split.view_by_term[:, at] == pytest.approx(view.by_prior[:, 2:], rel=1e-6)


def test_terms_of_one_name_are_those_of_one_card_and_one_camera():
    two = [photo(3), photo(4)]
    estimates, views = zip(*two, strict=True)

    def common(*sources):
        a, b = (set(s.estimate.shared_names) for s in contributions(estimates, views, sources))
        return {n.split(" ")[0] for n in a & b}

    part = {"thickness", "spread"}
    card = {"width", "height"}  # and its thickness, which begins like the part's
    assert common(("id-1", "phone"), ("id-1", "phone")) == part | card | {"focal", "radial"}
    assert common(("id-1", "phone"), ("id-1", "other")) == part | card
    assert common(("id-1", "phone"), ("a4", "phone")) == part | {"focal", "radial"}


def test_a_view_that_does_not_say_counts_as_much_as_may_be_as_the_card():
    e, view = photo(5)
    (split,) = contributions([e], [replace(view, by_prior=None)], [("id-1", "phone")])
    assert without_light(split.estimate).covariance() == pytest.approx(e.covariance(), rel=1e-6)
    scale = split.view_by_term[:, split.estimate.shared_names.index("width of the id-1")]
    away = np.r_[np.zeros(3), view.parameters[3:6], np.zeros(4)]
    # along a change of distance alone, and the largest that the covariance has room for
    assert scale / np.linalg.norm(scale) == pytest.approx(away / np.linalg.norm(away), abs=1e-6)
    assert scale @ np.linalg.solve(view.covariance, scale) == pytest.approx(1, rel=1e-6)


def test_light_all_round_makes_the_outside_larger_and_holes_smaller():
    e, _ = photo(6)
    grown = shifted_all(FEATURES, by_light(e) @ np.full(DIRECTIONS, 0.01))
    for f, g in zip(FEATURES, grown, strict=True):
        if f.kind == "circle":
            assert g.centre == pytest.approx(f.centre, abs=1e-9)
            assert g.radius == pytest.approx(f.radius - 0.01)
        elif f.kind == "arc":
            assert g.radius == pytest.approx(f.radius, abs=1e-6)  # an arc goes out as a whole
            assert np.hypot(*np.subtract(g.centre, f.centre)) == pytest.approx(0.01, rel=1e-3)


def test_light_from_one_side_moves_a_hole():
    hole = Circle("D1", 1, (3.0, 4.0), 2.0)
    none = np.zeros((3, 0))
    by = by_light(Estimate((hole,), np.eye(3), (), none, np.zeros((0, 0))))
    # edges that face +x lie on the hole's -x side; out is towards +x, into the hole
    assert by[0, 0] > 0
    assert by[1, 0] == pytest.approx(0, abs=1e-12)
    assert by[2, 0] < 0
