"""OpenCV's chessboard photographs and their published calibration: the view against real photographs.

Photographs and left_intrinsics.yml (focal length, lens, poses, residual of every view): OpenCV, samples/data, see
data/chessboard. A second calibration of the same photographs, with better corners: OpenCV's own test,
modules/python/test/test_calibration.py. Pair of poses: OpenCV's tutorial "Basic concepts of the homography".

The published lens has five terms, ours one. `reduced` takes the other four out of the corners, by the published values;
what leaving them in costs is a test of its own.
"""

from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest

from calib.arrays import Array
from calib.view.bundle import Points, exact
from calib.view.bundle import adjust as adjust_bundle
from calib.view.view import (
    Prior,
    Rectangle,
    SideEdges,
    Solution,
    View,
    first_guess,
    project,
    projection_derivative,
    rotation,
    side_points,
    solve,
)
from measure.adjustment.least_squares import CRITICAL, Observations, snoop
from measure.adjustment.least_squares import solve as adjust

DATA = Path(__file__).resolve().parent / "data" / "chessboard"
VIEWS = (1, 2, 3, 4, 5, 6, 7, 8, 9, 11, 12, 13, 14)
SIZE = (640, 480)
SQUARE_MM = 25.0
COLUMN, ROW = np.arange(54) % 9, np.arange(54) // 9
BOARD = np.stack([(COLUMN - 4.0), 2.5 - ROW, 0.0 * ROW], 1) * SQUARE_MM
"""The inner corners in the order found, row by row from the top left, in the frame of our views."""
OUTER = [45, 53, 8, 0]
INSIDE = (COLUMN > 0) & (COLUMN < 8) & (ROW > 0) & (ROW < 5)
RECTANGLE = Rectangle(8 * SQUARE_MM, 5 * SQUARE_MM, 0.0, 1e-3, 1e-3, 1e-3)
SIDES = (range(45, 54), range(53, 7, -9), range(8, -1, -1), range(0, 46, 9))

# test_calibration.py: 13 views, (5, 5) window, rms 0.1963 px of the distance, which is 0.139 px in each coordinate
RMS_PX = 0.196334638034
CAMERA = np.array([[532.80992189, 0, 342.4952186], [0, 532.93346422, 233.8879292], [0, 0, 1]])
LENS = np.array([-0.281325576, 0.0291130406, 0.00121234330, -0.000140825372, 0.154865844])
FOCAL = float(np.diag(CAMERA)[:2].mean())
SIGMA_PX = RMS_PX / np.sqrt(2)


@cache
def corners(view: int, window: int) -> Array:
    """(54, 2) corners of a photograph, located as both publications did: 30 turns or 0.1 px. Window 0: unrefined."""
    grey = cv2.imread(str(DATA / f"left{view:02d}.jpg"), cv2.IMREAD_GRAYSCALE)
    found, at = cv2.findChessboardCorners(grey, (9, 6))
    assert found
    at = np.ascontiguousarray(at, np.float32).reshape(-1, 1, 2)
    if window:
        at = cv2.cornerSubPix(grey, at, (window, window), (-1, -1), (3, 30, 0.1))
    return at.reshape(-1, 2).astype(float)


@cache
def shipped() -> dict[str, Array]:
    """The matrices of left_intrinsics.yml."""
    file = cv2.FileStorage(str(DATA / "left_intrinsics.yml"), cv2.FILE_STORAGE_READ)
    names = ("camera_matrix", "distortion_coefficients", "per_view_reprojection_errors", "extrinsic_parameters")
    return {name: np.squeeze(file.getNode(name).mat()).astype(float) for name in names}


def straight(at: Array, camera: Array, lens: Array) -> Array:
    """(n, 2) directions x, y without lens distortion."""
    return cv2.undistortPoints(at.reshape(-1, 1, 2), camera, lens).reshape(-1, 2).astype(float)


def ideal(at: Array, camera: Array = CAMERA, lens: Array = LENS) -> Array:
    """(n, 2) pixels as a pinhole camera would have seen them."""
    return straight(at, camera, lens) * np.diag(camera)[:2] + camera[:2, 2]


def reduced(at: Array, camera: Array = CAMERA, lens: Array = LENS) -> Array:
    """(n, 2) pixels as a camera with the first radial term alone would have seen them, square pixels."""
    q = straight(at, camera, lens)
    return q * (1 + lens[0] * (q**2).sum(1, keepdims=True)) * np.diag(camera)[:2].mean() + camera[:2, 2]


def pinhole(camera: Array = CAMERA) -> Prior:
    """The published camera for what `ideal` gives: its lens is taken out, so k1 is 0 and not that of phones."""
    return Prior(float(np.diag(camera)[:2].mean()), 0.01, (camera[0, 2], camera[1, 2]), 1.0, radial=0.0)


def turned_deg(a: Array, b: Array) -> float:
    """Angle between two attitudes."""
    return float(np.degrees(np.arccos(np.clip((np.trace(a.T @ b) - 1) / 2, -1, 1))))


def fitted_pose(start: Array, at: Array, used: list[int]) -> Array:
    """(10,) parameters with the pose that fits the corners used best, the camera kept."""
    q = start.copy()
    for _ in range(10):
        J = projection_derivative(q, BOARD[used])[0].reshape(-1, 10)[:, :6]
        q[:6] += np.linalg.lstsq(J, (at - project(q, BOARD))[used].ravel(), rcond=None)[0]
    return q


def joint(photographs: list[Array]) -> tuple[Array, Array, Array]:
    """One camera for all photographs and a pose for each: focal length, centre, k1; their sd; rms px of each view."""
    camera = np.array([600.0, 319.5, 239.5, 0.0])
    prior = Prior(600.0, 0.2, (319.5, 239.5), 20.0)
    poses = [first_guess(at[OUTER], RECTANGLE, prior)[0][:6] for at in photographs]
    m = 6 * len(poses)
    for _ in range(30):
        A, y = np.zeros((len(poses), 108, m + 4)), np.zeros((len(poses), 108))
        for i, (pose, at) in enumerate(zip(poses, photographs, strict=True)):
            J = projection_derivative(np.r_[pose, camera], BOARD)[0].reshape(-1, 10)
            A[i, :, 6 * i : 6 * i + 6], A[i, :, m:] = J[:, :6], J[:, 6:]
            y[i] = (at - project(np.r_[pose, camera], BOARD)).ravel()
        s = adjust([Observations(A.reshape(-1, m + 4), y.ravel(), np.full(y.size, SIGMA_PX**2))], tested=())
        poses = [pose + s.x[6 * i : 6 * i + 6] for i, pose in enumerate(poses)]
        camera = camera + s.x[m:]
        if abs(s.x[m]) < 1e-7:
            break
    return camera, np.sqrt(np.diag(s.covariance)[m:]) * np.sqrt(s.chi2 / s.freedom), np.sqrt((y**2).sum(1) / 54)


def test_corners_are_those_of_the_published_calibration() -> None:
    """OpenCV calibrates what is in the folder to what it published, within its own tolerances (lens: 0.02, not 0.001,
    since corners differ from version to version by a few hundredths of a pixel)."""
    board = np.stack([COLUMN, ROW, 0 * ROW], 1).astype(np.float32)
    at = [corners(v, 5).astype(np.float32) for v in VIEWS]
    rms, camera, lens, *_ = cv2.calibrateCamera([board] * len(at), at, SIZE, None, None)
    assert rms == pytest.approx(RMS_PX, abs=0.01)
    assert np.abs(camera - CAMERA).sum() < 10
    assert np.abs(lens.ravel()[:5] - LENS).sum() < 0.02


@pytest.mark.parametrize("view", VIEWS)
def test_four_corners_predict_the_other_fifty(view: int) -> None:
    """With the published camera: 0.005 to 0.016 square rms and 0.03 at worst, which is what the homography of the four
    corners leaves (calculated with OpenCV)."""
    at = ideal(corners(view, 5))
    guess = first_guess(at[OUTER], RECTANGLE, pinhole())[0]
    others = np.setdiff1d(np.arange(54), OUTER)
    for name, q in (("first guess", guess), ("least squares", fitted_pose(guess, at, OUTER))):
        off = np.hypot(*(View(q, np.zeros((10, 10)), SIZE).plane(at) - BOARD[:, :2])[others].T) / SQUARE_MM
        print(f"left{view:02d}, {name}: rms {np.sqrt((off**2).mean()):.4f}, worst {off.max():.4f} square")
        assert np.sqrt((off**2).mean()) < 0.016
        assert off.max() < 0.03


def test_joint_calibration_reproduces_the_published_one() -> None:
    """Our projection and its derivatives, with the published higher terms taken out, against left_intrinsics.yml: focal
    length, centre and first term within a quarter of their sd, and the residual of each of the 13 views."""
    published, camera = shipped(), shipped()["camera_matrix"]
    lens = published["distortion_coefficients"]
    found, sd, rms = joint([reduced(corners(v, 11), camera, lens) for v in VIEWS])
    expected = np.array([camera[0, 0], camera[0, 2], camera[1, 2], lens[0]])
    assert np.abs((found - expected) / sd).max() < 0.25
    assert rms == pytest.approx(published["per_view_reprojection_errors"], abs=0.005)


def test_what_one_lens_term_costs() -> None:
    """0.219 px instead of 0.196 with five terms, and the same camera as OpenCV finds when held to one term."""
    at = [corners(v, 5) for v in VIEWS]
    found, sd, rms = joint(at)
    board = np.stack([COLUMN, ROW, 0 * ROW], 1).astype(np.float32)
    start = np.array([[500.0, 0, 320], [0, 500, 240], [0, 0, 1]])
    one = cv2.CALIB_FIX_K2 | cv2.CALIB_FIX_K3 | cv2.CALIB_ZERO_TANGENT_DIST
    one |= cv2.CALIB_USE_INTRINSIC_GUESS | cv2.CALIB_FIX_ASPECT_RATIO
    held = cv2.calibrateCamera([board] * len(at), [a.astype(np.float32) for a in at], SIZE, start, None, flags=one)
    total = float(np.sqrt((rms**2).mean()))
    print(f"one term: {total:.4f} px, f {found[0]:.2f} ± {sd[0]:.2f}, k1 {found[3]:.4f}")
    assert total == pytest.approx(held[0], abs=1e-4)
    assert found == pytest.approx([held[1][0, 0], held[1][0, 2], held[1][1, 2], held[2].ravel()[0]], abs=0.01)
    assert RMS_PX < total < 1.15 * RMS_PX
    assert abs(found[0] - FOCAL) < 3 * sd[0]


def test_bundle_finds_the_published_camera() -> None:
    """`calib.view.bundle` on all photographs, knowing nothing of the lens: the camera of OpenCV held to one term,
    within a tenth of its sd (rejected corners and priors), and the published focal length within 3 sd."""
    at = [corners(v, 5) for v in VIEWS]
    seen = [Points(np.arange(54), a, np.full(54, SIGMA_PX)) for a in at]
    prior = Prior(600.0, 0.3, (319.5, 239.5), 30.0, 0.0, 0.5)
    found = adjust_bundle(seen, BOARD[:, :2], exact(BOARD[:, :2]), prior, SIZE)
    expected, sd, _ = joint(at)
    off = (found.camera - expected) / sd
    print("bundle:", found.camera.round(4), "off by sd:", off.round(3), "rms", found.rms_px.round(3))
    assert np.abs(off).max() < 0.1
    assert abs(found.camera[0] - FOCAL) < 3 * found.camera_covariance[0, 0] ** 0.5
    assert np.sqrt(np.diag(found.camera_covariance)) == pytest.approx(sd, rel=0.2)


def test_bundle_finds_the_published_focal_length_and_distortion() -> None:
    """With the published higher terms taken out, `calib.view.bundle` knowing nothing of the lens: focal length, centre
    and k1 of test_calibration.py within half their own sd, k1 to a hundredth of itself; and what is left over is the
    error that was stated there, 0.1963 px, to one part in fifty."""
    at = [reduced(corners(v, 5)) for v in VIEWS]
    seen = [Points(np.arange(54), a, np.full(54, SIGMA_PX)) for a in at]
    found = adjust_bundle(
        seen, BOARD[:, :2], exact(BOARD[:, :2]), Prior(600.0, 0.3, (319.5, 239.5), 30.0, 0.0, 0.5), SIZE
    )
    expected = np.array([FOCAL, *CAMERA[:2, 2], LENS[0]])
    sd = np.sqrt(np.diag(found.camera_covariance))
    print("bundle:", found.camera.round(4), "published:", expected.round(4), "sd:", sd.round(4))
    assert np.abs((found.camera - expected) / sd).max() < 0.5
    assert found.camera[0] == pytest.approx(FOCAL, rel=1e-3)
    assert found.camera[3] == pytest.approx(LENS[0], rel=0.01)
    n = np.array([u.sum() for u in found.used])
    assert n.sum() == 54 * len(VIEWS)
    rms_px = np.sqrt(2 * (n * found.rms_px**2).sum() / n.sum())  # OpenCV's is of the distance, ours of each coordinate
    assert rms_px == pytest.approx(RMS_PX, rel=0.02)


def located_sides(at: Array) -> list[SideEdges]:
    """The corners of the outer rows and columns as points of the four sides, each with the sides' normal there."""
    out = []
    for side, row in enumerate(SIDES):
        p, along = at[list(row)], np.linspace(-0.5, 0.5, len(row))
        assert side_points(side, along, 200.0, 125.0, 0.0) == pytest.approx(BOARD[list(row)])
        t = np.gradient(p, axis=0)
        normal = np.stack([-t[:, 1], t[:, 0]], 1) / np.hypot(*t.T)[:, None]
        out.append(SideEdges(side, along, True, p, normal, np.full(len(p), SIGMA_PX)))
    return out


def solved(at: Array, focal_px: float) -> Solution:
    """The view from the four sides, knowing the focal length to a fifth and the lens hardly."""
    prior = Prior(focal_px, 0.2, (319.5, 239.5), 20.0, -0.2, 0.2)
    return solve(located_sides(at), RECTANGLE, prior, first_guess(at[OUTER], RECTANGLE, prior)[0], SIZE)


def focal_sd(s: Solution) -> float:
    return float(np.sqrt(s.view.covariance[6, 6]))


def focal_off(found: list[Solution]) -> Array:
    """How far each focal length is from the published one, in its own stated standard deviations."""
    return np.array([(s.view.parameters[6] - FOCAL) / focal_sd(s) for s in found])


@pytest.mark.parametrize("prior_px", [450.0, 600.0])
def test_focal_length_of_single_photographs(prior_px: float, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each photograph alone tells the published focal length within its stated 3 sd, 13 of 13, and neither better nor
    much worse than stated; steep views tell it well, flat or small ones say that they do not.

    The lens has no term beyond its first here, `reduced` took them out: so none is doubted."""
    monkeypatch.setattr("calib.view.view.FURTHER_SHARE", 0.0)
    found = {v: solved(reduced(corners(v, 5)), prior_px) for v in VIEWS}
    off = focal_off(list(found.values()))
    for v, s in found.items():
        print(f"left{v:02d}: f {s.view.parameters[6]:.1f} ± {focal_sd(s):.1f} px, tilt {s.view.tilt_deg:.1f}°")
    assert np.abs(off).max() < 3
    assert 0.6 < np.sqrt((off**2).mean()) < 1.4
    for s in found.values():
        assert focal_sd(s) < 0.4 * 0.2 * prior_px
        assert focal_sd(s) > 9 or s.view.tilt_deg > 20
        assert focal_sd(s) < 6 or s.view.tilt_deg < 30


@pytest.mark.parametrize("prior_px", [450.0, 600.0])
def test_focal_length_with_the_whole_lens_left_in(prior_px: float, monkeypatch: pytest.MonkeyPatch) -> None:
    """The four lens terms that our model lacks would take 2 of 13 photographs just over 3 sd (05 and 06: up to 3.2).
    Doubting a quarter of the first term covers them with room. By the published lens (worked out by hand) the others
    come to (0.029 · 0.56 + 0.155 · 0.56²) / 0.281 = 0.23 of the first in the frame's corner, r² = 0.56, but to 0.02 to
    0.09 at the boards' corners. So the spread is below 1 (0.5 is what we found); not below a third (chosen), or what is
    said of these photographs would hardly bind."""
    monkeypatch.setattr("calib.view.view.FURTHER_SHARE", 0.0)
    undoubted = np.abs(focal_off([solved(corners(v, 5), prior_px) for v in VIEWS]))
    monkeypatch.undo()
    off = np.abs(focal_off([solved(corners(v, 5), prior_px) for v in VIEWS]))
    for name, z in (("doubted", off), ("not doubted", undoubted)):
        print(f"|f - published| in sd, further terms {name}:", dict(zip(VIEWS, z.round(2).tolist(), strict=True)))
    assert (undoubted < 3).sum() >= 11
    assert 3 < undoubted.max() < 3.3
    assert off.max() < 2
    assert 1 / 3 < np.sqrt((off**2).mean()) < 1


@pytest.mark.parametrize("view", VIEWS)
def test_four_sides_measure_what_lies_between(view: int) -> None:
    """The camera hardly known, its focal length 13 % off: the 28 corners inside, measured from the sides alone."""
    at = corners(view, 5)
    off = np.hypot(*(solved(at, 600.0).view.plane(at) - BOARD[:, :2])[INSIDE].T) / SQUARE_MM
    print(f"left{view:02d}: rms {np.sqrt((off**2).mean()):.4f}, worst {off.max():.4f} square")
    assert np.sqrt((off**2).mean()) < 0.016
    assert off.max() < 0.03


def blunders(view: int, window: int) -> dict[int, float]:
    """Corners that data snooping sets aside, and their standardised residuals before it; one photograph alone, all of
    its corners, with the prior of `solved`."""
    at, known = corners(view, window), np.array([600.0, 319.5, 239.5, -0.2])
    prior_variance = np.array([120.0, 20.0, 20.0, 0.2]) ** 2
    q = solved(at, 600.0).view.parameters
    for turn in range(6):
        J = projection_derivative(q, BOARD)[0].reshape(-1, 10)
        seen = Observations(J, (at - project(q, BOARD)).ravel(), np.full(108, SIGMA_PX**2))
        camera = Observations(np.eye(10)[6:], known - q[6:], prior_variance)
        s = adjust([seen, camera], tested=(0,) if turn == 5 else ())
        q = q + s.x
    w = np.abs(s.groups[0].standardised()).reshape(-1, 2).max(1)
    return {i: float(w[i]) for i in {k // 2 for k in snoop(s.groups[0])}}


SMALL_FIELDS = (7, 9, 13)
"""Besides view 2, views whose residual the large window raises by more than a tenth (calculated with OpenCV): single
corners of their narrow outer fields are wrong too."""


@pytest.mark.parametrize("view", VIEWS)
def test_published_blunder_is_found(view: int) -> None:
    """The calibration in left_intrinsics.yml has 1.18 px in left02, because an 11 px window reaches beyond the narrow
    outer fields there; all other views have 0.16 to 0.38 px. The corners rejected are those that the window moved."""
    moved = np.hypot(*(corners(view, 11) - corners(view, 5)).T)
    assert blunders(view, 5) == {}
    found = blunders(view, 11)
    print(f"left{view:02d}:", {k: (round(w, 1), f"{moved[k]:.2f} px") for k, w in found.items()})
    assert set(found) == set(np.flatnonzero(moved > 0.6))
    assert bool(found) == (view == 2 or view in SMALL_FIELDS)
    if view == 2:
        assert set(found) == set(SIDES[3])
        assert max(found.values()) > 20


def test_residuals_of_the_sides_single_out_the_photograph() -> None:
    """`solve` leaves the bad corners of left02 in its residuals, on the side where they are, and nothing with good
    corners. It cannot save that view: all points of one side are wrong there."""
    worst = {}
    for window in (5, 11):
        for v in VIEWS:
            s = solved(corners(v, window), 600.0)
            worst[window, v] = [float(np.abs(r).max() / SIGMA_PX) for r in s.residuals_px]
    assert max(max(worst[5, v]) for v in VIEWS) < CRITICAL
    assert max(worst[11, 2]) == worst[11, 2][3] > 15
    assert max(worst[11, 2][:3]) < CRITICAL
    for v in VIEWS:
        assert v == 2 or max(worst[11, v]) < max(worst[11, 2]) / 1.5
        assert (max(worst[11, v]) > CRITICAL) == (v == 2 or v in SMALL_FIELDS)


AXES = np.diag([1.0, -1.0, -1.0])
"""From our frame, y up and z towards the camera, to that of the publication, y down and z away."""
FIRST_CORNER = np.array([4 * SQUARE_MM, 2.5 * SQUARE_MM, 0.0])
"""The board's centre in the published frame, whose origin is the first corner."""


def published_frame(q: Array) -> tuple[Array, Array]:
    """Attitude and position, mm, of the published board frame in the camera's."""
    R = rotation(q[:3]) @ AXES
    return R, q[3:6] - R @ FIRST_CORNER


@pytest.mark.parametrize("view", VIEWS)
def test_better_of_two_poses_comes_first(view: int) -> None:
    """Against the published pose: 1° and 2 mm for the first, the second is another one altogether."""
    published = shipped()
    camera = published["camera_matrix"]
    at = ideal(corners(view, 5), camera, published["distortion_coefficients"])
    vector, position = np.split(published["extrinsic_parameters"][VIEWS.index(view)], 2)
    better, worse = (published_frame(q) for q in first_guess(at[OUTER], RECTANGLE, pinhole(camera)))
    print(
        f"left{view:02d}: {turned_deg(better[0], rotation(vector)):.2f}°, {turned_deg(worse[0], rotation(vector)):.0f}°"
    )
    assert turned_deg(better[0], rotation(vector)) < 1
    assert better[1] == pytest.approx(1000 * position, abs=2)
    assert turned_deg(worse[0], rotation(vector)) > 20


def test_displacement_between_two_photographs() -> None:
    """Tutorial: left02 to left01, unrefined corners, the shipped calibration: rotation vector, translation and plane's
    normal. Its solution 2, the other homography decomposition, is 23° away from it; our second pair is farther."""
    turn, shift_mm = np.array([-0.0919830, -0.5372581, 1.3108689]), np.array([157.8092, 5.6034, 138.3379])
    other, normal = np.array([0.1053488, -0.1561929, 1.4013566]), np.array([0.1973513, -0.6283452, 0.7524857])
    published = shipped()
    camera = published["camera_matrix"]
    at = [ideal(corners(v, 0), camera, published["distortion_coefficients"]) for v in (2, 1)]
    pairs = [first_guess(a[OUTER], RECTANGLE, pinhole(camera)) for a in at]

    def displacement(a: Array, b: Array) -> tuple[Array, Array]:
        (R1, t1), (R2, t2) = published_frame(a), published_frame(b)
        return R2 @ R1.T, t2 - R2 @ R1.T @ t1

    fitted = [fitted_pose(pair[0], a, list(range(54))) for pair, a in zip(pairs, at, strict=True)]
    for chosen in ([pair[0] for pair in pairs], fitted):
        R, t = displacement(*chosen)
        assert turned_deg(R, rotation(turn)) < 0.5
        assert t == pytest.approx(shift_mm, abs=2)
        assert published_frame(chosen[0])[0][:, 2] == pytest.approx(normal, abs=0.01)
        assert turned_deg(R, rotation(other)) > 20
    R, t = displacement(*(pair[1] for pair in pairs))
    assert turned_deg(R, rotation(turn)) > 20
