"""Flat parts and gauges as solids: the outline given a thickness, with a mark on the face that was photographed.

Solids are made and combined by Manifold, whose results are closed by construction. Millimetres; z = 0 is the face that
lies on the print bed, and the photographed face is the upper one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import manifold3d
import numpy as np
import shapely
from numpy.typing import NDArray

from calib.arrays import Array
from calib.words import Words
from measure.geometry.features import Feature, flatten
from measure.geometry.offsetting import area
from measure.printing.engraving import engraving

CHORD_MM = 0.005
"""How far the chords of an arc may lie off it: a fifth of what a printer resolves."""
MARK_DEPTH_MM = 0.4
"""Depth of the mark: two usual layers."""

LEFT_BELOW = 1.5
"""A mark is sunk only into parts so many times as thick as it is deep."""


@dataclass(frozen=True, slots=True)
class Mesh:
    """A closed surface of triangles.

    Attributes:
        vertices_mm: (n, 3).
        triangles: (m, 3) indices, counter-clockwise as seen from outside.
    """

    vertices_mm: Array
    triangles: NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Cut:
    """What is made of an outline.

    Attributes:
        rim_mm: only so broad a rim along the outer boundary; None for the whole area.
        around: labels of features; only their neighbourhood is made; empty for all.
        margin_mm: how far that neighbourhood reaches.
    """

    rim_mm: float | None = None
    around: tuple[str, ...] = ()
    margin_mm: float = 8.0


@dataclass(frozen=True, slots=True)
class NoSolid:
    """Why there is no solid. It is false, a solid is true."""

    text: str

    def __bool__(self) -> bool:
        return False


@dataclass(frozen=True, slots=True)
class Solid:
    """A solid ready to be written.

    Attributes:
        mesh: its surface.
        volume_mm3: its volume.
        marked: whether there was room for a mark.
        lettered: whether the mark has letters.
    """

    mesh: Mesh
    volume_mm3: float
    marked: bool
    lettered: bool = False


def solid(
    features: Sequence[Feature], thickness_mm: float, cut: Cut | None = None, *, marked: bool = True, number: int = 0
) -> Solid | NoSolid:
    """The outline with a thickness.

    Args:
        features: all loops.
        thickness_mm: of the plate.
        cut: how much of the outline; all of it when None.
        marked: whether arrow and letters are sunk into the photographed face.
        number: beside them, by which gauges of several fits are told apart; 0 for none.
    """
    shape = area(features, CHORD_MM)
    if shape is None:
        return NoSolid(
            Words("The outline crosses itself, so that there is no inside: look at it in the labelled picture.")
        )
    whole = shape if cut is None else _cut_down(shape, features, cut)
    if isinstance(whole, NoSolid):
        return whole
    body = _extruded(whole, thickness_mm)
    mark = engraving(whole, number) if marked and thickness_mm > LEFT_BELOW * MARK_DEPTH_MM else None
    if mark is not None:
        sunk = _extruded(mark.shape, MARK_DEPTH_MM + 1.0).translate([0.0, 0.0, thickness_mm - MARK_DEPTH_MM])
        body = body - sunk
    mesh = body.to_mesh64()
    found = Mesh(np.asarray(mesh.vert_properties, float)[:, :3], np.asarray(mesh.tri_verts, np.int64).reshape(-1, 3))
    return Solid(found, float(body.volume()), mark is not None, mark is not None and mark.lettered)


def stretched(made: Solid, shrinkage: tuple[float, float]) -> Solid:
    """A solid larger by what a printer's plastic will shrink along x and y."""
    x, y = (1 / (1 - s) for s in shrinkage)
    vertices = made.mesh.vertices_mm * np.array([x, y, 1.0])
    return replace(made, mesh=Mesh(vertices, made.mesh.triangles), volume_mm3=made.volume_mm3 * x * y)


def _cut_down(shape: shapely.Polygon, features: Sequence[Feature], cut: Cut) -> shapely.Polygon | NoSolid:
    out: shapely.geometry.base.BaseGeometry = shape
    if cut.rim_mm is not None:
        out = shape.difference(shapely.Polygon(shape.exterior).buffer(-cut.rim_mm))
    if cut.around:
        named = {f.label: f for f in features}
        lines = [shapely.LineString(flatten(named[x], CHORD_MM)) for x in cut.around if x in named]
        out = out.intersection(shapely.unary_union(lines).buffer(cut.margin_mm))
    pieces = [g for g in getattr(out, "geoms", [out]) if isinstance(g, shapely.Polygon) and g.area > 0.5]
    if not pieces:
        return NoSolid(Words("Nothing of the outline lies in the region that was asked for."))
    if cut.around:  # what hangs on the named features; far walls that the margin just touches are left out
        at = shapely.unary_union(lines)
        pieces.sort(key=lambda g: g.distance(at))
    elif len(pieces) > 1:
        return NoSolid(Words("So narrow a rim falls to pieces: make it broader."))
    return pieces[0]


def _extruded(shape: shapely.geometry.base.BaseGeometry, height_mm: float) -> manifold3d.Manifold:
    rings = []
    for p in getattr(shape, "geoms", [shape]):
        p = shapely.geometry.polygon.orient(p)
        rings += [np.array(r.coords)[:-1] for r in (p.exterior, *p.interiors)]
    section = manifold3d.CrossSection(rings, manifold3d.FillRule.EvenOdd)
    return manifold3d.Manifold.extrude(section, height_mm)
