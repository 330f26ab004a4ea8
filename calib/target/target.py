"""The printed reference sheet in a photo: found by its coded markers, measured by its saddle points."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.messages import Remedy
from calib.rectangle.refusals import TILT_LIMIT_DEG, Failure
from calib.reference.found import Caution, Found
from calib.reference.wanted import UNMEASURED, Bars
from calib.target.layout import BAR_MM, LAYOUTS, Layout, rectangle
from calib.target.saddles import Saddles, locate
from calib.view.bundle import SHAPE, Adjusted, PointBearer, Points, adjust
from calib.view.view import Prior, project
from calib.words import Words

DICTIONARY = "DICT_4X4_250"
"""OpenCV's, 250 markers of 4 × 4 cells."""
SEARCH_PX = 1800
"""Long side of the reduced photo in which markers are looked for."""
LEAST_MARKERS, LEAST_POINTS, LEAST_SHARE = 6, 16, 0.4
"""Fewer markers could be a chance; with fewer points, or a smaller share of the sheet's, the frame is covered."""
LEAST_PX_PER_MM, MOST_BLUR_MM = 3.0, 0.35
"""A sheet too far away, or out of focus."""
REACH_PX = 10.0
STRETCH_SD = 0.01
"""Of a sheet whose bars nobody measured: office printers (common practice)."""
BAR_SD_MM = 0.03
"""Of a bar measured from line to line with a caliper's points set by eye (common practice)."""
MOST_STRETCH = 0.03
MOST_CONTRADICTION = 3.29**2
"""By how much the sum of squares may grow when bars are given, which is one degree of freedom: 1 in 1000."""
SHAPE_SD = np.array([0.0, 0.0, 0.0005, 0.15, 0.15, 0.15])
"""How a printed sheet on a table departs from its drawing, stretch apart: shear, and bows in mm (common practice)."""
POINT_SD_MM = 0.015
"""Of each point's place on the paper: the printer's feed and raster (common practice)."""
MOST_SPREAD = 12.0
"""Residuals so many times larger than stated: this is no flat sheet."""
MOST_BOW_SD = 5.0
CORRECTED, LEAST_PERIMETER = 0.3, 0.015
"""Of OpenCV's search for coded markers: share of the code's correctable errors that is corrected, and a marker's least
perimeter as a share of the picture's longer side (chosen: a sheet that fills a third of the picture is found)."""
WIDEST_GAP_RAD = math.radians(170)
"""Points that leave out a wider sector round the middle lie to one side of it (geometry: half a turn, less a
little)."""
LEAST_USED = 0.7
"""Share of the points that must agree with the solution."""
NO_BARS = Caution(
    "bars",
    Words("Nobody has measured the sheet's check bars, and printers stretch by up to a per cent"),
    (Remedy("measure-bars"),),
)


@dataclass(frozen=True, slots=True)
class Target:
    """A sheet located in a photo.

    Attributes:
        layout: which sheet.
        points: its saddle points, those that could be located.
        px_per_mm: of the photo there, about.
    """

    layout: Layout
    points: Points
    px_per_mm: float


def find_target(rgb: NDArray[np.uint8], prior: Prior, bars: Bars = UNMEASURED) -> Found | Failure | None:
    """The printed reference sheet in a photo, with its view.

    Args:
        rgb: (h, w, 3) 8-bit sRGB.
        prior: of the camera.
        bars: the check bars as measured on this sheet.

    Returns:
        The sheet; why it can't be used; or None where there is no such sheet.
    """
    target = locate_target(rgb, prior)
    if target is None or isinstance(target, Failure):
        return target
    wrong = wrong_bars(bars)
    if wrong is not None:
        return wrong
    h, w = rgb.shape[:2]
    try:
        solved = adjust([target.points], target.layout.saddles_mm, paper(target.layout, bars), prior, (w, h))
    except np.linalg.LinAlgError:
        return _unclear()
    return (
        _judged(solved)
        or contradicted_bars([target.points], target.layout, bars, prior, (w, h), solved)
        or _found(target, solved, bars)
    )


def wrong_bars(bars: Bars) -> Failure | None:
    """Whether a bar's length can't be one."""
    for axis, value in (("x", bars.x_mm), ("y", bars.y_mm)):
        if value is not None and not abs(value / BAR_MM - 1) <= MOST_STRETCH:
            text = Words(
                "A check bar of {value:g} mm along {axis} can't be right: it is {bar_mm:g} mm long as "
                "drawn, and printers err by {value2:.0f} % at most; measure it again from line to "
                "line, and print the sheet at 100 % if it is really so.",
                value=value,
                axis=axis,
                bar_mm=BAR_MM,
                value2=100 * MOST_STRETCH,
            )
            return Failure("bars", text)
    return None


def contradicted_bars(
    seen: Sequence[Points], layout: Layout, bars: Bars, prior: Prior, size_px: tuple[int, int], solved: Adjusted
) -> Failure | None:
    """Whether the photos contradict what was measured of the bars.

    Photos don't tell how large a sheet is, but how much more it is stretched one way than the other: only a camera
    with its axis far from the picture's middle, or with quite another focal length, would see it otherwise.

    Args:
        seen, prior, size_px: what the sheet was solved from.
        layout: the sheet.
        bars: as measured; nothing is said unless both were.
        solved: the solution with them.
    """
    if bars.x_mm is None or bars.y_mm is None:
        return None

    def cost(bars: Bars) -> float:
        try:
            return adjust(seen, layout.saddles_mm, paper(layout, bars), prior, size_px).cost
        except np.linalg.LinAlgError:
            return math.inf

    if solved.cost - cost(UNMEASURED) < MOST_CONTRADICTION:
        return None
    x, y = f"{bars.x_mm:g}", f"{bars.y_mm:g}"
    if solved.cost - cost(Bars(bars.y_mm, bars.x_mm)) > MOST_CONTRADICTION:
        return Failure(
            "bars",
            Words(
                "The check bars seem to be swapped: the sheet in the photo goes with {y} mm along x "
                "and {x} mm along y; x is the bar that lies level when the lettering is upright.",
                y=y,
                x=x,
            ),
        )
    return Failure(
        "bars",
        Words(
            "The check bars ({x} and {y} mm) can't both be right: the sheet in the photo is not "
            "stretched so differently each way; measure both again from line to line, on this very "
            "print.",
            x=x,
            y=y,
        ),
    )


def paper(layout: Layout, bars: Bars) -> PointBearer:
    """What is known of a printed sheet."""
    shape, sd = np.zeros(SHAPE), SHAPE_SD.copy()
    for axis, value in enumerate((bars.x_mm, bars.y_mm)):
        shape[axis] = 0.0 if value is None else value / BAR_MM - 1
        sd[axis] = STRETCH_SD if value is None else BAR_SD_MM / BAR_MM
    return PointBearer(layout.half_mm, shape, sd, POINT_SD_MM)


# ------------------------------------------------------------------------------------------------------------- locating
def locate_target(rgb: NDArray[np.uint8], prior: Prior) -> Target | Failure | None:
    """The sheet's points in a photo; why they can't be located; or None where there is no such sheet."""
    marks = _markers(rgb)
    by_layout = {x.name: {k: v for k, v in marks if k in x.markers} for x in LAYOUTS.values()}
    name = max(by_layout, key=lambda n: len(by_layout[n]))
    layout, mine = LAYOUTS[name], by_layout[name]
    if len(mine) < LEAST_MARKERS:
        return None
    if any(len(v) >= LEAST_MARKERS for n, v in by_layout.items() if n != name) or _twice(marks, layout):
        return Failure(
            "two-sheets", Words("There are two reference sheets in the photo; leave only one under the part.")
        )
    drawn = np.concatenate([layout.markers[k] for k in mine])
    seen = np.concatenate(list(mine.values()))
    try:
        rough = adjust(
            [Points(np.arange(len(seen)), seen, np.full(len(seen), 1.0))],
            drawn,
            PointBearer(layout.half_mm, np.zeros(SHAPE), np.r_[STRETCH_SD, STRETCH_SD, np.zeros(SHAPE - 2)], 0.0),
            prior,
            (rgb.shape[1], rgb.shape[0]),
        )
    except np.linalg.LinAlgError:
        return None
    if rough.used[0].sum() < 4 * LEAST_MARKERS:
        return None  # markers that no sheet has in this order: a chance
    px_per_mm = 1 / rough.views[0].mm_per_px(np.zeros(2))
    if px_per_mm < LEAST_PX_PER_MM:
        text = Words(
            "The reference sheet is too small in the photo ({px_per_mm:.1f} pixels a millimetre); go nearer.",
            px_per_mm=px_per_mm,
        )
        return Failure("too-small", text)
    found = _saddles(rgb, layout, rough.views[0].parameters, px_per_mm)
    good = np.isfinite(found.sigma_px)
    if good.sum() >= LEAST_POINTS and np.median(found.blur_px[good]) > MOST_BLUR_MM * px_per_mm:
        return Failure("blurred", Words("The photo is blurred; hold the phone still, and let it focus on the part."))
    if good.sum() < max(LEAST_POINTS, LEAST_SHARE * len(good)) or not _spans(layout, good):
        return Failure(
            "covered",
            Words(
                "Too little of the reference sheet's frame can be seen ({sum} of {n_good} points); "
                "move the part, hands and shadows off it, and have the whole frame in the picture and "
                "in focus.",
                sum=good.sum(),
                n_good=len(good),
            ),
        )
    which = np.flatnonzero(good)
    return Target(layout, Points(which, found.points_px[good], found.sigma_px[good]), px_per_mm)


def _markers(rgb: NDArray[np.uint8]) -> list[tuple[int, Array]]:
    """Number and (4, 2) corners, px, of all markers in a photo."""
    import cv2

    factor = max(1.0, max(rgb.shape[:2]) / SEARCH_PX)
    size = (round(rgb.shape[1] / factor), round(rgb.shape[0] / factor))
    small = rgb if factor == 1 else cv2.resize(rgb, size, interpolation=cv2.INTER_AREA)
    wanted = cv2.aruco.DetectorParameters()
    wanted.errorCorrectionRate = CORRECTED
    wanted.minMarkerPerimeterRate = LEAST_PERIMETER
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, DICTIONARY)), wanted)
    corners, numbers, _ = detector.detectMarkers(cv2.cvtColor(small, cv2.COLOR_RGB2GRAY))
    if numbers is None:
        return []
    scale = np.array(rgb.shape[1::-1]) / size
    # corners are counted from a pixel's middle, reduced pixels are larger
    at = [(np.asarray(c, float).reshape(4, 2) + 0.5) * scale - 0.5 for c in corners]
    return list(zip((int(k) for k in np.ravel(numbers)), at, strict=True))


def _twice(marks: list[tuple[int, Array]], layout: Layout) -> bool:
    """Whether many of a sheet's markers occur twice."""
    numbers = [k for k, _ in marks if k in layout.markers]
    return len(numbers) - len(set(numbers)) >= LEAST_MARKERS


def _saddles(rgb: NDArray[np.uint8], layout: Layout, parameters: Array, px_per_mm: float) -> Saddles:
    import cv2

    from calib.light.profile import FULL_LIGHT, OPPONENT, linear_table

    at = np.c_[layout.saddles_mm, np.zeros(len(layout.saddles_mm))]
    start, right, up = (project(parameters, at + d) for d in ([0.0, 0, 0], [0.5, 0, 0], [0, 0.5, 0]))
    table = (linear_table() / FULL_LIGHT).astype(np.float32)
    weights = OPPONENT[:, :1].T.astype(np.float32)
    light = cv2.transform(cv2.LUT(rgb, table), weights)
    reach = min(REACH_PX, layout.margin_mm * px_per_mm - 1.0)
    return locate(light, start, right - start, up - start, reach)


def _spans(layout: Layout, good: NDArray[np.bool_]) -> bool:
    """Whether the points located surround the field's middle: else the view there is guessed, not measured."""
    around = np.sort(np.arctan2(*(layout.saddles_mm[good] / layout.half_mm).T))
    gaps = np.diff(np.r_[around, around[0] + 2 * math.pi])
    return bool(gaps.max() < WIDEST_GAP_RAD)


# -------------------------------------------------------------------------------------------------------------- judging
def _judged(solved: Adjusted) -> Failure | None:
    """Why a solution can't be trusted."""
    view = solved.views[0]
    if view.tilt_deg > TILT_LIMIT_DEG:
        return Failure(
            "too-oblique",
            Words(
                "The photo was taken too much from the side (more than {tilt_limit_deg:.0f}°); hold "
                "the camera over the part, looking straight down.",
                tilt_limit_deg=TILT_LIMIT_DEG,
            ),
        )
    bows = np.abs(solved.shape[3:]) / SHAPE_SD[3:]
    if solved.spread > MOST_SPREAD or bows.max() > MOST_BOW_SD or solved.used[0].mean() < LEAST_USED:
        text = Words("The reference sheet does not lie flat; press it down, or tape its corners to the table.")
        return Failure("not-flat", text)
    if solved.used[0].sum() < LEAST_POINTS:
        return _unclear()
    return None


def no_target() -> Failure:
    """That there is no sheet."""
    lay = Words("lay the part on one, with the whole frame in the picture, near enough and sharp")
    return Failure("no-sheet", Words("There is no reference sheet in the photo"), (lay, Remedy("print-sheet")))


def _unclear() -> Failure:
    return Failure(
        "unclear", Words("The reference sheet can't be made out; give it more light, and take the photo again.")
    )


def _found(target: Target, solved: Adjusted, bars: Bars) -> Found:
    view, layout = solved.views[0], target.layout
    stretch = 1 + solved.shape[:2]
    field = view.pixels(_along(rectangle(layout.field_half_mm * stretch)))
    frame = view.pixels(_along(rectangle(layout.half_mm * stretch)))
    cautions = (NO_BARS,) if bars.x_mm is None and bars.y_mm is None else ()
    return Found(
        name="sheet",
        words=Words("reference sheet"),
        view=view,
        outlines_px=(frame, field),
        taken_px=(),
        field_px=field,
        faces_px=(),
        cautions=cautions,
    )


def _along(corners_mm: Array, pieces: int = 12) -> Array:
    """(n, 2) points along a closed polygon, so that it bends with the lens."""
    share = np.arange(pieces)[:, None] / pieces
    following = np.roll(corners_mm, -1, 0)
    return np.concatenate([a + share * (b - a) for a, b in zip(corners_mm, following, strict=True)])
