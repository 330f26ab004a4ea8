"""The outline as DXF, on a layer of its own, in millimetres and in the features' own frame."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

from measure.geometry.features import Feature
from measure.geometry.outline_path import loops

VERSION = "R2010"
MILLIMETRES = 4
LAYERS = {
    "OUTLINE": (7, 50),
    "COMPLETED": (8, 25),
    "FRACTURE": (8, 25),
    "CENTRE": (7, 25),
    "THIN": (7, 70),
    "DIMENSIONS": (7, 25),
    "LABELS": (8, 18),
    "NOTES": (7, 25),
    "TITLE": (7, 25),
}
"""Colour number and line width (hundredths of a millimetre) of each layer."""


def outline_dxf(features: Sequence[Feature]) -> bytes:
    """The outline alone, mm: see `add_outline`."""
    doc = new_document(("OUTLINE",))
    add_outline(doc.modelspace(), features)
    return as_bytes(doc)


def new_document(layers: Sequence[str]) -> Any:
    """An empty drawing in millimetres, with some of LAYERS."""
    import ezdxf

    doc = ezdxf.new(VERSION, units=MILLIMETRES)
    doc.header["$INSUNITS"] = MILLIMETRES
    doc.header["$MEASUREMENT"] = 1
    for name in layers:
        colour, width = LAYERS[name]
        doc.layers.add(name, color=colour, lineweight=width)
    return doc


def as_bytes(doc: Any) -> bytes:
    """The file of a drawing."""
    out = io.StringIO()
    doc.write(out)
    return out.getvalue().encode(doc.output_encoding)


def add_outline(space: Any, features: Sequence[Feature]) -> None:
    """Lay the outline on its layer: a closed LWPOLYLINE with bulges a loop, or a CIRCLE for a round hole."""
    for loop in loops(features):
        if isinstance(loop, Feature):
            space.add_circle(loop.centre, loop.radius, dxfattribs={"layer": "OUTLINE"})
        else:
            space.add_lwpolyline(loop, format="xyb", close=True, dxfattribs={"layer": "OUTLINE"})
