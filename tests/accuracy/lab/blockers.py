"""What keeps light off: the taker's hand, or the phone itself under a lamp. Only its shadow is seen."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely

from calib.arrays import Array
from tests.accuracy import shapes as sh
from tests.accuracy.lab.camera import Camera
from tests.accuracy.lab.lights import BULB, Lamp, Light

PHONE_MM = (74.0, 156.0, 9.0)
"""Width, length, corner radius: invented, as phones are."""
THICK_MM = 14.0
FINGERS = ((-24, 62), (-8, 78), (9, 84), (26, 74))
"""Where four fingers stand across the palm and how far they reach, mm: invented."""


@dataclass(frozen=True)
class Blocker:
    """A flat thing in the air: its outline in the world (n, 2), and the height of its lower face, mm."""

    ring: Array
    z_mm: float


def hand() -> Array:
    """A hand's outline, the longest finger's tip at 0, 0 and the arm along +x."""
    fingers = [shapely.LineString([(reach, y), (20, 0.8 * y)]).buffer(8.5) for y, reach in FINGERS]
    palm = shapely.box(-40, -36, 36, 36).buffer(8)
    thumb = shapely.LineString([(-10, -30), (38, -66)]).buffer(10)
    arm = shapely.box(-320, -30, -30, 30)
    outline = shapely.union_all([*fingers, palm, thumb, arm]).simplify(0.3)
    return (np.array(outline.exterior.coords)[:-1] - [92.5, 9]) * [-1, 1]


def shadow_of_hand(light: Light, edge_mm: Array, camera: Camera) -> Blocker | None:
    """A hand between the first lamp and a point of an edge, as near to the table as the frame allows.

    Args:
        edge_mm: the point (2,) of part or card that its shadow's finger is to cross.
    """
    lamp = np.array(light.lamps[0].at, float)
    from_mm = np.array([*edge_mm, 0.0])
    a = math.atan2(lamp[1] - edge_mm[1], lamp[0] - edge_mm[0])
    turned = hand() @ np.array([[math.cos(a), math.sin(a)], [-math.sin(a), math.cos(a)]])
    for share in np.arange(0.15, 0.85, 0.05):
        at = from_mm + share * (lamp - from_mm)
        ring = turned + at[:2]
        if not _seen(ring, at[2], camera):
            return Blocker(ring, float(at[2]))
    return None


def shadow_of_phone(edge_mm: Array, camera: Camera, turn: float) -> tuple[Blocker, Lamp]:
    """The phone round its camera, and a ceiling lamp that throws its shadow's rim over a point of an edge."""
    cx, cy, cz = camera.centre_mm
    w, h, r = PHONE_MM
    ring = sh.flatten(sh.move(sh.rounded(w, h, r, (-w / 4, -h / 3)), cx, cy, turn), 0.05)
    a = math.radians(turn)
    corner = (
        np.array([cx, cy])
        + np.array([-math.sin(a), math.cos(a)]) * (h / 6)
        - np.array([math.cos(a), math.sin(a)]) * w / 4
    )
    z = cz + 4.0
    lamp = edge_mm + (corner - edge_mm) * (900.0 / z)
    return Blocker(ring, z), Lamp((float(lamp[0]), float(lamp[1]), 900.0), 120, 2.6, BULB)


def _seen(ring: Array, z_mm: float, camera: Camera, margin_px: float = 120.0) -> bool:
    """Whether anything of a plate in the air may be seen in the picture."""
    dense = shapely.segmentize(shapely.Polygon(ring), 5.0)
    for z in (z_mm, z_mm + THICK_MM):
        p = np.c_[np.array(dense.exterior.coords), np.full(len(dense.exterior.coords), z)]
        before = camera.depth_mm(p) > 1.0
        if not before.any():
            continue
        u, v = camera.project(p[before]).T
        inside = (u > -margin_px) & (u < camera.width + margin_px) & (v > -margin_px) & (v < camera.height + margin_px)
        if inside.any():
            return True
    return False
