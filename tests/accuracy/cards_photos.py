"""Photos with a good reference card, and photos without one that might be taken for it. All invented.

A decoy's `codes` are the refusals that would be true of it. What one photo can't tell is not here: something that is
flat, level, thin and straight, with a bank-size card's ratio of sides and with corners as round, is one for the camera,
whatever its size.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from tests.accuracy.small_photos import Scene, Shape, Thing, disc, joined, moved, rounded, without
from tests.accuracy.surfaces import WHITE

LIGHTS: dict[str, dict[str, object]] = {
    "window": {"lamp": (-420.0, 260.0, 420.0), "lamp_size": 420.0, "key": 0.65, "sky": 0.35},
    "lamp": {"lamp": (260.0, 330.0, 520.0), "lamp_size": 90.0, "key": 0.75, "sky": 0.25, "tint": (1.0, 0.88, 0.7)},
    "overcast": {"lamp": (0.0, 300.0, 900.0), "lamp_size": 700.0, "key": 0.35, "sky": 0.65},
    "evening": {"lamp": (-300.0, -90.0, 330.0), "lamp_size": 60.0, "key": 0.85, "sky": 0.15, "tint": (1.0, 0.82, 0.58)},
    "side": {"lamp": (-600.0, 120.0, 260.0), "lamp_size": 90.0, "key": 0.7, "sky": 0.3},
}
W, H, R = 85.6, 53.98, 3.18
NOT_A_CARD = ("no-card", "look-alike", "wrong-shape", "square-corners", "corners")
LIFTED = ("card-raised", "part-touches-card")


@dataclass(frozen=True)
class Decoy:
    """A photo that must not yield a drawing, and which refusals would be true of it."""

    scene: Scene
    codes: tuple[str, ...]


def plate(w: float = 44, h: float = 26) -> Shape:
    """A plate with two holes."""
    return without(rounded(w, h, 2.5), disc(2.2, -w / 2 + 8), disc(2.2, w / 2 - 8))


def bracket() -> Shape:
    """An angle with a hole in each leg."""
    legs = joined(moved(rounded(46, 14, 2), 0, -13), moved(rounded(14, 40, 2), -16, 0))
    return without(legs, disc(2, 15, -13), disc(2, -16, 13))


def washer() -> Shape:
    """A ring."""
    return without(disc(17), disc(7))


def card(w: float = W, h: float = H, r: float = R, thickness: float = 0.76, **more: object) -> Thing:
    """A card-like thing to the left of the middle."""
    return Thing(rounded(w, h, r), (w, h), thickness=thickness, **{"at": (-44.0, 3.0), "turn": 8.0, **more})  # type: ignore[arg-type]


def part(shape: Shape | None = None, **more: object) -> Thing:
    """A part to the right of the middle."""
    values = {"at": (46.0, -4.0), "turn": 20.0, "thickness": 4.0, "face": (0.05, 0.05, 0.3), **more}
    return Thing(shape or plate(), (46, 40), **values)  # type: ignore[arg-type]


def scene(name: str, *things: Thing, light: str = "window", **more: object) -> Scene:
    """A scene whose last thing is the part."""
    return Scene(name, things, things[-1].at, things[-1].thickness, **{**LIGHTS[light], **more})  # type: ignore[arg-type]


def decoys() -> Iterator[Decoy]:
    """All photos that must be refused."""
    yield from _other_things()
    yield from _cards_not_flat()
    yield from _cards_not_whole()
    yield from _pictures_of_cards()
    yield from _no_cards()


def _other_things() -> Iterator[Decoy]:
    def decoy(name: str, *codes: str, thing: Thing, seed: int, **more: object) -> Decoy:
        return Decoy(scene(name, thing, part(), seed=seed, **more), codes or NOT_A_CARD)

    paper = {"thickness": 0.3, "face": "text"}
    yield decoy("business card 85 x 55, square", thing=card(85, 55, 0.05, **paper), seed=1)
    yield decoy(
        "business card 85 x 55, round", thing=card(85, 55, 3.2, 0.5, face="halves"), seed=2, ground="grey", light="lamp"
    )
    yield decoy(
        "business card 85 x 55, round, thick",
        thing=card(85, 55, 3.0, face=WHITE, turn=70),
        seed=3,
        ground="dark wood",
        light="evening",
        tilt=14.0,
    )
    yield decoy("business card 88.9 x 50.8", thing=card(88.9, 50.8, 0.05, **paper), seed=4, ground="cloth")
    yield decoy("business card 91 x 55", thing=card(91, 55, 0.05, 0.3, face="rim"), seed=5, ground="laminate")
    yield decoy(
        "business card 90 x 54, round", thing=card(90, 54, 3.5, 0.4, face="waves"), seed=6, ground="mat", light="lamp"
    )
    yield decoy(
        "business card 85 x 55, no EXIF, from the side",
        thing=card(85, 55, 0.05, face="rim"),
        seed=7,
        ground="cloth",
        tilt=25.0,
        azimuth=215.0,
        exif=False,
    )
    yield decoy("playing card 88.9 x 63.5", thing=card(88.9, 63.5, 3.2, 0.3, face="pips"), seed=8, ground="mat")
    yield decoy(
        "playing card 88.9 x 57.2",
        thing=card(88.9, 57.15, 3.2, 0.3, face="pips", turn=100),
        seed=9,
        ground="cloth",
        light="lamp",
    )
    yield decoy("small playing card 63 x 44", thing=card(63, 44, 2.5, 0.3, face="pips"), seed=10, ground="wood")
    yield decoy(
        "large playing card 120 x 70",
        thing=card(120, 70, 4.0, 0.35, face="picture", at=(-58.0, 3.0)),
        seed=11,
        ground="dark wood",
        height=209.0,
    )
    yield decoy(
        "phone",
        thing=card(150, 72, 9.0, 8.0, face=(0.012, 0.012, 0.014), at=(-62.0, 3.0), turn=85, sheen=0.25),
        seed=12,
        height=216.0,
    )
    yield decoy(
        "gift tag with a hole",
        thing=Thing(
            without(rounded(86, 54, 0.5), disc(2.5, -37)),
            (86, 54),
            (-44.0, 3.0),
            8.0,
            thickness=0.4,
            face=(0.45, 0.3, 0.17),
        ),
        seed=13,
        ground="paper",
    )
    yield decoy(
        "gift tag, round corners and a hole",
        thing=Thing(
            without(rounded(90, 50, 5), disc(2.5, -38)), (90, 50), (-44.0, 3.0), -20.0, thickness=0.4, face="text"
        ),
        seed=14,
        ground="cloth",
    )
    yield decoy("key tag 54 x 28", thing=card(54, 28, 3.2, face="waves"), seed=15, ground="laminate")
    yield decoy("mini card 66 x 42", thing=card(66, 42, 3.18, face="dark"), seed=16, ground="wood")
    yield decoy("mini card 66 x 41.6", thing=card(66, 41.62, 3.18, face="halves"), seed=17, ground="mat", height=158.0)
    yield decoy(
        "mini card half size", thing=card(W / 2, H / 2, 3.0, face="stripe"), seed=18, ground="grey", height=130.0
    )
    yield decoy(
        "large card x 1.3",
        thing=card(1.3 * W, 1.3 * H, R, face="dark", at=(-56.0, 3.0)),
        seed=19,
        ground="laminate",
        light="lamp",
        height=202.0,
    )
    yield decoy(
        "large card x 1.6",
        thing=card(1.6 * W, 1.6 * H, R, face="waves", at=(-66.0, 3.0)),
        seed=20,
        ground="paper",
        height=230.0,
    )
    yield decoy(
        "CR-79 card 83.9 x 51", thing=card(83.9, 51.0, R, face="waves"), seed=21, ground="wood", light="overcast"
    )
    yield decoy(
        "CR-100 card 98.5 x 67",
        thing=card(98.5, 67.0, R, face="halves", at=(-50.0, 3.0)),
        seed=22,
        ground="grey",
        light="lamp",
    )
    yield decoy(
        "identity card 105 x 74", thing=card(105, 74, R, face="dark", at=(-54.0, 3.0), turn=140), seed=23, ground="wood"
    )
    yield decoy(
        "passport page 125 x 88",
        thing=card(125, 88, R, 1.5, face=(0.25, 0.03, 0.04), at=(-62.0, 3.0)),
        seed=24,
        ground="laminate",
        height=230.0,
    )
    yield decoy(
        "sheet 105 x 74",
        thing=card(105, 74, 0.05, 0.1, face=WHITE, at=(-54.0, 3.0)),
        seed=25,
        ground="dark wood",
        light="lamp",
    )
    yield decoy("sticky note 76 x 51", thing=card(76, 51, 0.05, 0.15, face=(0.8, 0.65, 0.1)), seed=26, ground="grey")
    yield decoy("paper of a card's size", thing=card(W, H, 0.05, 0.15, face="text", turn=-30), seed=27, ground="paper")
    yield decoy(
        "magnet of a card's size, corners 6 mm", thing=card(W, H, 6.0, 1.0, face="picture"), seed=28, ground="laminate"
    )
    yield decoy(
        "flat drive of a card's size, corners 1 mm", thing=card(W, H, 1.0, 2.0, face="dark"), seed=29, ground="wood"
    )
    yield decoy("card 1.4 mm short", thing=card(W, 52.6, R, face="halves", turn=20), seed=30, ground="grey")
    yield decoy("soap box 90 x 60", thing=card(90, 60, 4.0, 22.0, face="picture"), seed=31, ground="cloth")


def _cards_not_flat() -> Iterator[Decoy]:
    def decoy(name: str, *codes: str, things: tuple[Thing, ...], seed: int, **more: object) -> Decoy:
        return Decoy(scene(name, *things, part(), seed=seed, **more), codes)

    def on(thing: Thing, **more: object) -> tuple[Thing, ...]:
        return thing, card(base=thing.thickness, at=thing.at, **more)

    yield decoy("bent 2 mm", "bent", things=(card(face="dark", arch=2.0),), seed=41, tilt=12.0, azimuth=175.0)
    yield decoy(
        "bent 1.2 mm",
        "bent",
        things=(card(face="waves", arch=1.2, turn=10),),
        seed=42,
        ground="paper",
        light="lamp",
        height=144.0,
    )
    yield decoy(
        "bent 4 mm", "bent", things=(card(face="halves", arch=4.0),), seed=43, ground="grey", tilt=8.0, azimuth=75.0
    )
    yield decoy("ends up 3 mm", "bent", things=(card(face="stripe", arch=-3.0),), seed=44, ground="mat", light="lamp")
    yield decoy(
        "bent 8 mm", "bent", *NOT_A_CARD, things=(card(face="picture", arch=8.0, turn=95),), seed=45, ground="laminate"
    )
    book = Thing(rounded(130, 92, 1), (130, 92), (-52.0, 3.0), 5.0, thickness=20.0, face=(0.25, 0.05, 0.04))
    yield decoy("card on a book 20 mm", *LIFTED, things=on(book, face="halves"), seed=46, tilt=7.0)
    yield decoy(
        "card on a book 8 mm, straight above",
        *LIFTED,
        things=on(replace(book, thickness=8.0, face=(0.6, 0.55, 0.4)), face="dark"),
        seed=47,
        ground="cloth",
        tilt=1.0,
        light="overcast",
    )
    yield decoy(
        "card on a notebook 12 mm",
        *LIFTED,
        things=on(
            Thing(rounded(105, 74, 3), (105, 74), (-46.0, 3.0), 12.0, thickness=12.0, face=(0.02, 0.02, 0.02)),
            face=WHITE,
        ),
        seed=48,
        ground="laminate",
        light="lamp",
        tilt=9.0,
        azimuth=220.0,
    )
    yield decoy(
        "box of a card's size, 10 mm, white",
        *LIFTED,
        things=(card(thickness=10.0, face=WHITE),),
        seed=49,
        ground="wood",
    )
    yield decoy(
        "box of a card's size, 10 mm, dark",
        *LIFTED,
        things=(card(thickness=10.0, face="dark", turn=95),),
        seed=50,
        ground="grey",
        light="lamp",
        tilt=12.0,
        azimuth=0.0,
    )
    yield decoy(
        "box of a card's size, 6 mm",
        *LIFTED,
        things=(card(thickness=6.0, face="waves"),),
        seed=51,
        ground="paper",
        light="evening",
    )
    box = Thing(rounded(60, 40, 1), (60, 40), (-44.0, 3.0), 8.0, thickness=15.0, face=(0.1, 0.1, 0.1))
    yield decoy(
        "card on a small box 15 mm", *LIFTED, things=on(box, face="halves"), seed=52, ground="laminate", light="lamp"
    )
    yield decoy(
        "card on a small box 8 mm",
        *LIFTED,
        things=on(replace(box, thickness=8.0), face="waves"),
        seed=53,
        ground="wood",
        light="window",
        tilt=10.0,
    )
    pencil = Thing(rounded(8, 90, 3), (8, 90), (-10.0, 8.0), 8.0, thickness=7.0, face=(0.6, 0.4, 0.05))
    yield decoy(
        "card with one end on a pencil",
        *LIFTED,
        "bent",
        "unclear",
        things=(pencil, card(face="halves", lean=8.0)),
        seed=54,
        ground="grey",
    )
    yield decoy(
        "card leaning 12 mm",
        *LIFTED,
        things=(card(face="stripe", lean_up=12.0),),
        seed=55,
        ground="paper",
        light="lamp",
    )


def _cards_not_whole() -> Iterator[Decoy]:
    yield Decoy(
        scene(
            "cut off at the left",
            card(face="waves", at=(-118.0, 3.0)),
            part(at=(0.0, 0.0)),
            seed=61,
            ground="laminate",
            height=158.0,
        ),
        ("cut-off", "no-card"),
    )
    yield Decoy(
        scene(
            "cut off at a corner",
            card(face="halves", at=(-92.0, 78.0), turn=35),
            part(at=(0.0, 0.0)),
            seed=62,
            height=158.0,
        ),
        ("cut-off", "no-card"),
    )
    over = part(bracket(), at=(-2.0, -14.0), base=0.76)
    yield Decoy(
        scene("card under a corner of the part", card(face="dark"), over, seed=63),
        ("no-card", "unclear", "part-touches-card", "wrong-shape"),
    )
    cloth = Thing(rounded(60, 120, 8), (60, 120), (-74.0, 3.0), 14.0, thickness=3.0, face=(0.5, 0.35, 0.3))
    yield Decoy(
        scene("half under a cloth", card(face="waves"), cloth, part(), seed=64, ground="wood"), (*NOT_A_CARD, "unclear")
    )
    two = card(face="waves", at=(-30.0, 40.0)), card(face="dark", at=(-50.0, -30.0), turn=-25)
    yield Decoy(scene("two cards", *two, part(at=(52.0, 0.0)), seed=65, ground="paper", light="lamp"), ("two-cards",))
    yield Decoy(
        scene("two white cards", *(replace(t, face=WHITE) for t in two), part(at=(52.0, 0.0)), seed=66, ground="cloth"),
        ("two-cards",),
    )
    yield Decoy(
        scene(
            "from 55 degrees",
            card(face="waves"),
            part(),
            seed=67,
            ground="grey",
            tilt=55.0,
            azimuth=270.0,
            height=122.0,
        ),
        ("too-oblique",),
    )
    yield Decoy(scene("far away", card(face="waves"), part(), seed=68, height=1100.0), ("too-small",))


def _pictures_of_cards() -> Iterator[Decoy]:
    line = without(rounded(80, 80 / W * H, R * 80 / W), rounded(79, 80 / W * H - 1, R * 80 / W - 0.5))
    sheet = Thing(rounded(120, 90, 0.05), (120, 90), (-48.0, 3.0), 6.0, thickness=0.1, face=WHITE)
    drawn = Thing(line, (80, 60), sheet.at, 8.0, base=0.1, thickness=0.0, face=(0.04, 0.04, 0.04))
    codes = (*NOT_A_CARD, "unclear", "card-drawn", *LIFTED)
    yield Decoy(scene("card's outline printed on a slip, too small", sheet, drawn, part(), seed=71), codes)
    yield Decoy(
        scene(
            "card's outline printed on the part's sheet, too small",
            drawn,
            part(),
            seed=72,
            ground="paper",
            light="lamp",
        ),
        codes,
    )
    phone = Thing(rounded(150, 72, 9), (150, 72), (-66.0, 3.0), 5.0, thickness=8.0, face=(0.012, 0.012, 0.014))
    glass = Thing(rounded(140, 64, 6), (140, 64), phone.at, 5.0, base=8.0, thickness=0.0, face="picture")
    shown = Thing(
        rounded(70, 70 / W * H, R * 70 / W), (70, 70 / W * H), phone.at, 5.0, base=8.0, thickness=0.0, face="waves"
    )
    yield Decoy(
        scene("photo of a card on a phone", phone, glass, shown, part(at=(52.0, -4.0)), seed=73, height=223.0), codes
    )
    yield Decoy(
        scene(
            "photo of a card on a phone, standing",
            *(replace(t, turn=95.0, at=(-50.0, 3.0)) for t in (phone, replace(glass, face=(0.7, 0.7, 0.7)), shown)),
            part(),
            seed=74,
            ground="laminate",
            height=223.0,
        ),
        codes,
    )


def _no_cards() -> Iterator[Decoy]:
    codes = NOT_A_CARD
    for k, ground in enumerate(("wood", "mat", "squared", "towel", "paper")):
        yield Decoy(
            scene(
                f"part alone on {ground}",
                part(face=(0.5, 0.1, 0.1), at=(0.0, 0.0)),
                seed=81 + k,
                ground=ground,
                tilt=8.0,
            ),
            codes,
        )
    strip = Thing(rounded(150, 30, 0.3), (150, 30), (-40.0, 40.0), 5.0, thickness=2.0, face=(0.75, 0.6, 0.2))
    pen = Thing(rounded(140, 9, 4), (140, 9), (-30.0, -40.0), -15.0, thickness=9.0, face=(0.03, 0.05, 0.3))
    yield Decoy(scene("ruler and pen", strip, pen, part(at=(60.0, 0.0)), seed=87, ground="laminate"), codes)


def goods() -> Iterator[Scene]:
    """All photos that should yield a drawing."""
    rng = np.random.default_rng(2024)
    prints = [
        "waves",
        "halves",
        "dark",
        "checks",
        "stripe",
        WHITE,
        (0.5, 0.05, 0.05),
        (0.2, 0.2, 0.21),
        "picture",
        "frame",
        "rim",
    ]
    tables = ["wood", "dark wood", "paper", "grey", "mat", "cloth", "laminate", "black", "towel", "squared"]
    shapes = [plate(), bracket(), washer(), plate(36, 30)]
    for k in range(26):
        ground = tables[k % len(tables)]
        dark = ground in ("dark wood", "mat", "cloth", "black", "grey")
        colour = (0.6, 0.55, 0.45) if dark else ((0.05, 0.05, 0.3), (0.45, 0.05, 0.04), (0.04, 0.04, 0.04))[k % 3]
        this = real_card(rng, face=prints[k % len(prints)], turn=float(rng.uniform(0, 360)))
        yield scene(
            f"good {k:02d} on {ground}",
            this,
            part(shapes[k % 4], turn=float(rng.uniform(0, 360)), face=colour, thickness=float(rng.uniform(2, 6))),
            light=list(LIGHTS)[k % len(LIGHTS)],
            seed=200 + k,
            ground=ground,
            grain_deg=float(rng.uniform(0, 180)),
            tilt=float(rng.uniform(1, 22)),
            azimuth=float(rng.uniform(0, 360)),
            roll=float(rng.uniform(-20, 20)),
            height=float(rng.uniform(160, 215)),
            radial=float(rng.uniform(-0.02, 0.025)),
            exif=k % 5 != 4,
            grain=float(rng.uniform(0.004, 0.012)),
            blur=float(rng.uniform(0.6, 1.1)),
            sharpen=0.5 if k % 4 == 3 else 0.0,
        )
    ink = (0.04, 0.04, 0.04)
    for k, light in enumerate(("window", "lamp", "side", "overcast")):
        yield scene(
            f"white card on white paper, {light}",
            real_card(rng, face=WHITE, turn=12.0 + 40 * k),
            part(face=ink),
            light=light,
            seed=241 + k,
            ground="paper",
            tilt=5.0 + 2 * k,
        )
    yield scene(
        "black card on black",
        real_card(rng, face="dark", turn=-12.0),
        part(face=(0.5, 0.5, 0.5)),
        seed=245,
        ground="black",
        tilt=7.0,
    )
    business = Thing(rounded(85, 55, 0.05), (85, 55), (-38.0, -48.0), -10.0, thickness=0.3, face="text")
    yield scene(
        "from 30 degrees", real_card(rng, face="dark"), part(), seed=247, tilt=30.0, azimuth=250.0, height=144.0
    )
    yield scene(
        "from 38 degrees",
        real_card(rng, face="waves"),
        part(),
        seed=248,
        ground="grey",
        tilt=38.0,
        azimuth=200.0,
        height=137.0,
    )
    yield scene("near", real_card(rng, face="checks"), part(at=(36.0, -4.0)), seed=249, ground="grey", height=140.0)
    yield scene("far", real_card(rng, face="stripe"), part(), seed=250, ground="mat", height=274.0)
    sheet = Thing(rounded(297, 210, 0.1), (297, 210), (0.0, 0.0), 4.0, thickness=0.1, face=WHITE)
    yield scene(
        "both on a sheet",
        sheet,
        real_card(rng, face="halves", base=0.1),
        part(base=0.1),
        seed=251,
        ground="dark wood",
        height=194.0,
    )
    yield scene(
        "both on a small sheet",
        replace(sheet, size=(210, 148), shape=rounded(210, 148, 0.1)),
        real_card(rng, face=WHITE, base=0.1),
        part(base=0.1),
        seed=252,
        ground="dark wood",
        height=194.0,
    )
    yield scene(
        "both on a board 18 mm",
        Thing(rounded(220, 160, 8), (220, 160), (0.0, 0.0), -5.0, thickness=18.0, face=(0.6, 0.45, 0.28)),
        real_card(rng, face="waves", base=18.0),
        part(base=18.0),
        seed=253,
        ground="black",
        height=209.0,
    )
    yield scene("bent 0.2 mm", real_card(rng, face="waves", arch=0.2), part(), seed=254, ground="laminate")
    yield scene(
        "business card far beside",
        replace(business, at=(-60.0, -62.0)),
        real_card(rng, face="waves", at=(-40.0, 22.0)),
        part(at=(50.0, 10.0)),
        seed=246,
        ground="cloth",
        height=202.0,
    )


def real_card(rng: np.random.Generator, **more: object) -> Thing:
    """A bank-size card as they come off the line: inside the standard's limits."""
    w = float(np.clip(rng.normal(85.60, 0.04), 85.48, 85.71))
    h = float(np.clip(rng.normal(53.98, 0.02), 53.93, 54.02))
    return card(w, h, float(rng.uniform(3.0, 3.4)), float(rng.uniform(0.72, 0.8)), **more)
