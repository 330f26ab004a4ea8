"""A scene: what lies where, in which light, seen by which phone; the lay-out of part and card in the frame."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely

from tests.accuracy import shapes as sh
from tests.accuracy.lab.camera import Camera, looking
from tests.accuracy.lab.faces import Colour
from tests.accuracy.lab.lights import LIGHTS, Light
from tests.accuracy.lab.meshes import Rim

Loop = list[dict[str, Any]]
Place = tuple[float, float, float]
"""Shift in mm and turn in degrees, of a thing's own frame in the world."""


@dataclass(frozen=True)
class Card:
    """An ID-1 card as made: its true size, mm, its print, where it lies."""

    w: float
    h: float
    r: float
    thick: float
    style: str | Colour
    place: Place = (0.0, 0.0, 0.0)

    @property
    def body(self) -> shapely.Polygon:
        """The rectangle that it takes, corners not rounded."""
        box = shapely.box(-self.w / 2, -self.h / 2, self.w / 2, self.h / 2)
        turned = shapely.affinity.rotate(box, self.place[2], origin=(0, 0))
        return shapely.affinity.translate(turned, *self.place[:2])


@dataclass(frozen=True)
class Raised:
    """What stands up from a face: outlines in the part's frame, and how high, mm."""

    loops: list[Loop]
    height_mm: float


@dataclass(frozen=True)
class Phone:
    """How a phone sees and keeps a picture; `width_px` by three quarters of it, lying."""

    fov_deg: float = 66.0
    tilt_deg: float = 6.0
    azimuth_deg: float = 60.0
    k1: float = 0.0
    off_px: tuple[float, float] = (0.0, 0.0)
    blur_px: float = 0.8
    noise: float = 0.006
    sharpen: float = 0.0
    vignette: float = 0.12
    exposure: float = 0.6
    quality: int = 91
    exif: str = "full"
    orientation: int = 1
    f35_slip: float = 0.0
    width_px: int = 4032


@dataclass(frozen=True)
class Scene:
    """One photo to be.

    Attributes:
        name, level: of the photo; what its taker was told.
        body: kind of outline.
        subject: `part` or `opening`; an opening is cut through the table, whose face is then the reference plane.
        loops: the outline in the part's frame, holes after the outer boundary.
        thickness_mm: of the part, or of the panel round an opening.
        place: of the part in the world.
        cards: beside it.
        table, light: a ground and the light on it.
        colour, second: of the part; the floor under an opening has the first.
        gloss: roughness of the part's face; smaller is glossier.
        rim: of its upper edges.
        printed: lines of layers on its walls, strands on its face.
        dust: specks and scratches on part and table.
        raised: on its face.
        shade: what keeps some of the light off: `hand`, `phone` or nothing.
        glare: whether a panel of light is mirrored in the part.
        look, height_mm: the point of the table that the camera looks at, and from how high.
        samples: rays a pixel.
    """

    name: str
    level: str
    body: str
    loops: list[Loop]
    thickness_mm: float
    place: Place
    cards: tuple[Card, ...]
    table: str
    light: str
    colour: Colour
    look: tuple[float, float]
    height_mm: float
    seed: int
    phone: Phone = field(default_factory=Phone)
    subject: str = "part"
    second: Colour | None = None
    gloss: float = 0.25
    rim: Rim = field(default_factory=Rim)
    printed: bool = False
    dust: bool = False
    raised: Raised | None = None
    shade: str = ""
    glare: bool = False
    depth_mm: float = 18.0
    samples: int = 16

    @property
    def camera(self) -> Camera:
        """Where the phone is and how it sees."""
        p = self.phone
        return looking(
            self.look,
            self.height_mm,
            fov_deg=p.fov_deg,
            tilt_deg=p.tilt_deg,
            azimuth_deg=p.azimuth_deg,
            size=(p.width_px, p.width_px * 3 // 4),
            off_px=p.off_px,
            k1=p.k1,
        )

    @property
    def lit(self) -> Light:
        """The light without what the shade and the glare bring along."""
        return LIGHTS[self.light]

    @property
    def placed(self) -> list[Loop]:
        """The outline in the world."""
        return [sh.move(loop, *self.place) for loop in self.loops]

    @property
    def rings(self) -> list[np.ndarray]:
        """The outline in the world as points."""
        return [sh.flatten(loop, hole=i > 0) for i, loop in enumerate(self.placed)]


def id1(style: str | Colour, rng: np.random.Generator) -> Card:
    """A card somewhere within ISO/IEC 7810's tolerance."""
    return Card(
        w=float(np.clip(rng.normal(85.60, 0.04), 85.48, 85.71)),
        h=float(np.clip(rng.normal(53.98, 0.02), 53.93, 54.02)),
        r=float(rng.uniform(3.0, 3.4)),
        thick=float(rng.uniform(0.72, 0.80)),
        style=style,
    )


def beside(
    outer: Loop, card: Card, *, turn: float, side: float, card_turn: float, gap: float, fill: float, fov_deg: float
) -> tuple[Place, Card, tuple[float, float], float]:
    """Part and card side by side in the frame.

    Args:
        outer: the part's outer boundary.
        turn, card_turn: degrees.
        side: direction from the part to the card, degrees.
        gap: least distance between both, mm.
        fill: share of the frame's width (or height) that both take.

    Returns:
        Place of the part, the card placed, where the camera looks and from how high.
    """
    c = shapely.Polygon(sh.flatten(sh.move(outer, 0, 0, turn), 0.01)).centroid
    place = (-c.x, -c.y, turn)
    part = shapely.Polygon(sh.flatten(sh.move(outer, *place), 0.01))
    u = (math.cos(math.radians(side)), math.sin(math.radians(side)))
    away = 0.0
    while True:
        there = Card(card.w, card.h, card.r, card.thick, card.style, (u[0] * away, u[1] * away, card_turn))
        if there.body.distance(part) >= gap:
            break
        away += 0.5
    x0, y0, x1, y1 = part.union(there.body).bounds
    wide = (1.32 if fov_deg > 50 else 1.1) * max(x1 - x0, (y1 - y0) * 4 / 3) / fill
    return place, there, ((x0 + x1) / 2, (y0 + y1) / 2), wide / 2 / math.tan(math.radians(fov_deg) / 2)
