"""What a competent person writes in an afternoon: find the card, straighten the photo, threshold, take the contour.

    python tests/benchmarks/plain_opencv.py PHOTO

The yardstick for the speed of `jawline trace`. It knows nothing of lens, height, shadow or uncertainty.
"""

from __future__ import annotations

import sys

import cv2
import numpy as np

CARD_MM = (85.60, 53.98)


def card_corners(grey: np.ndarray) -> np.ndarray:
    """(4, 2) corners of the four-sided contour nearest to a card's proportions, in full-size pixels."""
    scale = 1000 / max(grey.shape)
    small = cv2.GaussianBlur(cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA), (5, 5), 0)
    best, best_score = None, 0.25
    for edges in (
        cv2.Canny(small, 30, 90),
        cv2.Canny(small, 60, 180),
        cv2.adaptiveThreshold(small, 255, cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY, 51, 5),
    ):
        closed = cv2.morphologyEx(edges, cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8))
        for contour in cv2.findContours(closed, cv2.RETR_LIST, cv2.CHAIN_APPROX_SIMPLE)[0]:
            if cv2.contourArea(contour) < 0.02 * small.size:
                continue
            four = cv2.approxPolyDP(cv2.convexHull(contour), 0.03 * cv2.arcLength(contour, True), True)
            if len(four) != 4:
                continue
            sides = np.hypot(*(np.roll(four[:, 0], -1, 0) - four[:, 0]).T.astype(float))
            ratio = (sides[0] + sides[2]) / (sides[1] + sides[3])
            score = abs(max(ratio, 1 / ratio) / (CARD_MM[0] / CARD_MM[1]) - 1)
            if score < best_score:
                best, best_score = four[:, 0].astype(np.float32), score
    if best is None:
        raise SystemExit("no card")
    full = np.ascontiguousarray(best[:, None] / scale)
    term = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 30, 0.01)
    return cv2.cornerSubPix(grey, full, (15, 15), (-1, -1), term)[:, 0]


def straightened(photo: np.ndarray, corners: np.ndarray) -> tuple[np.ndarray, np.ndarray, float]:
    """The photo seen square on at its own resolution, the mask of the card in it, and its pixels per millimetre."""
    w, h = CARD_MM
    if np.hypot(*(corners[1] - corners[0])) < np.hypot(*(corners[2] - corners[1])):
        corners = np.roll(corners, 1, 0)
    scale = float(np.hypot(*(corners[1] - corners[0]))) / w
    card = np.array([[0, 0], [w, 0], [w, h], [0, h]], np.float32) * scale
    H = cv2.getPerspectiveTransform(corners.astype(np.float32), card)
    frame = np.array([[0, 0], [photo.shape[1], 0], [photo.shape[1], photo.shape[0]], [0, photo.shape[0]]], np.float32)
    seen = cv2.perspectiveTransform(frame[None], H)[0]
    low, high = seen.min(0), seen.max(0)
    shift = np.array([[1, 0, -low[0]], [0, 1, -low[1]], [0, 0, 1]])
    size = tuple(int(v) for v in np.minimum(np.ceil(high - low), 6000))
    flat = cv2.warpPerspective(photo, shift @ H, size)
    mask = np.zeros(flat.shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.round((card - card.mean(0)) * 1.06 + card.mean(0) - low).astype(np.int32)], 255)
    return flat, mask, scale


def part_contour(flat: np.ndarray, card: np.ndarray, scale: float) -> np.ndarray:
    """(n, 2) contour of the largest thing that is not the card, in millimetres."""
    lab = cv2.cvtColor(cv2.GaussianBlur(flat, (5, 5), 0), cv2.COLOR_BGR2LAB)
    sample = lab[::8, ::8][(card[::8, ::8] == 0) & flat[::8, ::8].any(2)]
    table = tuple(float(v) for v in np.median(sample, axis=0))
    away = cv2.transform(cv2.absdiff(lab, (*table, 0.0)), np.ones((1, 3), np.float32))
    away[(card > 0) | (flat[..., 1] == 0)] = 0
    _, part = cv2.threshold(away, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
    part = cv2.morphologyEx(part, cv2.MORPH_OPEN, np.ones((5, 5), np.uint8))
    contours = cv2.findContours(part, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)[0]
    return max(contours, key=cv2.contourArea)[:, 0] / scale


def main() -> None:
    photo = cv2.imread(sys.argv[1])
    corners = card_corners(cv2.cvtColor(photo, cv2.COLOR_BGR2GRAY))
    contour = part_contour(*straightened(photo, corners))
    print(f"{np.ptp(contour, axis=0)[0]:.2f} x {np.ptp(contour, axis=0)[1]:.2f} mm")


if __name__ == "__main__":
    main()
