"""Lenses from known points: simulated views with an invented lens, and profiles that know their camera."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from calib.errors import WrongUsage
from calib.lens import store as lens_store
from calib.lens.calibration import Calibration, calibrate, unknown_lens
from calib.lens.lens import Profile, read_profile
from calib.lens.prior import on_sensor, prior_by
from calib.photo.photo import Photo
from calib.reference.wanted import UNMEASURED
from calib.target.layout import LAYOUTS
from calib.target.target import paper
from calib.view.bundle import Adjusted, Points, adjust, exact
from calib.view.view import Prior, camera_prior, project
from measure.steps.lens import profile_of
from tests.rendered_sheet import Shot

SHEET = LAYOUTS["a4"]
SIZE, SIGMA_PX = (2000, 1500), 0.05
VIEWS = (
    {},
    {"tilt_deg": 22.0, "towards_deg": 0.0},
    {"tilt_deg": 20.0, "towards_deg": 120.0, "turn_deg": 10.0, "height_mm": 420.0},
    {"tilt_deg": 18.0, "towards_deg": 240.0},
    {"tilt_deg": 8.0, "aim_mm": (150.0, 110.0), "height_mm": 420.0},
    {"tilt_deg": 15.0, "towards_deg": 300.0, "aim_mm": (-60.0, -40.0), "height_mm": 420.0},
)


def points(views: tuple[dict, ...], seed: int, radial: float = 0.02) -> list[Points]:
    """Points as they would be located: a printer that stretches, each point a little off, noise of the stated size."""
    rng = np.random.default_rng(seed)
    stretch = 1 + rng.normal(0, 0.003, 2)
    drawn = SHEET.saddles_mm * stretch + rng.normal(0, 0.012, SHEET.saddles_mm.shape)
    out = []
    for v in views:
        q = Shot(radial=radial, **v).parameters()
        px = project(q, np.c_[drawn, np.zeros(len(drawn))]) + rng.normal(0, SIGMA_PX, drawn.shape)
        inside = ((px > 5) & (px < np.array(SIZE) - 6)).all(1)
        which = np.flatnonzero(inside)
        out.append(Points(which, px[inside], np.full(len(which), SIGMA_PX)))
    return out


def fitted(seen: list[Points]) -> Calibration:
    return calibrate(seen, SHEET.saddles_mm, paper(SHEET, UNMEASURED), unknown_lens(SIZE, 1600.0), SIZE)


def test_lens_is_found_as_surely_as_stated() -> None:
    """Twelve simulated sets: k1 and focal length within their own standard deviations, in the mean square."""
    off = []
    for seed in range(12):
        a = fitted(points(VIEWS, seed)).adjusted
        off.append([(a.camera[0] - 1450) / a.camera_covariance[0, 0] ** 0.5])
        off[-1].append((a.camera[3] - 0.02) / a.camera_covariance[3, 3] ** 0.5)
    rms = np.sqrt(np.square(off).mean(0))
    assert (rms > 0.5).all()
    assert (rms < 1.5).all()
    assert a.camera_covariance[3, 3] ** 0.5 < 0.001


def test_photo_that_spoils_a_lens_is_named() -> None:
    seen = points(VIEWS, 3)
    assert fitted(seen).spoiling == ()
    moved = seen[2].points_px + 1.5 * np.sin(seen[2].points_px / 150)
    bad = [*seen[:2], replace(seen[2], points_px=moved), *seen[3:]]
    assert fitted(bad).spoiling[0] == 2


def test_missing_views_are_named() -> None:
    assert fitted(points(VIEWS, 1)).missing == ()
    level = tuple({"tilt_deg": t, "turn_deg": a} for t, a in ((2.0, 90.0), (4.0, 0.0), (3.0, 45.0)))
    assert "one photo tilted by about 20 degrees" in fitted(points(level, 1)).missing


KEPT = Profile("bench phone", 0.012, 0.001, 26.1, 0.13, "Example P1", 26.0, 1.3333)


def as_prior(a: Adjusted, *, joint: bool) -> Prior:
    """What some photos told of a camera, as a prior for others."""
    sd = np.sqrt(np.diag(a.camera_covariance))
    f, x, y, k = a.camera.tolist()
    correlation = a.camera_covariance / np.outer(sd, sd) if joint else np.eye(4)
    rows = tuple(map(tuple, correlation.tolist()))
    return Prior(f, float(sd[0]) / f, (x, y), float(np.sqrt((sd[1] ** 2 + sd[2] ** 2) / 2)), k, float(sd[3]), rows)


def test_a_joint_prior_keeps_what_other_photos_told() -> None:
    """Of an exact board: level photos and a tilted one are the same, in two steps, as all at once; with the terms taken
    for independent they are not, since level photos know a focal length only along with where the axis is."""
    rng = np.random.default_rng(5)
    board = exact(SHEET.saddles_mm)
    seen = []
    for v in ({"tilt_deg": 12.0, "towards_deg": 20.0}, {"tilt_deg": 10.0, "towards_deg": 60.0}, VIEWS[1]):
        px = Shot(radial=0.02, **v).parameters()
        at = project(px, np.c_[SHEET.saddles_mm, np.zeros(len(SHEET.saddles_mm))])
        which = np.flatnonzero(((at > 5) & (at < np.array(SIZE) - 6)).all(1))
        noisy = at[which] + rng.normal(0, SIGMA_PX, (len(which), 2))
        seen.append(Points(which, noisy, np.full(len(which), SIGMA_PX)))
    broad = unknown_lens(SIZE, 1500.0)
    once = adjust(seen, SHEET.saddles_mm, board, broad, SIZE)
    first = adjust(seen[:2], SHEET.saddles_mm, board, broad, SIZE)
    sd = np.sqrt(np.diag(once.camera_covariance))
    off = {}
    for joint in (True, False):
        then = adjust(seen[2:], SHEET.saddles_mm, board, as_prior(first, joint=joint), SIZE)
        off[joint] = np.abs(np.sqrt(np.diag(then.camera_covariance)) / sd - 1).max()
        if joint:
            assert np.abs((then.camera - once.camera) / sd).max() < 0.3
    assert off[True] < 0.1
    assert off[False] > 3 * off[True]


def picture(
    camera: str | None = "Example P1", focal: float | None = 26.0, shape: tuple[int, int] = (900, 1200)
) -> Photo:
    return Photo(np.zeros((*shape, 3), np.uint8), focal, camera, "a.jpg")


def test_profile_knows_its_camera(tmp_path: Path) -> None:
    KEPT.check(picture())
    KEPT.check(picture(shape=(1200, 900)))
    for other in (picture("Example P2"), picture(None), picture(focal=52.0), picture(shape=(900, 1600))):
        with pytest.raises(WrongUsage, match="does not fit"):
            KEPT.check(other)
    (tmp_path / "p.json").write_text(KEPT.to_json())
    assert read_profile(tmp_path / "p.json") == KEPT
    old = {"name": "old", "radial": 0.01, "radial_sd": 0.002}
    (tmp_path / "old.json").write_text(json.dumps(old))
    assert read_profile(tmp_path / "old.json").misfit(picture(None, None)) == ""


def test_photo_finds_its_own_profile(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(lens_store.VARIABLE, str(tmp_path / "lenses"))
    assert lens_store.profile_for(picture()) is None
    (tmp_path / "lenses").mkdir()
    (tmp_path / "lenses" / "broken.json").write_text("{")
    (tmp_path / "lenses" / "old.json").write_text('{"name": "old", "radial": 0.01, "radial_sd": 0.002}')
    assert lens_store.profile_for(picture()) is None
    (tmp_path / "lenses" / "kept.json").write_text(KEPT.to_json())
    assert lens_store.profile_for(picture()) == KEPT
    assert lens_store.profile_for(picture("Example P2")) is None


@pytest.mark.parametrize(("orientation", "turns"), [(1, 0), (3, 2), (6, 1), (8, 3)])
def test_points_go_back_to_where_the_sensor_had_them(orientation: int, turns: int) -> None:
    """EXIF 2.32, tag 274: 6 is shown turned a quarter clockwise, 8 the other way, 3 upside down."""
    sensor = np.arange(12).reshape(3, 4)
    upright = np.rot90(sensor, -turns)
    y, x = np.argwhere(upright == 6)[0]
    photo = replace(picture(shape=upright.shape), orientation=orientation)
    at = on_sensor(np.array([[x, y]], float), photo)[0]
    assert sensor[int(at[1]), int(at[0])] == 6


CORRELATION = ((1.0, 0.2, -0.3, -0.6), (0.2, 1.0, 0.1, 0.4), (-0.3, 0.1, 1.0, 0.0), (-0.6, 0.4, 0.0, 1.0))
JOINT = replace(KEPT, centre_35mm=(0.09, -0.06), centre_35mm_sd=0.07, correlation=CORRELATION)


@pytest.mark.parametrize(("orientation", "turns"), [(1, 0), (3, 2), (6, 1), (8, 3)])
def test_centre_turns_along_with_the_phone(orientation: int, turns: int) -> None:
    """The prior of the upright photo, carried back to the sensor, is the profile's: 0.09 mm of 36 are 3 px of 1200."""
    shape = (900, 1200) if turns % 2 == 0 else (1200, 900)
    photo = replace(picture(shape=shape), orientation=orientation)
    known = prior_by(JOINT, camera_prior(shape[::-1], 26.0), photo)
    assert on_sensor(np.array([known.centre_px]), photo)[0] == pytest.approx([599.5 + 3, 449.5 - 2])
    assert known.focal_px == pytest.approx(26.1 * 1200 / 36)
    by_upright = np.linalg.cholesky(known.covariance)
    there = on_sensor(np.array(known.centre_px) + by_upright[1:3].T, photo) - on_sensor(
        np.array([known.centre_px]), photo
    )
    on_the_sensor = np.stack([by_upright[0], *there.T, by_upright[3]])
    sd = np.array([0.13, 0.07, 0.07, 0.001 * 36 / 1200]) * 1200 / 36
    assert on_the_sensor @ on_the_sensor.T == pytest.approx(np.outer(sd, sd) * CORRELATION, rel=1e-6, abs=1e-12)


def test_centre_is_left_out_where_the_sensor_may_have_lain_either_way() -> None:
    """A photo that was turned without a word of it: focal length and k1 count, the centre is as without a profile."""
    shape = (1200, 900)
    plain = camera_prior(shape[::-1], 26.0)
    known = prior_by(JOINT, plain, picture(shape=shape))
    assert (known.centre_px, known.centre_sd_px, known.correlation) == (plain.centre_px, plain.centre_sd_px, None)
    assert known.radial_sd == JOINT.radial_sd
    assert prior_by(KEPT, plain, picture(shape=shape)).centre_px == plain.centre_px


def test_joint_profile_is_kept_whole(tmp_path: Path) -> None:
    found = fitted(points(VIEWS, 2))
    photo = Photo(np.zeros((SIZE[1], SIZE[0], 3), np.uint8), 26.0, "Example P1", "a.jpg")
    (tmp_path / "p.json").write_text(profile_of(found, photo, SIZE, None).to_json())
    known = prior_by(read_profile(tmp_path / "p.json"), camera_prior(SIZE, 26.0), photo)
    sd = np.sqrt(np.diag(known.covariance))
    assert np.abs((known.camera - found.adjusted.camera) / sd).max() < 0.02
    expected = found.covariance / np.outer(*[np.sqrt(np.diag(found.covariance))] * 2)
    assert known.covariance / np.outer(sd, sd) == pytest.approx(expected, abs=1e-5)
    assert (sd / np.sqrt(np.diag(found.covariance)) > 0.99).all()
    assert abs(known.camera[0] - 1450) < 3 * sd[0]


@pytest.mark.parametrize(
    ("change", "part"),
    [
        ({"centre_35mm": [0.1]}, '"centre_35mm" must be two numbers'),
        ({"centre_35mm": [0.1, 9]}, '"centre_35mm" must be two numbers'),
        ({"centre_35mm_sd": None}, "together"),
        ({"focal_35mm": None, "focal_35mm_sd": None}, "together"),
        ({"correlation": [[1, 0], [0, 1]]}, '"correlation"'),
        ({"correlation": np.ones((4, 4)).tolist()}, '"correlation"'),
        ({"correlation": "none"}, '"correlation"'),
        ({"tall": "yes"}, '"tall"'),
    ],
)
def test_what_is_wrong_in_a_joint_profile_is_named(tmp_path: Path, change: dict, part: str) -> None:
    plain = {**json.loads(JOINT.to_json()), **change}
    (tmp_path / "p.json").write_text(json.dumps(plain))
    with pytest.raises(WrongUsage) as why:
        read_profile(tmp_path / "p.json")
    assert part in why.value.text
