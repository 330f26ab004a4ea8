"""The model of a card's rims: its derivatives, and what it finds where a plain step would mislead."""

from __future__ import annotations

import numpy as np
import pytest

from calib.arrays import Array
from calib.card.correlation import correlation_length
from calib.card.rim_fit import fit_rims
from calib.card.rim_model import (
    KEPT,
    LINE,
    OWN,
    PHOTO,
    SHADES,
    SIDE,
    RimParameters,
    Stretches,
    clipped_codes,
    offsets,
    predicted,
    with_derivative,
)
from calib.card.rims import _fits, _unlike

EACH = 6
"""Stretches a side."""


def stretches(wall_px: float = -1.0, light: Array | None = None) -> Stretches:
    """Four sides that are seen alike."""
    m = 4 * EACH
    along = np.tile(np.linspace(-0.4, 0.4, EACH), 4)
    dark = np.zeros((m, len(offsets()), 3)) if light is None else light
    return Stretches(dark, np.repeat(np.arange(4), EACH), along, np.full(m, wall_px), np.full(m, 9.0))


def unknowns(face: float = 0.5, ground: float = 0.1, wall: float = 0.3) -> RimParameters:
    """What such a side looks like, with a shadow."""
    own = np.zeros((4 * EACH, OWN))
    own[:, 1:4], own[:, 5:8] = np.log(face), np.log(ground)
    by_side = np.zeros((4, SIDE))
    by_side[:, SHADES] = [0.4, 0.05, 0.1, 0.1, 0.0, 0.0, 0.0, 0.0, 0.0]
    by_side[:, 9:12] = np.log(wall)
    return RimParameters(own, by_side, np.array([np.log(0.9), 0.4]))


def edge(
    true_px: float, face: float, ground: float, wall: tuple[float, float] = (0.0, 0.0), sharpen: float = 0.0
) -> Array:
    """(n, 3) linear light across an edge as a photo gives it, by brute force: a fine picture, blurred, cut off, coded,
    sharpened, sampled, decoded. wall: its width, px, and its light."""
    fine = 50
    x = np.arange(-40, 40, 1 / fine)
    scene = np.where(x < true_px, face, np.where(x < true_px + wall[0], wall[1], ground))
    half = np.arange(-8, 8 + 1e-9, 1 / fine)

    def blurred(y: Array, sigma: float) -> Array:
        k = np.exp(-0.5 * (half / sigma) ** 2)
        return np.convolve(np.pad(y, len(half) // 2, "edge"), k / k.sum(), "valid")

    code = clipped_codes(blurred(scene, 0.9))
    code = np.clip(code + sharpen * (code - blurred(code, 1.3)), 0, 1)
    seen = np.interp(offsets(), x, code)
    linear = np.where(seen <= 0.04045, seen / 12.92, ((seen + 0.055) / 1.055) ** 2.4)  # IEC 61966-2-1
    return np.repeat(linear[:, None], 3, 1)


def found(
    true_px: float, *, start_px: float = 0.0, wall_px: float = -1.0, **what: float | tuple[float, float]
) -> float:
    """Where the fit puts such an edge, seen alike on all sides."""
    light = np.repeat(edge(true_px, **what)[None], 4 * EACH, 0)  # type: ignore[arg-type]
    fit = fit_rims(stretches(wall_px, light), np.full(4 * EACH, start_px))
    return float(fit.offset_px.mean())


@pytest.mark.parametrize("wall_px", [-1.0, 1.4])
def test_derivatives(wall_px: float) -> None:
    """Against central differences."""
    s, at, step = stretches(wall_px), unknowns(), 1e-6
    at.own[:, 0] = 0.13  # no sample lies where a shadow begins
    _, D = with_derivative(s, at)
    rng = np.random.default_rng(3)
    for _ in range(12):
        way = RimParameters(*(rng.normal(0, 1, x.shape) for x in (at.own, at.by_side, at.photo)))
        way.by_side[:, LINE] = 0
        more, less = (predicted(s, moved(at, way, h)) for h in (step, -step))
        along = np.concatenate([way.own, np.tile(way.photo, (len(way.own), 1)), way.by_side[s.side]], 1)
        assert along.shape[1] == OWN + PHOTO + SIDE
        np.testing.assert_allclose(np.einsum("mukc,mu->mkc", D, along), (more - less) / (2 * step), atol=2e-5)


def moved(at: RimParameters, way: RimParameters, h: float) -> RimParameters:
    """Some way along a direction."""
    return RimParameters(at.own + h * way.own, at.by_side + h * way.by_side, at.photo + h * way.photo)


def test_only_the_middle_is_compared() -> None:
    assert predicted(stretches(), unknowns()).shape[1] == len(offsets()[KEPT])


@pytest.mark.parametrize("true_px", [-0.37, 0.0, 0.61])
def test_a_plain_edge(true_px: float) -> None:
    """By the edge that was made."""
    assert found(true_px, face=0.5, ground=0.05) == pytest.approx(true_px, abs=0.03)


@pytest.mark.parametrize("sharpen", [0.0, 0.8])
def test_sharpening_moves_nothing(sharpen: float) -> None:
    assert found(0.3, face=0.45, ground=0.04, sharpen=sharpen) == pytest.approx(0.3, abs=0.05)


def test_an_overexposed_face_does_not_reach_out() -> None:
    """A face of twice full light: where the light is half of what is left of it lies far outside."""
    light = edge(0.0, face=2.0, ground=0.05)[:, 0]
    half = float(np.interp(-0.525, -light, offsets()))  # half of 1 and 0.05
    assert half > 0.5  # 0.9 px of blur: the normal quantile of 0.756 is 0.69
    assert abs(found(0.0, face=2.0, ground=0.05)) < 0.3


def test_only_what_is_cut_off_in_all_colours_is_burnt_out() -> None:
    """A red face may lose its red and keep what tells how much: a white one loses everything."""
    white, red = (np.repeat(edge(0.0, face, 0.05)[None], 4 * EACH, 0) for face in (2.0, 2.0))
    red[:, :, 1:] *= 0.3
    for light, burnt in ((white, True), (red, False)):
        s = stretches(-1.0, light)
        assert s.overexposed.all()
        assert (s.burnt_out == burnt).all()


def test_a_dark_wall_is_not_taken_for_the_face() -> None:
    """Its upper rim is found from the foot, where the search before had found the rim, and the other way round."""
    for start in (0.0, 1.6):
        at = found(0.0, start_px=start, wall_px=1.6, face=0.5, ground=0.35, wall=(1.6, 0.1))
        assert at == pytest.approx(0.0, abs=0.15)


def test_a_fainter_step_is_known_less_well() -> None:
    light = [np.repeat(edge(0.0, face, 0.05)[None], 4 * EACH, 0) for face in (0.6, 0.07)]
    clear, faint = (fit_rims(stretches(-1.0, x), np.zeros(4 * EACH)) for x in light)
    offset = np.s_[:, 0, 0]
    assert (faint.shape_px2[offset] > 4 * clear.shape_px2[offset]).all()
    assert (faint.light_px[offset] > 5 * clear.light_px[offset]).all()


def test_a_side_that_is_half_lost_is_known_at_that_end_alone() -> None:
    """On ground as bright as the face a line is drawn on from where it is seen: its slope is then anybody's guess."""
    plain, lost = edge(0.0, 0.5, 0.05), edge(0.0, 0.5, 0.49)
    half = np.tile(np.repeat([True, False], EACH // 2), 4)
    light = np.where(half[:, None, None], plain, lost)
    whole = fit_rims(stretches(-1.0, np.repeat(plain[None], 4 * EACH, 0)), np.zeros(4 * EACH))
    part = fit_rims(stretches(-1.0, light), np.zeros(4 * EACH))
    slope = np.s_[:, 1]
    assert (np.linalg.norm(part.light_px[slope], axis=1) > 5 * np.linalg.norm(whole.light_px[slope], axis=1)).all()


@pytest.mark.parametrize("width", [1, 4, 9])
def test_the_correlation_length_of_a_moving_average_is_its_width(width: int) -> None:
    """Its autocorrelation is a triangle as wide as twice its width (arithmetic)."""
    noise = np.random.default_rng(0).normal(size=(4000, 120))
    moving = np.lib.stride_tricks.sliding_window_view(noise, width, axis=1).mean(-1)
    assert correlation_length(moving) == pytest.approx(width, rel=0.1)


def test_without_any_residuals_nothing_is_shared() -> None:
    assert correlation_length(np.zeros((3, 40))) == 1.0


def shaded(face: float, shade: float, ground: float) -> Stretches:
    """A card without a wall whose rim lies four pixels within the end of the shade beside it."""
    light = edge(-4.0, face, ground, wall=(4.0, shade))
    noise = np.random.default_rng(2).normal(0, 0.002, (4 * EACH, *light.shape))
    return stretches(light=light + noise)


def test_a_shade_of_the_faces_light_leaves_both_its_ends_open() -> None:
    """Where the shade begins, and where it ends: invented light, a face on a ground hardly lighter."""
    s = shaded(0.5, 0.49, 0.61)
    fits = _unlike(_fits(s), s.side == 0, 0)
    places = [float(f.offset_px[:EACH].mean()) for f in fits]
    assert len(fits) > 1
    assert min(places) < -3
    assert max(places) > -1.5
    assert fits[0].cost[0] <= min(f.cost[0] for f in fits)


def test_a_plain_side_has_one_place() -> None:
    s = stretches(light=np.repeat(edge(0.0, 0.5, 0.1)[None], 4 * EACH, 0))
    assert len(_unlike(_fits(s), s.side == 0, 0)) == 1
