"""What a size runs between, in the words of somebody who reads a drawing."""

from __future__ import annotations

from collections.abc import Sequence

from calib.words import Words

MOST_NAMED = 3
"""Of more equal features the first are named: enough to find the others by."""


_TO, _ALONG, _SQUARE = Words("{a} to {b}"), Words("{a} to {b}, along {c}"), Words("{a} to {b}, square to {c}")
_BETWEEN: dict[str, str] = {
    "distance": _TO,
    "centres": _TO,
    "offset": _TO,
    "angle": Words("angle, {a} to {b}"),
    "bearing": Words("angle, {a} to the line from {b} to {c}"),
    "fan": Words("angle, {b} to {c} about {a}"),
    "along": _ALONG,
    "across": _SQUARE,
    "run": Words("{c} to {d}, along the line from {a} to {b}"),
    "rise": Words("{c} to {d}, square to the line from {a} to {b}"),
    "corner": Words("corner of {a} and {b} to {c}"),
    "corners": Words("corner of {a} and {b} to that of {c} and {d}"),
    "reach": Words("{a} to the far side of {b}"),
    "stretch": Words("over {a} and {b}"),
}
_OF: dict[str, str] = {
    "radius": Words("radius {names}"),
    "diameter": Words("diameter {names}"),
    "pitch": Words("circle through {names}"),
}
_TEETH = Words("circle over the teeth")
_ALONE: dict[str, str] = {
    "tips": _TEETH,
    "peaks": _TEETH,
    "roots": Words("root circle"),
    "overall": Words("overall"),
}


def in_words(kind: str, labels: Sequence[str]) -> str:
    """What a size is of: ``E1 to E3``, ``corner of E7 and E8 to E2``, ``E1 to the line from R2 to R3``.

    Args:
        kind: see measure.dimensioning.gauging.
        labels: the features that it runs between, in that kind's order.
    """
    x = list(labels)
    at = dict(zip("abcd", x, strict=False))
    if kind in _BETWEEN:
        return Words(_BETWEEN[kind], **at)
    if kind in _ALONE:
        return _ALONE[kind]
    names = list(dict.fromkeys(x))
    shown = ", ".join(names[:MOST_NAMED]) + (" …" if len(names) > MOST_NAMED else "")
    if kind in _OF:
        return Words(_OF[kind], names=shown)
    return f"{kind} {shown}".strip()
