"""Several rectangles in one view: derivatives, the same answer as one card alone, and coverage of the truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calib.arrays import Array
from calib.paper.formats import A4, CUT_SHARE, PAPER_SD_MM
from calib.view.joint import FALLING, MODES, JointView, LyingRectangle, _AllPoints, modes, placed, solve_jointly
from calib.view.view import Prior, SideEdges, derivative, project, side_points, solve
from tests.test_view import CARD, SIZE, parameters

PRIOR = Prior(3100.0, 0.03, ((SIZE[0] - 1) / 2, (SIZE[1] - 1) / 2), 15.0)
CUT_MM = CUT_SHARE * PAPER_SD_MM
FAR = np.array([[-60.0, -70.0], [-20.0, -62.0]])
"""Ends of a part beside card and sheet's middle, in the first one's frame."""


def body(
    q: Array, size: tuple[float, float], place: tuple[float, float, float], top: float, cut_mm: float, rng
) -> tuple[SideEdges, ...]:
    """Located sides of a rectangle that was cut a little askew: what `LyingRectangle` says, drawn at random."""
    out = []
    for k in range(4):
        along = np.linspace(-0.47, 0.47, 24)
        X = side_points(k, along, *size, 0.0)[:, :2]
        out_mm = side_points(k, np.zeros(1), 1, 1, 0)[0, :2] * 2
        stray = modes(along) @ (rng.normal(0, cut_mm, MODES) * FALLING)
        X = placed(X + stray[:, None] * out_mm, np.array(place))
        px = project(q, np.c_[X, np.full(len(X), top)])
        u = np.gradient(px, axis=0)
        n = np.c_[-u[:, 1], u[:, 0]] / np.hypot(*u.T)[:, None]
        off = rng.normal(0, 0.1, len(px)) + rng.normal(0, 0.12) + rng.normal(0, 0.08) * (1 - 8 * along**2)
        out.append(SideEdges(k, along, True, px + off[:, None] * n, n, np.full(len(px), 0.1)))
    return tuple(out)


def scene(rng, relative: float = 0.03) -> tuple[Array, LyingRectangle, LyingRectangle]:
    """A camera, a card and a sheet under it, both drawn from what is known of them."""
    q = parameters(
        rng.uniform(3, 25), rng.uniform(0, 360), rng.uniform(-180, 180), rng.uniform(300, 420),
        3100 * (1 + rng.normal(0, relative)), rng.normal(0, 0.02),
    )  # fmt: skip
    q[7:9] = np.array(PRIOR.centre_px) + rng.normal(0, 15, 2)
    place = (rng.uniform(-60, 60), rng.uniform(-40, 40), rng.uniform(-3, 3))
    card = body(q, (rng.normal(85.60, 0.05), rng.normal(53.98, 0.022)), (0, 0, 0), 0.76, 0.0, rng)
    sheet = body(q, tuple(rng.normal([297, 210], PAPER_SD_MM)), place, 0.0, CUT_MM, rng)
    return q, LyingRectangle(card, CARD), LyingRectangle(sheet, A4.rectangle, CUT_MM, place=place)


def error(solved: JointView, q: Array, ends: Array = FAR) -> tuple[float, float]:
    """Relative error of a far length, and its standard deviation."""
    px = project(q, np.c_[ends, np.zeros(2)])
    found, J = solved.view.plane(px), solved.view.plane_sensitivity(px)
    d = found[1] - found[0]
    a = d / np.hypot(*d) @ (J[1] - J[0])
    true = float(np.hypot(*(ends[1] - ends[0])))
    return float(np.hypot(*d) / true - 1), float(np.sqrt(a @ solved.view.covariance @ a) / true)


def test_derivatives_agree_with_differences() -> None:
    q, card, sheet = scene(np.random.default_rng(2))
    seen = _AllPoints([card, sheet])
    v = np.zeros(seen.unknowns)
    v[:10] = q
    v[seen.own(0)][:3], v[seen.own(1)][:3], v[seen.place(1)] = (85.6, 53.9, 0.76), (297, 210, 0.1), sheet.place
    steps = np.full(seen.unknowns, 1e-5)
    steps[[0, 1, 2, 9]] = 1e-6
    assert seen.derivative(v) == pytest.approx(derivative(seen.misfit, v, steps), rel=1e-4, abs=2e-3)


def test_one_card_alone_gives_what_its_own_solution_gives() -> None:
    q, card, _ = scene(np.random.default_rng(3))
    alone = solve(list(card.sides), CARD, PRIOR, q, SIZE)
    same = solve_jointly([card], PRIOR, q, SIZE)
    assert same.view.parameters == pytest.approx(alone.view.parameters, rel=1e-4, abs=1e-5)
    assert np.sqrt(np.diag(same.view.covariance)) == pytest.approx(np.sqrt(np.diag(alone.view.covariance)), rel=0.01)


def test_the_truth_is_covered_by_sheet_card_and_both() -> None:
    """Over 100 simulated scenes a far length lies within its own standard deviations, and both are better than one."""
    rng = np.random.default_rng(4)
    scaled: dict[str, list[float]] = {"card": [], "sheet": [], "both": []}
    sd: dict[str, list[float]] = {k: [] for k in scaled}
    for _ in range(100):
        q, card, sheet = scene(rng)
        own = np.array(sheet.place)
        turn = np.array([[np.cos(own[2]), -np.sin(own[2])], [np.sin(own[2]), np.cos(own[2])]])
        for name, bodies in (("card", [card]), ("sheet", [sheet]), ("both", [card, sheet])):
            start, ends = q, FAR
            if name == "sheet":  # its own frame: the world shifts under the camera
                from cv2 import Rodrigues

                R = Rodrigues(q[:3])[0]
                spun = np.eye(3)
                spun[:2, :2] = turn
                start = np.r_[Rodrigues(R @ spun)[0].ravel(), q[3:6] + R @ np.r_[own[:2], 0], q[6:]]
                ends = (FAR - own[:2]) @ turn
                bodies = [replace(sheet, place=(0.0, 0.0, 0.0))]
            e, s = error(solve_jointly(bodies, PRIOR, start, SIZE), start, ends)
            scaled[name].append(e / s)
            sd[name].append(s)
    for name, values in scaled.items():
        inside = np.mean(np.abs(values) < 1.96)
        print(name, f"u95 {100 * 1.96 * np.median(sd[name]):.3f} %, sd {np.std(values):.2f}, inside {inside:.2f}")
        assert np.std(values) == pytest.approx(1.0, abs=0.22), name
        assert 0.89 <= inside <= 0.995, name
    assert np.median(sd["both"]) < 0.8 * min(np.median(sd["card"]), np.median(sd["sheet"]))
