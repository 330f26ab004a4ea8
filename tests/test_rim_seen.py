"""Whether a rim is rounded, by the light across it: plates drawn with a lamp, a sky and a camera of their own.

The pictures are invented; their light follows Lambert's law (J. H. Lambert, Photometria, 1760): a lamp's share by the
cosine, the sky's by (1 + cos) / 2 of a surface's tilt, as for any open hemisphere.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from calib.arrays import Array
from calib.light.optics import Optics
from calib.light.profile import LEFT, SHARPEN_PX, Light
from calib.light.srgb import coded
from calib.view.view import View
from measure.edges.rim_bands import bands_of
from measure.edges.rim_seen import MOST, RimSeen, rim_seen, said_by
from measure.edges.rounded import ROUNDED_MM, ROUNDED_SD_MM, heard
from measure.edges.sight import Wall

PX_PER_MM, SIZE = 12.0, (700, 560)
HALF_MM = np.array([20.0, 14.0])
FAR_MM = 4000.0  # so far off that no wall is seen
LAMP = np.array([0.5, 0.3, 0.81])
BLUR_PX, NOISE = 0.8, 0.003
BOX = (0, 0, *SIZE)


def view() -> View:
    middle = (SIZE[0] - 1) / 2, (SIZE[1] - 1) / 2
    camera = np.array([np.pi, 0, 0, 0, 0, FAR_MM, FAR_MM * PX_PER_MM, *middle, 0.0])
    return View(camera, np.eye(10) * 1e-12, SIZE)


def plate(
    radius_mm: float, face: float, ground: float | None, sharpening: float = 0.0, *, chamfered: bool = False
) -> NDArray[np.uint8]:
    """A photo of a plate, 40 by 28 mm, whose rim has a radius, or a chamfer's leg; beyond it a ground, or its wall."""
    fine = 3
    y, x = np.mgrid[: SIZE[1] * fine, : SIZE[0] * fine] / fine - (1 - 1 / fine) / 2
    at = (np.stack([x, y], -1) - (np.array(SIZE) - 1) / 2) / PX_PER_MM
    depth = HALF_MM - np.abs(at)  # within each pair of sides
    inside = depth.min(-1)
    side = np.where((depth[..., :1] < depth[..., 1:]) == np.array([True, False]), np.sign(at), 0.0)
    sine = np.clip((radius_mm - inside) / radius_mm, 0, 1) if radius_mm else np.zeros_like(inside)
    if chamfered:
        sine = np.where(sine > 0, np.sqrt(0.5), 0.0)
    cosine = np.sqrt(1 - sine**2)
    lamp = np.maximum(sine * (side @ LAMP[:2]) + cosine * LAMP[2], 0)
    wall = face * (0.5 * np.maximum(side @ LAMP[:2], 0) / LAMP[2] + 0.25)
    beyond = wall if ground is None else np.full_like(wall, ground)
    light = np.where(inside > 0, face * (0.5 * lamp / LAMP[2] + 0.25 * (1 + cosine)), beyond)
    light = cv2.resize(light.astype(np.float32), SIZE, interpolation=cv2.INTER_AREA)
    light = cv2.GaussianBlur(light, (0, 0), BLUR_PX) + np.random.default_rng(3).normal(0, NOISE, SIZE[::-1])
    code = coded(np.clip(light, 0, 1)).astype(np.float32)
    code += sharpening * (code - cv2.GaussianBlur(code, (0, 0), SHARPEN_PX))
    return np.repeat(np.round(255 * np.clip(code, 0, 1)).astype(np.uint8)[..., None], 3, 2)


def outline(off_mm: float = 0.0) -> Array:
    x, y = HALF_MM + off_mm
    return np.array([[-x, -y], [x, -y], [x, y], [-x, y]])


def shown(photo: NDArray[np.uint8], sharpening: float = 0.0, off_mm: float = 0.0) -> RimSeen | None:
    light = Light.of(photo, BOX, Optics(sharpening, BLUR_PX))
    return rim_seen(light, view(), (outline(off_mm),), Wall(3.0, 0.0))


def odds(photo: NDArray[np.uint8], sharpening: float = 0.0, off_mm: float = 0.0) -> float:
    seen = shown(photo, sharpening, off_mm)
    assert seen is not None
    return seen.log_odds


@pytest.mark.parametrize("off_mm", [-0.12, 0.0, 0.09])
@pytest.mark.parametrize(("face", "ground"), [(0.3, 0.7), (0.5, 0.12)])
def test_a_rounded_rim_shows(face: float, ground: float, off_mm: float) -> None:
    """Wherever in the band the outline was found: its place is asked for anew. Little speaks for a sharp one, where no
    wall is seen that shows how light goes round.
    """
    assert odds(plate(0.3, face, ground), off_mm=off_mm) > 2
    assert odds(plate(0.0, face, ground), off_mm=off_mm) < 0


@pytest.mark.parametrize("off_mm", [-0.12, 0.0, 0.09])
@pytest.mark.parametrize(("face", "ground"), [(0.3, 0.7), (0.5, 0.12)])
def test_the_place_and_the_radius_are_found(face: float, ground: float, off_mm: float) -> None:
    """Exact by the drawing: the outline lies as far out as light was taken too far in.

    A bright face on a dark ground tells its place the worse, as its sides that turn from the lamp lose its light at
    once, and not as an affine function of the normal.
    """
    seen = shown(plate(0.3, face, ground), off_mm=off_mm)
    assert seen is not None
    radius, sd = seen.radius(ROUNDED_MM, ROUNDED_SD_MM)
    place, by_radius = seen.places(radius, 0.02)
    print(f"radius {radius:.3f} ± {1.96 * sd:.3f} mm, place {np.median(place):.3f} mm")
    assert abs(radius - 0.3) < 1.96 * sd
    assert abs(np.median(place) + off_mm) < (0.02 if face < ground else 0.065)
    assert (by_radius > -0.1).all()  # a wider rounding hides more of its outline


def walled(radius_mm: float, *, chamfered: bool, off_mm: float = 0.0) -> RimSeen:
    """A dark plate whose walls are seen all round, as if from all sides at once: beyond the rim there is the wall."""
    light = Light.of(plate(radius_mm, 0.3, None, chamfered=chamfered), BOX, Optics(0.0, BLUR_PX))
    bands = bands_of(light, view(), (outline(off_mm),), Wall(3.0, 0.0))
    return said_by(replace(bands, near=np.ones(len(bands.near), bool)), 1 / PX_PER_MM, BLUR_PX)


@pytest.mark.parametrize("off_mm", [-0.2, 0.0, 0.09])
def test_a_chamfer_is_told_from_a_rounding_where_walls_are_seen(off_mm: float) -> None:
    """Exact by the drawing, wherever within the chamfer the outline was found."""
    seen, rounding = (walled(0.3, chamfered=c, off_mm=off_mm) for c in (True, False))
    chamfer, place = seen.chamfer(ROUNDED_MM, ROUNDED_SD_MM), seen.places(ROUNDED_MM, ROUNDED_SD_MM)[0]
    leg, sd = seen.radius(ROUNDED_MM, ROUNDED_SD_MM)
    print(f"chamfer {chamfer:.3f}, leg {leg:.3f} ± {1.96 * sd:.3f} mm, place {np.median(place):.3f} mm")
    assert chamfer > 0.9
    assert abs(leg - 0.3) < 1.96 * sd
    assert abs(np.median(place) + off_mm) < 0.03
    assert rounding.chamfer(ROUNDED_MM, ROUNDED_SD_MM) < 0.2


def test_along_hidden_walls_alone_a_chamfer_is_none() -> None:
    """A strip of shadow beside a sharp edge looks the same."""
    seen = shown(plate(0.3, 0.3, 0.7, chamfered=True))
    assert seen is not None
    assert seen.chamfer(ROUNDED_MM, ROUNDED_SD_MM) == 0


def test_a_sharpened_sharp_rim_is_no_rounded_one() -> None:
    assert odds(plate(0.0, 0.3, 0.7, sharpening=0.8), 0.8) < 0
    assert odds(plate(0.3, 0.3, 0.7, sharpening=0.8), 0.8) > 1


def test_it_is_believed_so_far_and_no_farther() -> None:
    assert odds(plate(0.4, 0.5, 0.12)) == MOST


@pytest.mark.parametrize("off_mm", [-0.12, 0.0])
def test_one_colour_tells_where_the_face_is_cut_off_in_the_others(off_mm: float) -> None:
    def red_alone(radius_mm: float) -> NDArray[np.uint8]:
        photo = plate(radius_mm, 3.0, 0.6)
        photo[..., 0] = plate(radius_mm, 0.5, 0.12)[..., 0]
        return photo

    assert 1 < odds(red_alone(0.3), off_mm=off_mm) < 0.6 * MOST
    assert odds(red_alone(0.0), off_mm=off_mm) < 0


def test_nothing_is_said_where_nothing_is_seen() -> None:
    black = np.zeros((*SIZE[::-1], 3), np.uint8)
    assert shown(black) is None
    assert shown(plate(0.3, 2.0, 0.3)) is None  # a face that is cut off has no shades


def test_evidence_is_heard() -> None:
    """Bayes by hand: odds 0.4 / 0.6, eight times as likely: 5.33, so 16 in 19."""
    assert heard(0.4, float(np.log(8))) == pytest.approx(16 / 19)
    assert heard(0.4, 0.0) == pytest.approx(0.4)


@pytest.mark.parametrize("sharpening", [0.3, 0.8, 1.2])
def test_a_sharpening_is_undone(sharpening: float) -> None:
    """The picture before it was sharpened is known."""
    before, after = (Light.of(plate(0.0, 0.3, 0.5, s), BOX, Optics(sharpening)) for s in (0.0, sharpening))
    off = [np.abs(x.linear.astype(float) - before.linear)[100:-100, 100:-100] for x in (after, after.unsharpened())]
    assert np.quantile(off[1], 0.999) < 2 * LEFT * np.quantile(off[0], 0.999) + 400  # of 65535, a code of 8 bits


def test_an_unsharpened_photo_is_left_alone() -> None:
    light = Light.of(plate(0.0, 0.3, 0.5), BOX)
    assert light.unsharpened() is light
