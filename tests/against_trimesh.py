"""Gauges and solids read back by trimesh: closed, wound outward, in millimetres, of the right volume."""

import io
import zipfile

import numpy as np
import pytest
import shapely
import trimesh
from shapely import affinity

from measure.drawing.mesh import write_3mf
from measure.geometry.offsetting import area
from measure.printing.engraving import engraving
from measure.printing.solids import MARK_DEPTH_MM, Cut, NoSolid, Solid, solid
from tests.accuracy.fits import CUTS, is_sound
from tests.simulated_parts import circle, parts, polygon
from tests.simulated_traces import features_of


def read(content, kind):
    return trimesh.load(io.BytesIO(content), file_type=kind, force="mesh")


@pytest.mark.parametrize("cut", CUTS.values(), ids=CUTS)
@pytest.mark.parametrize("part", [p for p in parts() if p.name != "ring"], ids=lambda p: p.name)
def test_closed_and_of_the_right_size(part, cut):
    made = solid(part.features, 0.8, cut, number=3)
    assert isinstance(made, Solid)
    assert is_sound(made)
    mesh = read(write_3mf(made.mesh, part.name), "3mf")
    if cut is None:
        shape = area(part.features)
        assert np.ptp(mesh.vertices[:, :2], axis=0) == pytest.approx(
            np.subtract(shape.bounds[2:], shape.bounds[:2]), abs=0.01
        )
    assert np.ptp(mesh.vertices[:, 2]) == pytest.approx(0.8)


def test_unit_of_3mf_is_the_millimetre():
    made = solid(features_of([circle(0, 0, 9)]), 0.8)
    content = write_3mf(made.mesh, "disc <&>")
    assert read(content, "3mf").units == "millimeter"
    model = zipfile.ZipFile(io.BytesIO(content)).read("3D/3dmodel.model")
    assert b'unit="millimeter"' in model
    assert b'name="disc &lt;&amp;&gt;"' in model


def test_volume_of_a_plate_by_hand():
    plate = features_of([polygon([(0, 0, 0), (30, 0, 0), (30, 20, 0), (0, 20, 0)]), circle(7, 10, 4)])
    made = solid(plate, 5.0, marked=False)
    assert made.volume_mm3 == pytest.approx((30 * 20 - np.pi * 16) * 5.0, rel=2e-4)


def test_the_mark_is_on_the_upper_face_only_and_not_mirrored():
    plate = features_of([polygon([(0, 0, 0), (40, 0, 0), (40, 30, 0), (0, 30, 0)])])
    made = solid(plate, 0.8, number=2)
    z = made.mesh.vertices_mm[:, 2]
    floor = made.mesh.vertices_mm[np.isclose(z, 0.8 - MARK_DEPTH_MM)]
    assert len(floor) > 10
    assert z[(z > 1e-9) & ~np.isclose(z, 0.8)] == pytest.approx(0.8 - MARK_DEPTH_MM)
    mark = measured_from_above(made, 0.8 - MARK_DEPTH_MM)
    wanted = engraving(area(plate), 2).shape
    assert mark.symmetric_difference(wanted).area < 0.001 * wanted.area
    mirrored = affinity.scale(mark, -1, 1, origin=(mark.centroid.x, 0))
    assert mark.symmetric_difference(mirrored).area > 0.4 * mark.area  # mirrored it reads otherwise


def measured_from_above(made, z):
    """The floor of the mark, put together from the triangles that face up."""
    corners = made.mesh.vertices_mm[made.mesh.triangles]
    flat = corners[np.isclose(corners[:, :, 2], z).all(1)][:, :, :2]
    return shapely.unary_union([shapely.Polygon(t).buffer(1e-6) for t in flat])


def test_a_small_part_has_no_mark_and_says_so():
    made = solid(features_of([circle(0, 0, 1.5)]), 0.8)
    assert isinstance(made, Solid)
    assert not made.marked


def test_nothing_there_is_a_reason():
    ring = features_of([circle(0, 0, 10), circle(0, 0, 9.9)])
    assert isinstance(solid(ring, 0.8, Cut(rim_mm=1.0)), Solid)
    crossed = features_of([circle(0, 0, 10), circle(9, 0, 4)])
    assert isinstance(solid(crossed, 0.8), NoSolid)
