"""Whether a card's face shows a number: a row of evenly spaced characters, as on the front of a bank card.

Nothing is read. In the face, laid flat, small blobs of the size of digits are looked for, bright or dark, and then
rows of them: 12 to 19 of one height on one line, in one or more groups, evenly spaced within a group. A pattern may be
as regular, but then it goes on above and below, or is longer than any number.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.view.view import View

PX_PER_MM = 10.0
FACE_MM = 0.76
"""Height of a card's face over the table: ISO/IEC 7810."""
HEIGHT_MM = (1.7, 5.2)
"""Height of a card number's digits: 4 mm embossed (ISO/IEC 7811-1, from memory), printed ones from 2 mm (common
practice)."""
SLENDER, BROAD = 0.12, 1.25
"""Width of a digit over its height: a 1 at the least, a broad zero at the most."""
FEWEST, MOST = 12, 19
"""How many digits a card number has: ISO/IEC 7812-1, from memory; 12 are the fewest in use."""
SAME_HEIGHT, SAME_LINE = 0.22, 0.18
"""Digits of one row differ by no more than this, shares of their height: in height, and from a line along
the card."""
PITCH = (0.45, 1.35)
"""Spacing of neighbouring digits over their height."""
GAP = 4.4
"""The most that a gap is, in digits' spacings: between groups, and where two digits run into one another."""
UNEVEN = 0.16
"""The most that spacings within groups scatter, as a share."""
AROUND_MM = 7.0
ROOM, BEYOND, FREE = 1.6, 4.0, 0.75
"""In a number's heights: how far from the face's edge its middle is at the least; and how far above and below it less
stands out than this share of it. A name is shorter than the number over it."""
FINE_MM, BROAD_MM, STROKE_MM = 0.1, 0.8, (0.35, 0.7)
"""Blur that leaves strokes and takes grain; blur that takes strokes too; and how far strokes' flanks are spread to fill
a digit, across and up (chosen)."""
MAD_TO_SD = 1.4826
"""From the median of absolute deviations to a standard deviation, of normal ones."""
FILLED, MOSTLY, ONE_STEP, LINE_HEIGHT = 0.15, 0.6, (0.55, 1.4), 0.8
"""A digit fills so much of its box; so many of a number's steps are even, and these many pitches long; and the share of
a digit's height over which lines of the face are compared (chosen)."""
CONTRAST = 7.0
"""Least difference from what is around, in a window of so many millimetres, 8-bit codes."""
NOISE_SHARE, SPREAD_SHARE = 2.0, 0.8
"""The same, in standard deviations: of the face's finest grain, and of all that is in the window."""


@dataclass(frozen=True, slots=True)
class Blobs:
    """Blobs of the size of digits: (n,) centre, width and height, px of the face; and (h, w) all that stands out."""

    x: Array
    y: Array
    w: Array
    h: Array
    stands: NDArray[np.bool_]


def flat_face(rgb: NDArray[np.uint8], view: View, face_px: Array) -> NDArray[np.uint8]:
    """(h, w) grey picture of a card's face, laid flat, 10 pixels a millimetre, its long side level.

    Args:
        rgb: (h, w, 3) the photo.
        view: the solved view.
        face_px: (n, 2) outline of the face in the photo.
    """
    import cv2

    ring = view.plane(face_px, FACE_MM).astype(np.float32)
    corners = cv2.boxPoints(cv2.minAreaRect(ring)).astype(float)
    sides = np.hypot(*(np.roll(corners, -1, 0) - corners).T)
    if sides[0] < sides[1]:
        corners, sides = np.roll(corners, -1, 0), np.roll(sides, -1)
    size = np.maximum(np.round(sides[:2] * PX_PER_MM).astype(int), 8)
    w, h = (int(v) for v in size)
    seen = view.pixels(corners, FACE_MM).astype(np.float32)
    flat = np.array([[0, 0], [w, 0], [w, h], [0, h]], np.float32) - np.float32(0.5)
    if cv2.contourArea(seen, oriented=True) < 0:  # the plane's y points up, the picture's down
        flat = flat[::-1].copy()
    low, high = np.floor(seen.min(0)) - 4, np.ceil(seen.max(0)) + 4
    x0, y0 = (int(max(v, 0)) for v in low)
    x1, y1 = int(min(high[0], rgb.shape[1])), int(min(high[1], rgb.shape[0]))
    part = cv2.cvtColor(np.ascontiguousarray(rgb[y0:y1, x0:x1]), cv2.COLOR_RGB2GRAY)
    turn = cv2.getPerspectiveTransform(seen - np.array([x0, y0], np.float32), flat)
    return np.asarray(cv2.warpPerspective(part, turn, (w, h), flags=cv2.INTER_AREA), np.uint8)


def shows_number(face: NDArray[np.uint8]) -> bool:
    """Whether a face, laid flat (h, w), shows a row of digits, along its long side or across."""
    bright = np.ascontiguousarray(face, np.float32)
    sides = (bright, np.ascontiguousarray(bright.T))
    return any(_rows(_blobs(look)) for side in sides for look in (side, -side, _relief(side)))


def _relief(grey: NDArray[np.float32]) -> NDArray[np.float32]:
    """(h, w) how uneven a face is from point to point: characters raised without ink have bright and dark flanks.

    It is blurred along the characters' height most, so that each becomes one blob and neighbours stay apart.
    """
    import cv2

    fine = cv2.GaussianBlur(grey, (0, 0), FINE_MM * PX_PER_MM)
    flanks = np.abs(fine - cv2.GaussianBlur(grey, (0, 0), BROAD_MM * PX_PER_MM))
    return np.asarray(
        3 * cv2.GaussianBlur(flanks, (0, 0), STROKE_MM[0] * PX_PER_MM, sigmaY=STROKE_MM[1] * PX_PER_MM), np.float32
    )


def _blobs(grey: NDArray[np.float32]) -> Blobs:
    """What is brighter than its surroundings and as large as a digit."""
    import cv2

    fine = cv2.GaussianBlur(grey, (0, 0), FINE_MM * PX_PER_MM)
    window = (round(AROUND_MM * PX_PER_MM), round(AROUND_MM * PX_PER_MM))
    around = cv2.blur(fine, window)
    grain = MAD_TO_SD * float(np.median(np.abs(grey - fine)))
    variance = cv2.blur((fine - around) ** 2, window)
    stands = (fine - around) > np.maximum(
        max(CONTRAST, NOISE_SHARE * grain), SPREAD_SHARE * np.sqrt(np.maximum(variance, 0))
    )
    _, _, stats, centre = cv2.connectedComponentsWithStats(stands.astype(np.uint8), connectivity=4)
    w, h, area = (stats[1:, k].astype(float) for k in (cv2.CC_STAT_WIDTH, cv2.CC_STAT_HEIGHT, cv2.CC_STAT_AREA))
    x = stats[1:, cv2.CC_STAT_LEFT] + w / 2
    y = stats[1:, cv2.CC_STAT_TOP] + h / 2
    tall = (h > HEIGHT_MM[0] * PX_PER_MM) & (h < HEIGHT_MM[1] * PX_PER_MM)
    like = tall & (w > SLENDER * h) & (w < BROAD * h) & (area > FILLED * w * h) & np.isfinite(centre[1:, 0])
    return Blobs(x[like], y[like], w[like], h[like], stands)


def _rows(b: Blobs) -> bool:
    """Whether some of the blobs make up a number."""
    for i in np.argsort(b.x):
        near = np.abs(b.h / b.h[i] - 1) < SAME_HEIGHT
        row = np.flatnonzero(near & (np.abs(b.y - b.y[i]) < SAME_LINE * b.h[i]))
        if len(row) >= FEWEST and _number(b, row[np.argsort(b.x[row])]) and not _goes_on(b, row):
            return True
    return False


def _number(b: Blobs, row: NDArray[np.intp]) -> bool:
    """Whether blobs on a line, from left to right, are spaced like a number's digits."""
    x, h = b.x[row], float(np.median(b.h[row]))
    steps = np.diff(x)
    close = steps[(steps > PITCH[0] * h) & (steps < PITCH[1] * h)]
    if len(close) < MOSTLY * (FEWEST - 1):
        return False
    pitch = float(np.median(close))
    for run in np.split(np.arange(len(x)), np.flatnonzero(steps > GAP * pitch) + 1):
        if not FEWEST <= len(run) <= MOST:
            continue
        within = steps[run[:-1]]
        even = within[within < ONE_STEP[1] * pitch]
        if (
            len(even) >= MOSTLY * (len(run) - 1)
            and float(np.std(even)) < UNEVEN * pitch
            and even.min() > ONE_STEP[0] * pitch
        ):
            return True
    return False


def _goes_on(b: Blobs, row: NDArray[np.intp]) -> bool:
    """Whether above or below a row as much stands out as in it, or nothing can because the face ends: a pattern."""
    h, level = float(np.median(b.h[row])), float(np.median(b.y[row]))
    left, right = (int(v) for v in (b.x[row].min() - h / 2, b.x[row].max() + h / 2))
    if min(level, len(b.stands) - level) < ROOM * h:
        return True
    lines = b.stands[:, max(left, 0) : right].mean(1)
    high = max(int(LINE_HEIGHT * h), 1)
    share = np.convolve(lines, np.full(high, 1 / high), "same")
    off = np.abs(np.arange(len(lines)) - level)
    return float(share[(off > h) & (off < BEYOND * h)].max()) > FREE * float(share[int(level)])
