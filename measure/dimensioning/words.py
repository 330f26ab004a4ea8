"""What a size runs between, in the words of somebody who reads a drawing."""

from __future__ import annotations

from collections.abc import Sequence

WAYS = {"along": "along", "across": "square to", "run": "along", "rise": "square to"}
"""Which way a size runs beside an edge, or beside the line between two centres."""
MOST_NAMED = 3
"""Of more equal features the first are named: enough to find the others by."""


def in_words(kind: str, labels: Sequence[str]) -> str:
    """What a size is of: ``E1 to E3``, ``corner of E7 and E8 to E2``, ``E1 to the line from R2 to R3``.

    Args:
        kind: see measure.dimensioning.gauging.
        labels: the features that it runs between, in that kind's order.
    """
    x = list(labels)
    if kind in ("distance", "centres", "offset"):
        return f"{x[0]} to {x[1]}"
    if kind == "angle":
        return f"angle, {x[0]} to {x[1]}"
    if kind == "bearing":
        return f"angle, {x[0]} to the line from {x[1]} to {x[2]}"
    if kind == "fan":
        return f"angle, {x[1]} to {x[2]} about {x[0]}"
    if kind in ("along", "across"):
        return f"{x[0]} to {x[1]}, {WAYS[kind]} {x[2]}"
    if kind in ("run", "rise"):
        return f"{x[2]} to {x[3]}, {WAYS[kind]} the line from {x[0]} to {x[1]}"
    if kind == "corner":
        return f"corner of {x[0]} and {x[1]} to {x[2]}"
    if kind == "corners":
        return f"corner of {x[0]} and {x[1]} to that of {x[2]} and {x[3]}"
    if kind == "reach":
        return f"{x[0]} to the far side of {x[1]}"
    if kind == "stretch":
        return f"over {x[0]} and {x[1]}"
    if kind in ("tips", "peaks", "roots"):
        return "root circle" if kind == "roots" else "circle over the teeth"
    if kind == "overall":
        return "overall"
    names = list(dict.fromkeys(x))
    shown = ", ".join(names[:MOST_NAMED]) + (" …" if len(names) > MOST_NAMED else "")
    return f"circle through {shown}" if kind == "pitch" else f"{kind} {shown}".strip()
