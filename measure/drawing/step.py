"""The whole part as STEP (ISO 10303-21), for further work in a CAD program: true lines and arcs, no mark.

Needs a CAD kernel, which is an extra: ``pip install 'jawline[step]'``.
"""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from importlib.util import find_spec
from itertools import pairwise
from pathlib import Path
from typing import Any

from calib.written import printable
from measure.geometry.features import Feature, by_loop, flatten

KERNEL = "OCP"


def has_kernel() -> bool:
    """Whether a CAD kernel is installed; nothing is loaded."""
    return find_spec(KERNEL) is not None


def write_step(features: Sequence[Feature], thickness_mm: float, name: str) -> bytes:
    """A STEP file, unit millimetre: one solid, the photographed face upward, its foot at z = 0.

    Args:
        features: all loops; a free curve becomes straight pieces.
        thickness_mm: height of the solid.
        name: of the product.

    Raises:
        ValueError: the kernel can't make a sound solid of the outline.
        ImportError: there is no kernel (`has_kernel`).
    """
    from OCP.BRepCheck import BRepCheck_Analyzer
    from OCP.BRepPrimAPI import BRepPrimAPI_MakePrism
    from OCP.gp import gp_Vec
    from OCP.Interface import Interface_Static
    from OCP.Message import Message, Message_PrinterOStream
    from OCP.STEPControl import STEPControl_StepModelType, STEPControl_Writer

    solid = BRepPrimAPI_MakePrism(_face(features), gp_Vec(0, 0, thickness_mm)).Shape()
    if not BRepCheck_Analyzer(solid).IsValid():
        raise ValueError("the kernel finds the solid unsound")
    Message.DefaultMessenger_s().RemovePrinters(Message_PrinterOStream.get_type_descriptor_s())  # talks on stdout
    writer = STEPControl_Writer()
    Interface_Static.SetCVal_s("write.step.unit", "MM")
    Interface_Static.SetCVal_s("write.step.product.name", printable(name).encode("ascii", "replace").decode())
    writer.Transfer(solid, STEPControl_StepModelType.STEPControl_AsIs)
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "solid.step"
        if writer.Write(str(path)).value != 1:  # done
            raise ValueError("the kernel can't write the solid")
        return path.read_bytes()


def _face(features: Sequence[Feature]) -> Any:
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeFace
    from OCP.gp import gp_Dir, gp_Pln, gp_Pnt

    loops = by_loop(features)
    plane = gp_Pln(gp_Pnt(0, 0, 0), gp_Dir(0, 0, 1))
    made = BRepBuilderAPI_MakeFace(plane, _wire(loops[0]), True)
    for number, loop in sorted(loops.items()):
        if number:
            made.Add(_wire(loop))
    if not made.IsDone():
        raise ValueError("the kernel can't make a face of the outline")
    return made.Face()


def _wire(loop: Sequence[Feature]) -> Any:
    """A closed loop of edges; each starts where the one before ends."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeWire
    from OCP.gp import gp_Pnt

    made = BRepBuilderAPI_MakeWire()
    corners = [_point(f, flatten(f)[0]) for f in loop]
    for f, here, there in zip(loop, corners, [*corners[1:], corners[0]], strict=True):
        for edge in _edges(f, gp_Pnt(*here), gp_Pnt(*there)):
            made.Add(edge)
    if not made.IsDone():
        raise ValueError(f"the kernel can't close the loop at {loop[0].label}")
    return made.Wire()


def _point(f: Feature, p: Any) -> tuple[float, float, float]:
    return float(p[0]), float(p[1]), 0.0


def _edges(f: Feature, start: Any, end: Any) -> list[Any]:
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge
    from OCP.GC import GC_MakeArcOfCircle
    from OCP.gp import gp_Ax2, gp_Circ, gp_Dir, gp_Pnt

    if f.kind == "line":
        return [BRepBuilderAPI_MakeEdge(start, end).Edge()]
    if f.kind == "circle":
        way = gp_Dir(0, 0, 1.0 if f.loop == 0 else -1.0)
        return [BRepBuilderAPI_MakeEdge(gp_Circ(gp_Ax2(gp_Pnt(*f.centre, 0), way), f.radius)).Edge()]
    p = flatten(f)
    if f.kind == "arc":
        between = gp_Pnt(*_point(f, p[len(p) // 2]))
        return [BRepBuilderAPI_MakeEdge(GC_MakeArcOfCircle(start, between, end).Value()).Edge()]
    inner = [gp_Pnt(*_point(f, q)) for q in p[1:-1]]
    ends = [start, *inner, end]
    return [BRepBuilderAPI_MakeEdge(a, b).Edge() for a, b in pairwise(ends)]
