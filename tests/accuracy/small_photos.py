"""Small photos of flat things on a table, drawn quickly and exactly: no light is traced, but all is where it would be.

A pinhole with one radial term sees things with upright walls (outlines are signed distances, so that every pixel's
share of them is known without drawing it larger). A lamp of some size and a sky cast soft shadows, found by looking
from each point of table or face towards samples of both. Blur, vignette, noise and JPEG as a phone has them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from tests.accuracy.surfaces import PRINT_PX_PER_MM, TABLE_PX_PER_MM, printed, table

Picture = NDArray[np.float32]
Shape = Callable[[Picture, Picture], Picture]
"""Signed distance (mm, negative inside) from an outline, at points of its own plane."""

TABLE_MM = (460.0, 380.0)
SHADOW_MM, SHADOW_SHARE = 0.25, 0.1
"""Spacing of the points that shadows are found for: at least, and as a share of how high the thing reaches."""
LAMP_SAMPLES, SKY_SAMPLES = (9, 24), (12, 32)
"""How many points of lamp and sky: for thin things, for others."""
THIN_MM = 1.5


def rounded(w: float, h: float, r: float) -> Shape:
    """A rectangle with round corners."""

    def distance(x: Picture, y: Picture) -> Picture:
        a, b = np.abs(x) - np.float32(w / 2 - r), np.abs(y) - np.float32(h / 2 - r)
        out = np.hypot(np.maximum(a, 0), np.maximum(b, 0)) + np.minimum(np.maximum(a, b), 0) - np.float32(r)
        return np.asarray(out, np.float32)

    return distance


def disc(r: float, x0: float = 0.0, y0: float = 0.0) -> Shape:
    """A round thing."""
    return lambda x, y: np.asarray(np.hypot(x - np.float32(x0), y - np.float32(y0)) - np.float32(r), np.float32)


def moved(shape: Shape, x0: float, y0: float) -> Shape:
    """A shape elsewhere."""
    return lambda x, y: shape(x - np.float32(x0), y - np.float32(y0))


def joined(*shapes: Shape) -> Shape:
    """All of several shapes."""
    return lambda x, y: np.minimum.reduce([s(x, y) for s in shapes])


def without(shape: Shape, *holes: Shape) -> Shape:
    """A shape with openings."""
    return lambda x, y: np.maximum.reduce([shape(x, y), *(-s(x, y) for s in holes)])


@dataclass(frozen=True)
class Thing:
    """Something flat. Millimetres, degrees.

    Attributes:
        shape, size: its outline, and the width and height that its print covers.
        at, turn: where it lies on the table.
        base, thickness: height of its lower face over the table, and of its upper one over that.
        face: name of a print, or a colour.
        rim: colour of its walls; None for that of the face's edge.
        arch: how much higher its middle is than its ends, along its length (negative: its ends stand up).
        lean: how much higher its right end is than its left one; lean_up: its upper side than its lower one.
        sheen: how much of the lamp its face mirrors.
    """

    shape: Shape
    size: tuple[float, float]
    at: tuple[float, float] = (0.0, 0.0)
    turn: float = 0.0
    base: float = 0.0
    thickness: float = 0.76
    face: object = (0.5, 0.5, 0.5)
    rim: tuple[float, float, float] | None = None
    arch: float = 0.0
    lean: float = 0.0
    lean_up: float = 0.0
    sheen: float = 0.0

    def local(self, x: Picture, y: Picture) -> tuple[Picture, Picture]:
        """Points of the table's frame in its own, as measured along it when it is curved."""
        c, s = np.float32(np.cos(np.radians(self.turn))), np.float32(np.sin(np.radians(self.turn)))
        u, v = x - np.float32(self.at[0]), y - np.float32(self.at[1])
        w, h = self.size
        # an arc is longer than its chord by 8/3 of its height squared over the chord, a slope by half of that
        along = 1 + 8 / 3 * (self.arch / w) ** 2 + 0.5 * (self.lean / w) ** 2
        up = 1 + 0.5 * (self.lean_up / h) ** 2
        return (c * u + s * v) * np.float32(along), (c * v - s * u) * np.float32(up)

    def rise(self, u: Picture, v: Picture) -> Picture | float:
        """How much higher than `base` its lower face is."""
        if not (self.arch or self.lean or self.lean_up):
            return 0.0
        a, b = np.clip(u / (self.size[0] / 2), -1.1, 1.1), np.clip(v / (self.size[1] / 2), -1.1, 1.1)
        bend = self.arch * (1 - a**2) if self.arch > 0 else -self.arch * a**2
        return np.asarray(bend + self.lean * (a + 1) / 2 + self.lean_up * (b + 1) / 2, np.float32)

    @property
    def top(self) -> float:
        """Height of its highest point."""
        return self.base + self.thickness + abs(self.arch) + abs(self.lean) + abs(self.lean_up)

    @property
    def level(self) -> bool:
        """Whether its faces are flat and level."""
        return not (self.arch or self.lean or self.lean_up)


@dataclass(frozen=True)
class Scene:
    """What is photographed, and how. Millimetres, degrees.

    Attributes:
        things: from the lowest to the highest.
        part_at: where the scale is compared with the truth.
        thickness_mm: of the part.
        ground, grain_deg: name of a table, and how its grain or grid runs.
        height, tilt, azimuth, roll, look: of the camera over what it looks at.
        focal_35mm, radial: of the lens; exif: whether the photo tells the former.
        lamp, lamp_size, key, sky, tint: where the lamp is, how large, how bright, and how bright the sky.
        blur, grain, sharpen, quality: of the photo; wide: its width, px.
    """

    name: str
    things: tuple[Thing, ...]
    part_at: tuple[float, float]
    thickness_mm: float = 4.0
    ground: str = "wood"
    grain_deg: float = 3.0
    height: float = 185.0
    tilt: float = 6.0
    azimuth: float = 60.0
    roll: float = 0.0
    look: tuple[float, float] = (0.0, 0.0)
    focal_35mm: float = 27.0
    radial: float = 0.0
    exif: bool = True
    lamp: tuple[float, float, float] = (-420.0, 260.0, 420.0)
    lamp_size: float = 300.0
    key: float = 0.65
    sky: float = 0.35
    tint: tuple[float, float, float] = (1.0, 0.97, 0.92)
    blur: float = 0.75
    grain: float = 0.006
    sharpen: float = 0.0
    quality: int = 91
    seed: int = 1
    wide: int = 3200

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height of the photo."""
        return self.wide, self.wide * 3 // 4

    @cached_property
    def camera(self) -> Array:
        """(10,) see `calib.view.view.NAMES`."""
        lean, way, roll = np.radians([self.tilt, self.azimuth, self.roll])
        back = np.array([np.sin(lean) * np.cos(way), np.sin(lean) * np.sin(way), np.cos(lean)])
        right = np.cross(-back, [-np.sin(roll), np.cos(roll), 0.0])
        right /= np.linalg.norm(right)
        R = np.stack([right, np.cross(-back, right), -back])
        centre = np.array([*self.look, 0.0]) + back * self.height / np.cos(lean)
        focal = self.focal_35mm * self.wide / 36
        at = (self.size_px[0] - 1) / 2 + 3.0, (self.size_px[1] - 1) / 2 - 2.0
        return np.r_[cv2.Rodrigues(R)[0].ravel(), -R @ centre, focal, *at, self.radial]


def photo(scene: Scene) -> NDArray[np.uint8]:
    """(h, w, 3) 8-bit sRGB."""
    rng = np.random.default_rng(scene.seed)
    eye, x, y = _table_seen(scene)
    tint = np.float32(scene.tint)
    c, s = (np.float32(f(np.radians(scene.grain_deg))) for f in (np.cos, np.sin))
    shift = rng.uniform(-20, 20, 2).astype(np.float32)
    u = (c * x + s * y + shift[0] + np.float32(TABLE_MM[0] / 2)) * np.float32(TABLE_PX_PER_MM)
    v = (s * x - c * y + shift[1] + np.float32(TABLE_MM[1] / 2)) * np.float32(TABLE_PX_PER_MM)
    light = cv2.remap(table(scene.ground, TABLE_MM), u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT_101)
    light *= _lit(scene, scene.things, 0.0, x, y)[..., None] * tint
    for k, thing in enumerate(scene.things):
        box = _box(scene, thing)
        if box is None:
            continue
        part = light[box]
        xs, ys = x[box], y[box]
        face = printed(thing.face, thing.size, rng)
        upper, inside, slope = _seen(thing, eye, xs, ys, scene)
        p, q = upper
        at = (
            ((p + thing.size[0] / 2) * PRINT_PX_PER_MM - 0.5).astype(np.float32),
            ((thing.size[1] / 2 - q) * PRINT_PX_PER_MM - 0.5).astype(np.float32),
        )
        shown = cv2.remap(face, *at, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        above = tuple(t for t in scene.things[k + 1 :] if t.top > thing.base + thing.thickness + 0.01)
        h = thing.base + thing.thickness
        px, py = _at_height(eye, xs, ys, h)
        bright = _lit(scene, above, h, px, py) if above else _open(scene, px, py)
        shown = shown * (bright * slope)[..., None] * tint
        if thing.sheen:
            shown = shown + thing.sheen * _mirrored(scene, eye, px, py, h)[..., None] * tint
        wall = np.float32(thing.rim if thing.rim is not None else np.median(face[:3].reshape(-1, 3), 0))
        wall = wall * _wall_light(scene, thing, xs, ys)[..., None] * tint
        seen_top, seen_all = inside
        part += seen_all[..., None] * (wall - part) + seen_top[..., None] * (shown - wall)
    return _developed(scene, light, rng)


def _table_seen(scene: Scene) -> tuple[Array, Picture, Picture]:
    """The camera's place, and where each pixel's ray meets the table."""
    from calib.view.view import View, to_plane

    step = 8
    wide, high = scene.size_px
    v, u = np.mgrid[-2 * step : high + 2 * step : step, -2 * step : wide + 2 * step : step]
    coarse = to_plane(scene.camera, np.c_[u.ravel(), v.ravel()].astype(float)).reshape(*u.shape, 2)
    v, u = np.mgrid[0:high, 0:wide].astype(np.float32) / step + 2
    fine = cv2.remap(coarse.astype(np.float32), u, v, cv2.INTER_CUBIC)
    view = View(scene.camera, np.eye(10), scene.size_px)
    return view.centre_mm, np.ascontiguousarray(fine[..., 0]), np.ascontiguousarray(fine[..., 1])


def _at_height(eye: Array, x: Picture, y: Picture, z: Picture | float) -> tuple[Picture, Picture]:
    """Where the rays that meet the table at x, y pass a height."""
    share = np.asarray(1 - z / eye[2], np.float32)
    ex, ey = np.float32(eye[0]), np.float32(eye[1])
    return np.asarray(ex + (x - ex) * share, np.float32), np.asarray(ey + (y - ey) * share, np.float32)


def _on(thing: Thing, eye: Array, x: Picture, y: Picture, over: float) -> tuple[Picture, Picture]:
    """Where rays meet the surface that lies so high over a thing's lower face, in the thing's frame."""
    z: Picture | float = thing.base + over
    for _ in range(1 if thing.level else 5):
        u, v = thing.local(*_at_height(eye, x, y, z))
        z = thing.base + over + thing.rise(u, v)
    return thing.local(*_at_height(eye, x, y, z))


def _seen(
    thing: Thing, eye: Array, x: Picture, y: Picture, scene: Scene
) -> tuple[tuple[Picture, Picture], tuple[Picture, Picture], Picture | float]:
    """Where the upper face is seen in its own frame; each pixel's share of that face and of the whole thing; and how
    much more light the face's slope gives it."""
    px = np.float32(
        np.hypot(np.hypot(x[0, 1] - x[0, 0], y[0, 1] - y[0, 0]), np.hypot(x[1, 0] - x[0, 0], y[1, 0] - y[0, 0]))
        / np.sqrt(2)
    )
    upper = _on(thing, eye, x, y, thing.thickness)
    top = thing.shape(*upper)
    whole = top
    for share in np.linspace(0.0, 1.0, 4 if thing.thickness < THIN_MM else 11)[:-1]:
        whole = np.minimum(whole, thing.shape(*_on(thing, eye, x, y, share * thing.thickness)))
    slope: Picture | float = 1.0
    if not thing.level:
        w, h = thing.size
        a = np.clip(upper[0] / (w / 2), -1, 1)
        du = (-4 * abs(thing.arch) * a * (1 if thing.arch > 0 else -1) + thing.lean) / w
        c, s = np.cos(np.radians(thing.turn)), np.sin(np.radians(thing.turn))
        dv = thing.lean_up / h
        lamp = np.array(scene.lamp) / scene.lamp[2]
        slope = np.asarray(1 - scene.key * ((c * du - s * dv) * lamp[0] + (s * du + c * dv) * lamp[1]), np.float32)
    return upper, (np.clip(0.5 - top / px, 0, 1), np.clip(0.5 - whole / px, 0, 1)), slope


def _box(scene: Scene, thing: Thing) -> tuple[slice, slice] | None:
    """The part of the photo that a thing is in."""
    from calib.view.view import project

    r = np.hypot(*thing.size) / 2 + 2
    ring = np.array([[a, b] for a in (-r, r) for b in (-r, r)]) + thing.at
    px = np.concatenate([project(scene.camera, np.c_[ring, np.full(4, z)]) for z in (0.0, thing.top)])
    low = np.maximum(np.floor(px.min(0)).astype(int) - 4, 0)
    high = np.minimum(np.ceil(px.max(0)).astype(int) + 4, scene.size_px)
    return (slice(low[1], high[1]), slice(low[0], high[0])) if (high - low > 8).all() else None


def _light_samples(scene: Scene, fine: bool) -> list[tuple[Array, float, bool]]:
    """Points of the lamp and directions of the sky with their shares: (place or direction, weight, whether a place)."""
    lamp = np.array(scene.lamp)
    to = lamp / np.linalg.norm(lamp)
    side = np.cross(to, [0, 0, 1.0])
    side /= max(np.linalg.norm(side), 1e-9)
    up = np.cross(side, to)
    out: list[tuple[Array, float, bool]] = []
    lamps, skies = LAMP_SAMPLES[fine], SKY_SAMPLES[fine]
    for k in range(lamps):  # a sunflower's seeds fill a disc evenly
        r, a = np.sqrt((k + 0.5) / lamps) / 2, 2.399963 * k
        at = lamp + scene.lamp_size * r * (np.cos(a) * side + np.sin(a) * up)
        out.append((at, scene.key / lamps, True))
    for k in range(skies):  # evenly on the disc below: by Lambert's cosine
        r, a = np.sqrt((k + 0.5) / skies), 2.399963 * k + 1
        d = np.array([r * np.cos(a), r * np.sin(a), np.sqrt(1 - r**2)])
        out.append((d / d[2], scene.sky / skies, False))
    return out


def _open(scene: Scene, x: Picture, y: Picture) -> Picture:
    """Light where nothing stands in the way: nearer to the lamp there is more."""
    lamp = np.array(scene.lamp)
    far = ((x - lamp[0]) ** 2 + (y - lamp[1]) ** 2 + lamp[2] ** 2) / (lamp @ lamp)
    return np.asarray(scene.sky + scene.key * far**-1.5, np.float32)


def _lit(
    scene: Scene,
    things: tuple[Thing, ...],
    z: float,
    x: Picture,
    y: Picture,
) -> Picture:
    """Light at points of a level face below things."""
    out = _open(scene, x, y)
    for thing in things:
        if thing.top <= z:
            continue
        thin = thing.thickness < THIN_MM and thing.top - z < 2 * THIN_MM
        cell = np.float32(max(SHADOW_MM, SHADOW_SHARE * (thing.top - z)))
        r = np.hypot(*thing.size) / 2 + 3.5 * (thing.top - z) + 6.0
        n = int(2 * r / cell)
        g = np.arange(n, dtype=np.float32) * cell - np.float32(r)
        gx, gy = np.meshgrid(g + np.float32(thing.at[0]), g + np.float32(thing.at[1]))
        taken = np.zeros((n, n), np.float32)
        for place, weight, near in _light_samples(scene, not thin):
            hidden = np.zeros((n, n), np.float32)
            # things that stand up are swept from their lower to their upper face
            for share in (0.05, 1.0) if thing.thickness < THIN_MM else (0.02, 0.25, 0.5, 0.75, 1.0):
                hidden = np.maximum(hidden, _hides(thing, place, near, z, share, gx, gy, cell))
            taken += np.float32(weight) * hidden
        u, v = (x - gx[0, 0]) / cell, (y - gy[0, 0]) / cell
        taken = cv2.GaussianBlur(taken, (0, 0), 0.7)
        out -= cv2.remap(taken, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=0)
    return np.maximum(out, 0.02)


def _hides(
    thing: Thing, place: Array, near: bool, z: float, share: float, x: Picture, y: Picture, cell_mm: np.float32
) -> Picture:
    """How much a thing's outline at one level hides a light from points of a level face."""
    height: Picture | float = thing.base + share * thing.thickness - z
    for _ in range(1 if thing.level else 3):
        if near:
            t = np.asarray(height / (place[2] - z), np.float32)
            px, py = x + (np.float32(place[0]) - x) * t, y + (np.float32(place[1]) - y) * t
        else:
            px, py = x + np.asarray(height * place[0], np.float32), y + np.asarray(height * place[1], np.float32)
        u, v = thing.local(px, py)
        if not thing.level:
            height = thing.base + share * thing.thickness + thing.rise(u, v) - z
    return np.clip(0.5 - thing.shape(u, v) / cell_mm, 0, 1) * (np.asarray(height) > 0)


def _wall_light(scene: Scene, thing: Thing, x: Picture, y: Picture) -> Picture:
    """Light on upright walls, by the way they face."""
    e = np.float32(0.3)
    d = [thing.shape(*thing.local(x + a, y + b)) for a, b in ((e, 0), (-e, 0), (0, e), (0, -e))]
    nx, ny = d[0] - d[1], d[2] - d[3]
    long = np.maximum(np.hypot(nx, ny), 1e-6)
    lamp = np.array(scene.lamp)
    facing = (nx * lamp[0] + ny * lamp[1]) / long / lamp[2]
    return np.asarray(0.5 * scene.sky + scene.key * np.clip(facing, 0, 1.2), np.float32)


def _mirrored(scene: Scene, eye: Array, x: Picture, y: Picture, z: float) -> Picture:
    """The lamp in a glossy level face: a soft bright patch about where it would be mirrored."""
    lamp = np.array(scene.lamp)
    share = (eye[2] - z) / (eye[2] + lamp[2] - 2 * z)
    at = eye[:2] + share * (lamp[:2] - eye[:2])
    wide = share * scene.lamp_size / 2 + 12
    return np.asarray(np.exp(-0.5 * (((x - at[0]) ** 2 + (y - at[1]) ** 2) / wide**2)), np.float32)


def _developed(scene: Scene, light: Picture, rng: np.random.Generator) -> NDArray[np.uint8]:
    light = cv2.GaussianBlur(light, (0, 0), scene.blur)
    u, v = (np.arange(n, dtype=np.float32) - n / 2 for n in scene.size_px)
    light *= (1 - 0.12 * (u**2 + v[:, None] ** 2) / (scene.wide / 2) ** 2)[..., None].astype(np.float32)
    light *= 0.6 / max(float(np.percentile(light[::7, ::7], 97)), 1e-3)
    grain = np.sqrt(scene.grain**2 * np.clip(light, 0, 1) + (scene.grain / 4) ** 2)
    light = np.clip(light + grain * rng.standard_normal(light.shape, np.float32), 0, 1)
    coded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    if scene.sharpen:
        coded = coded + scene.sharpen * (coded - cv2.GaussianBlur(coded, (0, 0), 1.3))
    bgr = (np.clip(coded, 0, 1)[..., ::-1] * 255 + 0.5).astype(np.uint8)
    ok, jpeg = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, scene.quality])
    assert ok
    return np.asarray(cv2.imdecode(jpeg, cv2.IMREAD_COLOR)[..., ::-1], np.uint8).copy()
