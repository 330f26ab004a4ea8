"""A population that nobody chose: `random_scene(seed)` is a part or an opening, a table, a light and a phone by chance.

Levels say what the taker was told. `guide` follows the advice: plain ground of good contrast, even light, tilt to
12°. `ordinary` is careless with one thing or another: a busy ground, a hard lamp, a hand's shadow, tilt to 20°. `rough`
is with several: poor contrast, evening light, reflections, noise, blur, a strong JPEG, tilt to 27°.
"""

from __future__ import annotations

import math

import numpy as np

from tests.accuracy.lab import outlines
from tests.accuracy.lab.faces import CARD_COLOURS, CARD_MEANS, Colour
from tests.accuracy.lab.grounds import BUSY, COLOURS, PLAIN, luminance
from tests.accuracy.lab.lights import GUIDED, HARD, LIGHTS
from tests.accuracy.lab.meshes import Rim
from tests.accuracy.lab.scene import Phone, Raised, Scene, beside, id1

LEVELS = {"guide": 0.5, "ordinary": 0.35, "rough": 0.15}
"""How often each is drawn."""
FILL = (0.55, 0.75)
TILT_DEG = {"guide": 12.0, "ordinary": 20.0, "rough": 27.0}
OPENINGS, RIMS, CHAMFERED, PRINTED = 0.15, 0.4, 0.3, 0.2
"""Shares: of openings; of rims that are not sharp, and of chamfers among those; of printed parts."""
SHADED = {"guide": 0.0, "ordinary": 0.25, "rough": 0.4}
RAISED = {"guide": 0.0, "ordinary": 0.12, "rough": 0.12}
GLARING, DUSTY = 0.3, 0.5
"""Shares at level rough."""


def random_scene(
    seed: int, *, width_px: int = 4032, fill: tuple[float, float] = FILL, rims: float = RIMS, openings: float = OPENINGS
) -> Scene:
    """The scene of a seed.

    Args:
        width_px: of the photo.
        fill: least and largest share of the frame's width (or height) that part and card take.
        rims: share of parts whose upper rim is rounded or chamfered, as moulded and printed ones are.
        openings: share of openings.
    """
    rng = np.random.default_rng([72_001, seed])
    level = str(rng.choice(list(LEVELS), p=list(LEVELS.values())))
    rough, guide = level == "rough", level == "guide"
    table = str(rng.choice(PLAIN if guide else [*PLAIN, *BUSY, *BUSY]))
    light = str(rng.choice(GUIDED if guide else list(LIGHTS)))
    of_ground = luminance(COLOURS[table])
    opening = bool(rng.random() < openings)
    body, loops = outlines.opening(rng) if opening else outlines.part(rng)
    tele = rng.random() < 0.3
    fov = float(rng.uniform(36, 42) if tele else rng.uniform(62, 72))
    place, card, look, height = beside(
        loops[0],
        id1(_card(rng, of_ground, 1.25 if rough else 1.7), rng),
        turn=float(rng.uniform(0, 360)),
        side=float(rng.uniform(0, 360)),
        card_turn=float(rng.uniform(-15, 15)),
        gap=float(rng.uniform(9, 25)),
        fill=float(rng.uniform(*fill)),
        fov_deg=fov,
    )
    thick = float(np.round(np.exp(rng.uniform(math.log(1.6), math.log(9 if guide else 15))), 1))
    poor = rough and rng.random() < 0.6
    shade = str(rng.choice(["hand", "phone"])) if rng.random() < SHADED[level] else ""
    if shade == "hand":
        light = str(rng.choice(HARD))
    raised = outlines.figure(loops, rng) if not opening and rng.random() < RAISED[level] else None
    return Scene(
        name=f"c{seed:04d}",
        level=level,
        body=body,
        subject="opening" if opening else "part",
        loops=loops,
        thickness_mm=min(thick, 6.0) if opening else thick,
        place=place,
        cards=(card,),
        table=table,
        light=light,
        colour=_floor(rng, of_ground) if opening else _colour(rng, of_ground, poor),
        look=look,
        height_mm=height,
        seed=seed,
        gloss=float(rng.uniform(0.06, 0.12) if rough and rng.random() < GLARING else rng.uniform(0.12, 0.4)),
        rim=_rim(rng) if rng.random() < rims else Rim(),
        printed=bool(not opening and rng.random() < PRINTED),
        dust=bool(rough and rng.random() < DUSTY),
        raised=Raised(raised, float(np.round(rng.uniform(0.3, 0.8), 1))) if raised else None,
        shade=shade,
        glare=bool(rough and rng.random() < GLARING),
        depth_mm=float(rng.uniform(8, 30)),
        phone=_phone(rng, level, fov, width_px),
    )


def _phone(rng: np.random.Generator, level: str, fov: float, width_px: int) -> Phone:
    rough = level == "rough"
    return Phone(
        fov_deg=fov,
        tilt_deg=float(rng.uniform(0, TILT_DEG[level])),
        azimuth_deg=float(rng.uniform(0, 360)),
        k1=float(rng.normal(0, 0.012)),
        off_px=tuple((rng.normal(0, 8, 2) * width_px / 4032).tolist()),
        blur_px=float(rng.uniform(0.65, 1.4 if rough else 1.0)),
        noise=float(rng.uniform(0.003, 0.014 if rough else 0.007)),
        sharpen=float(rng.choice([0, 0, 0.4, 0.8])),
        quality=int(rng.integers(82, 96)),
        exif=str(rng.choice(["full", "full", "full", "bare", "none"])),
        orientation=int(rng.choice([1, 1, 6, 3, 8])),
        f35_slip=float(rng.choice([0, 0, 0, 0.6, -0.6])),
        width_px=width_px,
    )


def _rim(rng: np.random.Generator) -> Rim:
    """Moulded and printed parts have 0.1 to 0.4 mm: common practice, no source."""
    form = "chamfer" if rng.random() < CHAMFERED else "round"
    return Rim(form, float(np.round(rng.uniform(0.1, 0.4), 2)))


def _card(rng: np.random.Generator, of_ground: float, apart: float) -> str | Colour:
    """A card that is brighter or darker than the ground by a factor."""
    styles = [*CARD_MEANS, *CARD_COLOURS]
    bright = [CARD_MEANS[s] if isinstance(s, str) else luminance(s) for s in styles]
    fit = [s for s, b in zip(styles, bright, strict=True) if max(b / of_ground, of_ground / b) > apart]
    return fit[int(rng.integers(len(fit)))]


def _colour(rng: np.random.Generator, of_ground: float, poor: bool) -> Colour:
    """A part's colour that stands out from the ground, or hardly does."""
    for _ in range(500):
        base = rng.choice([0.02, 0.05, 0.12, 0.25, 0.45, 0.65])
        c = np.clip(base * np.exp(rng.normal(0, 0.45, 3)), 0.012, 0.8)
        ratio = luminance(tuple(c)) / of_ground
        apart = max(ratio, 1 / ratio)
        if (1.35 < apart < 1.8) if poor else apart > 2.4:
            return float(c[0]), float(c[1]), float(c[2])
    return (0.02, 0.02, 0.022) if of_ground > 0.15 else (0.7, 0.7, 0.68)


def _floor(rng: np.random.Generator, of_ground: float) -> Colour:
    """What is seen through an opening: dark, or under a dark panel sometimes pale."""
    if of_ground < 0.08:
        return (0.55, 0.54, 0.5)
    c = rng.uniform(0.01, 0.05) * np.exp(rng.normal(0, 0.2, 3))
    return float(c[0]), float(c[1]), float(c[2])
