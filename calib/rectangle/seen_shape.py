"""Flat rectangles and the quadrilaterals that a pinhole camera sees of them.

Only the focal length and the principal point enter; lens terms are left out, as these figures choose among candidates
and are not measurements.
"""

from __future__ import annotations

import numpy as np

from calib.arrays import Array


def seen_shape(corners_px: Array, focal_px: float, centre_px: tuple[float, float]) -> Array:
    """What parallelograms quadrilaterals are views of.

    Args:
        corners_px: (m, 4, 2) in order.
        focal_px, centre_px: of the camera.

    Returns:
        (m, 3): length of the first side over that of the second; cosine of the angle between them, 0 for a rectangle;
        and the tilt of their plane, degrees. From the columns of the homography (Zhang 2000, section 2.3).
    """
    q = (corners_px - np.array(centre_px)) / focal_px
    p = np.concatenate([q, np.ones((*q.shape[:2], 1))], 2)
    # depths z of the corners, up to a common factor, from P0 - P1 + P2 - P3 = 0 with P = z p and z0 = 1
    M = np.stack([p[:, 1], -p[:, 2], p[:, 3]], 2)
    M = np.where(np.abs(np.linalg.det(M))[:, None, None] > 1e-12, M, np.eye(3))
    z = np.linalg.solve(M, p[:, 0][..., None])[..., 0]
    first, second = z[:, :1] * p[:, 1] - p[:, 0], z[:, 2:] * p[:, 3] - p[:, 0]
    a = np.maximum(np.linalg.norm(first, axis=1), 1e-12)
    b = np.maximum(np.linalg.norm(second, axis=1), 1e-12)
    cosine = (first * second).sum(1) / (a * b)
    normal = np.cross(first, second)
    up = np.abs(normal[:, 2]) / np.maximum(np.linalg.norm(normal, axis=1), 1e-12)
    return np.stack([a / b, cosine, np.degrees(np.arccos(np.clip(up, 0, 1)))], 1)


def area(corners: Array) -> float:
    """Of a quadrilateral (4, 2)."""
    n = np.roll(corners, -1, 0)
    return float(abs((corners[:, 0] * n[:, 1] - corners[:, 1] * n[:, 0]).sum()) / 2)


def likeness(corners_px: Array, focal_px: float, centre_px: tuple[float, float], ratio: float) -> Array:
    """(m,) how near quadrilaterals (m, 4, 2) come to views of rectangles of a known ratio of sides, 0 to 1."""
    shape = seen_shape(corners_px, focal_px, centre_px)
    off = np.log(np.maximum(shape[:, 0], 1 / np.maximum(shape[:, 0], 1e-6)) / ratio) / LIKE_RATIO
    return np.asarray(np.exp(-0.5 * np.minimum(off**2 + (shape[:, 1] / LIKE_COSINE) ** 2, MOST_UNLIKE)))


LIKE_RATIO, LIKE_COSINE = 0.03, 0.03
"""How far a card's quadrilateral strays when shadows and rims are taken for its sides: relative, and radians."""
MOST_UNLIKE = 60.0
"""Square of standard deviations from which on all is alike unlike: e⁻³⁰, so that no exponential underflows."""
AHEAD = 1e-3
"""Step along a direction, share of a side, that shows which way it runs in the photo."""


def far_side(
    first_px: Array,
    second_px: Array,
    along_first: Array,
    along_second: Array,
    depth: float,
    focal_px: float,
    centre_px: tuple[float, float],
) -> Array:
    """The far corners of rectangles of which one side and the directions of its two neighbours are seen.

    Args:
        first_px, second_px: (m, 2) ends of the seen side.
        along_first, along_second: (m, 2) directions, in the photo, of the neighbouring sides from those ends.
        depth: length of the neighbouring sides over that of the seen one.
        focal_px, centre_px: of the camera.

    Returns:
        (m, 2, 2) far ends of the first and of the second neighbouring side; not finite where there is none.
    """

    def ray(x: Array) -> Array:
        return np.asarray(np.c_[(x - np.array(centre_px)) / focal_px, np.ones(len(x))])

    def through(x: Array, u: Array) -> Array:
        return np.asarray(np.cross(ray(x), np.c_[u, np.zeros(len(u))]))

    p, q = ray(first_px), ray(second_px)
    with np.errstate(invalid="ignore", divide="ignore"):
        # the neighbours' common direction meets the image in their vanishing point; the seen side is square to it
        d: Array = np.cross(through(first_px, along_first), through(second_px, along_second))
        d /= np.linalg.norm(d, axis=1)[:, None]
        side = np.cross(d, np.cross(p, q))
        normal = np.cross(d, side)
        P = p / (p * normal).sum(1)[:, None]
        Q = q / (q * normal).sum(1)[:, None]
        step = depth * np.linalg.norm(Q - P, axis=1)[:, None] * d
        # which way along d is away from the seen side, as it shows in the photo
        ahead = P + AHEAD * step
        way = np.sign(((ahead[:, :2] / ahead[:, 2:] - P[:, :2] / P[:, 2:]) * along_first).sum(1))[:, None]
        far = np.stack([P + way * step, Q + way * step], 1)
        return np.asarray(far[..., :2] / far[..., 2:] * focal_px + np.array(centre_px))
