"""The labelled picture: the part with its outline and the names of its features, and the whole scene small below it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from measure.drawing.framing import Frame, framed
from measure.drawing.labels import Wish, anchor, leader_end, place_beside
from measure.geometry.features import Kind
from measure.geometry.polylines import evenly

if TYPE_CHECKING:
    from PIL import Image, ImageFont

Colour = tuple[int, int, int]

LONG_SIDE_PX, STRIP_PX = 1600, 330
LARGEST_SCALE = 3.0
LABEL_PX, SMALLEST_LABEL_PX = 40, 26
MARGIN = 0.16
COLOURS: dict[Kind, Colour] = {  # Okabe and Ito (2008), told apart by colour-blind people too
    "line": (255, 176, 32),
    "arc": (86, 190, 245),
    "circle": (240, 228, 66),
    "curve": (255, 140, 200),
}
NAMES: dict[Kind, str] = {"line": "straight edge", "arc": "arc", "circle": "full circle", "curve": "free curve"}
CASING: Colour = (16, 16, 20)
PAPER: Colour = (235, 235, 235)


@dataclass(frozen=True, slots=True)
class SeenFeature:
    """A feature as it is seen in the photo.

    Attributes:
        label: its name, such as E1; empty for a line without a name.
        kind: of the feature.
        loop: 0 for the outer boundary.
        points_px: (n, 2) along it in the sense of travel, pixels of the whole photo.
        origin: completed features are dashed, and so is the break between two pieces.
    """

    label: str
    kind: Kind
    loop: int
    points_px: Array
    origin: Literal["seen", "completed"] = "seen"


def picture(
    rgb: NDArray[np.uint8],
    outlines_px: Sequence[Array],
    faces_px: Sequence[Array],
    drawn: Sequence[SeenFeature],
    notes: Sequence[str] = (),
) -> bytes:
    """The labelled picture as a PNG file.

    Args:
        rgb: (h, w, 3) the photo.
        outlines_px: closed outlines (n, 2) of the references in the photo.
        faces_px: outlines (n, 2) of the faces that are made unrecognisable, such as a card's.
        drawn: the features.
        notes: a few short lines for the strip below, such as the scale.
    """
    import cv2

    main = _labelled(rgb, outlines_px, faces_px, drawn)
    strip = _strip(rgb, outlines_px, faces_px, drawn, notes, main.shape[1])
    sheet = np.concatenate([main, strip])
    ok, png = cv2.imencode(".png", sheet[..., ::-1], [cv2.IMWRITE_PNG_STRATEGY, cv2.IMWRITE_PNG_STRATEGY_RLE])
    assert ok
    return bytes(png)


# ------------------------------------------------------------------------------------------------------------- outlines
def _polyline(image: NDArray[np.uint8], points: Array, colour: Colour, width: int, closed: bool = False) -> None:
    import cv2

    cv2.polylines(image, [np.round(points * 16).astype(np.int32)], closed, colour, width, cv2.LINE_AA, 4)


def _dot(image: NDArray[np.uint8], at: Array, radius: float, colour: Colour) -> None:
    import cv2

    x, y = (int(v) for v in np.round(at * 16))
    cv2.circle(image, (x, y), int(radius * 16), colour, -1, cv2.LINE_AA, 4)


def _draw_references(frame: Frame, outlines_px: Sequence[Array]) -> None:
    for outline in outlines_px:
        _polyline(frame.pixels, frame.at(outline), CASING, 4, closed=True)
        _polyline(frame.pixels, frame.at(outline), PAPER, 2, closed=True)


def _draw_outlines(image: NDArray[np.uint8], drawn: Sequence[SeenFeature], lines: Sequence[Array]) -> None:
    """Outline of the part: a bright line in a dark casing shows on any ground."""
    for points in lines:
        _polyline(image, points, CASING, 6)
    for d, points in zip(drawn, lines, strict=True):
        for piece in _dashes(points) if d.origin == "completed" else [points]:
            _polyline(image, piece, COLOURS[d.kind], 3)
    for d, points in zip(drawn, lines, strict=True):
        if d.kind != "circle":
            _dot(image, points[0], 4, CASING)
            _dot(image, points[0], 2.5, (255, 255, 255))


def _dashes(points: Array) -> list[Array]:
    even = evenly(points, 2.0)
    return [even[i : i + 6] for i in range(0, len(even), 10)]


# --------------------------------------------------------------------------------------------------------------- labels
def _labelled(
    rgb: NDArray[np.uint8], outlines_px: Sequence[Array], faces_px: Sequence[Array], drawn: Sequence[SeenFeature]
) -> NDArray[np.uint8]:
    """The part, large, with outline and labels."""
    from PIL import Image, ImageDraw

    box = (LONG_SIDE_PX, LONG_SIDE_PX)
    frame = framed(rgb, np.concatenate([d.points_px for d in drawn]), MARGIN, box, LARGEST_SCALE, faces_px)
    image, lines = frame.pixels, [frame.at(d.points_px) for d in drawn]
    _draw_references(frame, outlines_px)
    _draw_outlines(image, drawn, lines)
    h, w = image.shape[:2]
    named = [(d, points) for d, points in zip(drawn, lines, strict=True) if d.label]
    size = round(float(np.clip(LABEL_PX * (36 / max(len(named), 1)) ** 0.5, SMALLEST_LABEL_PX, LABEL_PX)))
    font = _font(size)
    wishes = [Wish(*anchor(d.kind, d.loop, p), (_width(d.label, font) + 0.4 * size, 1.1 * size)) for d, p in named]
    places = place_beside(wishes, lines, [frame.at(face) for face in faces_px], (w, h))
    for wish, at in zip(wishes, places, strict=True):
        tip = leader_end(wish.anchor_px, at, wish.size_px)
        if np.hypot(*(tip - wish.anchor_px)) > 0.4 * size:
            _polyline(image, np.array([wish.anchor_px, tip]), CASING, 4)
            _polyline(image, np.array([wish.anchor_px, tip]), PAPER, 2)
    sheet = Image.fromarray(image)
    pen = ImageDraw.Draw(sheet)
    for (d, _), at in zip(named, places, strict=True):
        pen.text(tuple(at), d.label, COLOURS[d.kind], font, "mm", stroke_width=size // 9, stroke_fill=CASING)
    return np.asarray(sheet)


def _font(size: int) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    from PIL import ImageFont

    return ImageFont.load_default(size)


def _width(text: str, font: ImageFont.FreeTypeFont | ImageFont.ImageFont) -> float:
    box = font.getbbox(text)
    return float(box[2] - box[0])


# ---------------------------------------------------------------------------------------------------------------- strip
def _strip(
    rgb: NDArray[np.uint8],
    outlines_px: Sequence[Array],
    faces_px: Sequence[Array],
    drawn: Sequence[SeenFeature],
    notes: Sequence[str],
    width: int,
) -> NDArray[np.uint8]:
    """The whole scene small, so that anyone sees which reference and which part were meant, with the key beside it."""
    from PIL import Image

    everything = np.concatenate([*outlines_px, *(d.points_px for d in drawn)])
    frame = framed(rgb, everything, 0.05, (width // 2, STRIP_PX), 1.0, faces_px)
    _draw_references(frame, outlines_px)
    for d in drawn:
        _polyline(frame.pixels, frame.at(d.points_px), CASING, 4)
        _polyline(frame.pixels, frame.at(d.points_px), COLOURS["line"], 2)
    h, w = frame.pixels.shape[:2]
    strip = Image.new("RGB", (width, max(h, STRIP_PX)), CASING)
    strip.paste(Image.fromarray(frame.pixels), (0, 0))
    _write_key(strip, w + 30, drawn, notes)
    return np.asarray(strip)


def _write_key(strip: Image.Image, x: int, drawn: Sequence[SeenFeature], notes: Sequence[str]) -> None:
    """What the letters mean, then the notes; smaller where the strip is narrow."""
    from PIL import ImageDraw

    pen = ImageDraw.Draw(strip)
    keys: list[tuple[str, Colour]] = []
    for kind, name in NAMES.items():
        letters = sorted({d.label.rstrip("0123456789") for d in drawn if d.label and d.kind == kind})
        if letters:
            keys.append((f"{'/'.join(letters)} {name}", COLOURS[kind]))
    rows = [*keys, *((note, PAPER) for note in notes)]
    longest = max((_width(text, _font(32)) for text, _ in rows), default=1)
    size = int(min(32, 32 * (strip.width - x - 20) / longest, strip.height / (1.35 * len(rows) + 0.6)))
    for i, (text, colour) in enumerate(rows):
        pen.text((x, (0.95 + 1.35 * i) * size), text, colour, _font(max(size, 10)), "lm")
