"""The page's pictures, drawn from lines and plain shapes: 120 × 90 units each, x right, y up."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

WIDTH, HEIGHT = 120, 90
INK, SOFT = "#22303c", "#8a97a3"
TABLE, PAPER, DARK_PAPER = "#e9dfcd", "#ffffff", "#36454f"
PART, PART_EDGE, PALE, PALE_EDGE = "#2f6f8f", "#1d4a61", "#f2ead6", "#b9ab8a"
CARD, CARD_EDGE, STRIPE = "#f6c667", "#b98a2c", "#6b5a35"
GOOD, BAD = "#1b8a5a", "#c8402f"
GLASS = "#cfe6f2"
FONT = "VeraBd"
"""Of the one label."""


def picture(name: str) -> Any:
    """One of the page's pictures, as a `reportlab.graphics.shapes.Drawing`."""
    from reportlab.graphics.shapes import Drawing

    with_font(FONT)
    drawing = Drawing(WIDTH, HEIGHT)
    for shape in PICTURES[name]():
        drawing.add(shape)
    return drawing


def with_font(name: str) -> None:
    """Make a font of reportlab's own known to it."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    if name not in pdfmetrics.getRegisteredFontNames():
        pdfmetrics.registerFont(TTFont(name, f"{name}.ttf"))


# --------------------------------------------------------------------------------------------------------- plain shapes
def _colour(code: str | None) -> Any:
    from reportlab.lib.colors import HexColor

    return None if code is None else HexColor(code)


def _box(x: float, y: float, w: float, h: float, fill: str, edge: str | None = None, round_by: float = 0.0) -> Any:
    from reportlab.graphics.shapes import Rect

    width = 0.9 if edge else 0
    return Rect(
        x, y, w, h, rx=round_by, ry=round_by, fillColor=_colour(fill), strokeColor=_colour(edge), strokeWidth=width
    )


def _disc(x: float, y: float, r: float, fill: str | None, edge: str | None = None, width: float = 0.9) -> Any:
    from reportlab.graphics.shapes import Circle

    return Circle(x, y, r, fillColor=_colour(fill), strokeColor=_colour(edge), strokeWidth=width if edge else 0)


def _line(
    points: list[tuple[float, float]], colour: str = INK, width: float = 1.4, dashes: list[float] | None = None
) -> Any:
    from reportlab.graphics.shapes import PolyLine

    flat = [v for p in points for v in p]
    return PolyLine(
        flat,
        strokeColor=_colour(colour),
        strokeWidth=width,
        strokeDashArray=dashes,
        strokeLineCap=1,
        strokeLineJoin=1,
        fillColor=None,
    )


def _area(points: list[tuple[float, float]], fill: str, edge: str | None = None) -> Any:
    from reportlab.graphics.shapes import Polygon

    flat = [v for p in points for v in p]
    return Polygon(
        flat,
        fillColor=_colour(fill),
        strokeColor=_colour(edge),
        strokeWidth=1.0 if edge else 0,
        strokeLineJoin=1,
    )


def _turned(points: list[tuple[float, float]], x: float, y: float, degrees: float) -> list[tuple[float, float]]:
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return [(x + c * a - s * b, y + s * a + c * b) for a, b in points]


def _arrow(tail: tuple[float, float], tip: tuple[float, float], colour: str = INK, width: float = 1.6) -> list[Any]:
    a = math.degrees(math.atan2(tip[1] - tail[1], tip[0] - tail[0]))
    head = _turned([(0, 0), (-5.5, 2.8), (-5.5, -2.8)], *tip, a)
    short = _turned([(-3.5, 0)], *tip, a)[0]
    return [_line([tail, short], colour, width), _area(head, colour)]


def _tick(x: float, y: float) -> list[Any]:
    return [_disc(x, y, 6.5, GOOD), _line([(x - 3, y), (x - 0.8, y - 2.6), (x + 3.2, y + 2.6)], PAPER, 1.8)]


def _cross(x: float, y: float) -> list[Any]:
    d = 2.4
    return [
        _disc(x, y, 6.5, BAD),
        _line([(x - d, y - d), (x + d, y + d)], PAPER, 1.8),
        _line([(x - d, y + d), (x + d, y - d)], PAPER, 1.8),
    ]


# ----------------------------------------------------------------------------------------------------------- the things
def _card(x: float, y: float, scale: float = 1.0, number: bool = False) -> list[Any]:
    """A card 43 × 27 from its lower left corner: its back with a stripe, or its front with a number."""
    s = scale
    out = [_box(x, y, 43 * s, 27 * s, CARD, CARD_EDGE, 2 * s)]
    if not number:
        return [*out, _box(x + 0.5, y + 18 * s, 43 * s - 1, 5 * s, STRIPE)]
    out.append(_box(x + 5 * s, y + 15 * s, 6.5 * s, 5 * s, PALE, CARD_EDGE, 0.8 * s))
    for group in range(4):
        for k in range(4):
            out.append(_box(x + (4.5 + 9 * group + 1.9 * k) * s, y + 8 * s, 1.2 * s, 3 * s, STRIPE))
    return out


L_SHAPE = [(0.0, 0.0), (30.0, 0.0), (30.0, 11.0), (11.0, 11.0), (11.0, 34.0), (0.0, 34.0)]


def _part(
    x: float, y: float, fill: str, edge: str, ground: str, scale: float = 1.0, mirrored: bool = False
) -> list[Any]:
    """An angle with a hole in either arm."""

    def at(p: tuple[float, float]) -> tuple[float, float]:
        return (x + scale * (30 - p[0] if mirrored else p[0]), y + scale * p[1])

    holes = [_disc(*at(c), 2.6 * scale, ground, edge) for c in ((5.5, 27.5), (23.5, 5.5))]
    return [_area([at(p) for p in L_SHAPE], fill, edge), *holes]


def _phone(x: float, y: float, degrees: float = 0.0) -> list[Any]:
    """A phone from its long side, its camera looking down; x, y is the camera."""
    body = _turned([(-8, 0.8), (24, 0.8), (24, 4.2), (-8, 4.2)], x, y, degrees)
    eye = _turned([(-2.4, 0.8), (2.4, 0.8), (2.4, -1), (-2.4, -1)], x, y, degrees)
    return [_area(body, INK, INK), _area(eye, INK, INK)]


def _table(y: float, left: float = 4, right: float = 116) -> list[Any]:
    """A table from the side."""
    return [_box(left, y - 4, right - left, 4, TABLE, SOFT)]


def _on_table(x: float, y: float) -> list[Any]:
    """Part and card from the side."""
    return [_box(x - 17, y, 15, 3.4, PART, PART_EDGE), _box(x + 2, y, 17, 1.3, CARD, CARD_EDGE)]


# --------------------------------------------------------------------------------------------------------- the pictures
def _beside() -> list[Any]:
    return [
        _box(3, 3, 114, 84, TABLE, None, 4),
        _box(11, 11, 98, 68, PAPER, SOFT, 0),
        *_part(19, 28, PART, PART_EDGE, PAPER),
        *_card(59, 30),
        _line([(50.5, 22), (50.5, 17)], SOFT, 1.0),
        _line([(57.5, 22), (57.5, 17)], SOFT, 1.0),
        *_arrow((43, 19.5), (50.5, 19.5), INK, 1.2),
        *_arrow((65, 19.5), (57.5, 19.5), INK, 1.2),
    ]


def _blank() -> list[Any]:
    bend = [(60 + 27 * math.cos(math.radians(a)), 58 + 17 * math.sin(math.radians(a))) for a in range(150, 40, -5)]
    return [
        *_card(5, 24, 1.14, number=True),
        *_card(66, 24, 1.14),
        _line(bend, INK, 1.6),
        *_arrow(bend[-2], (83.5, 66.5), INK, 1.6),
        *_cross(29.5, 14),
        *_tick(90.5, 14),
    ]


def _ground() -> list[Any]:
    return [
        _box(4, 18, 53, 68, PAPER, SOFT),
        *_part(15, 36, PART, PART_EDGE, PAPER),
        _box(63, 18, 53, 68, DARK_PAPER, DARK_PAPER),
        *_part(74, 36, PALE, PALE_EDGE, DARK_PAPER),
        *_tick(30.5, 9),
        *_tick(89.5, 9),
    ]


def _above() -> list[Any]:
    return [
        *_table(12),
        *_on_table(38, 12),
        *_phone(38, 70),
        _line([(38, 67), (38, 15)], GOOD, 1.2, [3, 2.4]),
        *_tick(18, 74),
        *_phone(93, 55, 40),
        _line([(91.5, 52.5), (45, 17)], BAD, 1.2, [3, 2.4]),
        *_cross(108, 38),
    ]


def _back() -> list[Any]:
    return [
        *_table(12),
        *_on_table(28, 12),
        _area([(28, 36), (4, 12), (52, 12)], "#f6d9d4"),
        *_on_table(28, 12),
        *_phone(28, 38),
        *_cross(28, 54),
        _area([(86, 70), (63, 12), (109, 12)], "#d5ebe0"),
        *_on_table(86, 12),
        *_phone(86, 72),
        *_tick(66, 74),
        *_two_times(103, 52),
    ]


def _two_times(x: float, y: float) -> list[Any]:
    """The zoom at two times, as cameras show it."""
    from reportlab.graphics.shapes import String

    words = String(x, y - 3, "2×", fontName=FONT, fontSize=8.5, textAnchor="middle", fillColor=_colour(INK))
    return [_disc(x, y, 8.5, PAPER, INK, 1.2), words]


def _light() -> list[Any]:
    rays = [((43, 70 - 14 * k), (58, 60 - 13 * k)) for k in range(3)]
    return [
        _box(6, 26, 34, 56, GLASS, INK, 1),
        _line([(23, 26), (23, 82)], INK, 1.2),
        _line([(6, 54), (40, 54)], INK, 1.2),
        *[part for a, b in rays for part in _arrow(a, b, "#d9a21b", 1.4)],
        *_table(14, 46, 116),
        *_on_table(80, 14),
        *_tick(23, 14),
        _area([(97, 84), (86, 63), (94, 63), (89, 47), (106, 69), (97, 69), (104, 84)], "#f2c230", "#b98a2c"),
        *_cross(110, 52),
    ]


def _other() -> list[Any]:
    bend = [(60 + 25 * math.cos(math.radians(a)), 60 + 18 * math.sin(math.radians(a))) for a in range(155, 35, -5)]
    ups = [part for x in (10, 110) for part in _arrow((x, 22), (x, 46), GOOD, 1.8)]
    return [
        *_part(18, 16, PART, PART_EDGE, PAPER, 1.15),
        *_part(67.5, 16, "#7fb2c9", PART_EDGE, PAPER, 1.15, mirrored=True),
        *ups,
        _line([(60, 10), (60, 62)], SOFT, 1.0, [3, 2.4]),
        _line(bend, INK, 1.6),
        *_arrow(bend[-2], (81.5, 67.5), INK, 1.6),
    ]


def _send() -> list[Any]:
    return [
        _box(6, 22, 72, 56, PAPER, INK, 2),
        *_part(17, 32, PART, PART_EDGE, PAPER),
        *_card(52, 36, 0.5),
        *_tick(42, 11),
        _box(90, 40, 22, 17, PAPER, INK, 1),
        *_part(93.5, 43, PART, PART_EDGE, PAPER, 0.3),
        *_card(103.5, 44.5, 0.16),
        *_cross(101, 29),
    ]


PICTURES: dict[str, Callable[[], list[Any]]] = {
    "beside": _beside,
    "blank": _blank,
    "ground": _ground,
    "above": _above,
    "back": _back,
    "light": _light,
    "other": _other,
    "send": _send,
}
"""By the names that the words have for them."""
