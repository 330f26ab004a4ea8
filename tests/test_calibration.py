"""Lenses from known points: simulated views with an invented lens, and profiles that know their camera."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from calib import lens_store
from calib.bundle import Points
from calib.calibration import Calibration, calibrate, unknown_lens
from calib.errors import WrongUsage
from calib.lens import Profile, read_profile
from calib.photo import Photo
from calib.target import UNMEASURED, paper
from calib.target_layout import LAYOUTS
from calib.view import project
from measure.steps.lens import _on_sensor
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
    at = _on_sensor(np.array([[x, y]], float), photo)[0]
    assert sensor[int(at[1]), int(at[0])] == 6
