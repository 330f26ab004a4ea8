"""The DXF opened by two readers that are not ours: GDAL's (through pyogrio), and ezdxf's audit.

GDAL reads LWPOLYLINE bulges and CIRCLEs into line strings of its own tessellation; the area of each closed loop must be
that of the features, by the shoelace formula on a fine flattening, to 0.1 %.
"""

import io
import math

import ezdxf
import ezdxf.recover
import numpy as np
import pyogrio
import pytest
import shapely

from measure.drawing.dxf import coded, write_dxf
from measure.drawing.outline_dxf import outline_dxf
from measure.geometry.features import by_loop, flatten
from measure.sheet.sheet import Drawing, sketch
from tests.drawn_parts import completed_plate, drawn_parts, estimate_of, sheet_named

PARTS = drawn_parts()
NAMES = sorted(PARTS)


def shoelace(points):
    x, y = points[:, 0], points[:, 1]
    return 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def areas_of(features):
    loops = by_loop(features).values()
    return sorted(abs(shoelace(np.concatenate([flatten(f, 1e-4)[:-1] for f in fs]))) for fs in loops)


def read_by_gdal(data, path):
    path.write_bytes(data)
    meta, _, geometry, fields = pyogrio.raw.read(path)
    layer = fields[list(meta["fields"]).index("Layer")]
    return [(str(name), shapely.from_wkb(g)) for name, g in zip(layer, geometry, strict=True)]


@pytest.fixture(scope="module")
def files():
    return {n: write_dxf(sheet_named(n)) for n in NAMES}


def opened(data):
    return ezdxf.read(io.StringIO(data.decode()))


@pytest.mark.parametrize("name", NAMES)
def test_gdal_sees_closed_loops_of_the_right_area(name, tmp_path):
    found = read_by_gdal(outline_dxf(PARTS[name]), tmp_path / "outline.dxf")
    assert {layer for layer, _ in found} == {"OUTLINE"}
    rings = [g for _, g in found]
    assert all(g.is_closed if g.geom_type == "LineString" else g.geom_type == "Polygon" for g in rings)
    areas = sorted(shapely.Polygon(g).area if g.geom_type == "LineString" else g.area for g in rings)
    assert areas == pytest.approx(areas_of(PARTS[name]), rel=1e-3)


def test_gdal_opens_the_whole_sheet(files, tmp_path):
    for name in ("gusset", "flange", "plate with a slanting slot"):
        found = read_by_gdal(files[name], tmp_path / f"{name}.dxf")
        outline = [g for layer, g in found if layer == "OUTLINE"]
        areas = sorted(shapely.Polygon(g).area if g.geom_type == "LineString" else g.area for g in outline)
        assert areas == pytest.approx(areas_of(PARTS[name]), rel=1e-3)
        assert {"DIMENSIONS", "TITLE", "NOTES"} <= {layer for layer, _ in found}


@pytest.mark.parametrize("name", NAMES)
def test_the_audit_finds_nothing(files, name):
    for data in (files[name], outline_dxf(PARTS[name])):
        auditor = opened(data).audit()
        assert not auditor.errors
        assert not auditor.fixes


def test_units_and_version(files):
    doc = opened(files["gusset"])
    assert doc.header["$INSUNITS"] == 4  # millimetres
    assert doc.header["$MEASUREMENT"] == 1  # metric
    assert doc.dxfversion == "AC1024"  # R2010


@pytest.mark.parametrize("name", NAMES)
def test_the_outline_layer_holds_true_geometry_and_nothing_else(files, name):
    entities = opened(files[name]).modelspace().query('*[layer=="OUTLINE"]')
    loops = by_loop(PARTS[name])
    assert len(entities) == len(loops)
    for e in entities:
        assert e.dxftype() in ("LWPOLYLINE", "CIRCLE")
        assert e.dxftype() == "CIRCLE" or e.closed
    circles = sum(len(fs) == 1 and fs[0].kind == "circle" for fs in loops.values())
    assert len([e for e in entities if e.dxftype() == "CIRCLE"]) == circles


@pytest.mark.parametrize("name", ["gusset", "gusset lying askew", "tiny latch"])
def test_the_outline_keeps_the_features_own_coordinates(files, name):
    poly = opened(files[name]).modelspace().query("LWPOLYLINE[layer=='OUTLINE']")[0]
    starts = [f.start for f in PARTS[name] if f.loop == 0]
    assert np.array(poly.get_points("xy")) == pytest.approx(np.array(starts), abs=1e-9)


@pytest.mark.parametrize("name", NAMES)
def test_dimensions_are_real_and_measure_what_they_say(files, name):
    sheet = sheet_named(name)
    entities = opened(files[name]).modelspace().query("DIMENSION")
    assert len(entities) == len(sheet.drawn)
    for e, d in zip(entities, sheet.drawn, strict=True):
        value = d.wanted.stated.value
        measured = e.get_measurement()
        assert measured == pytest.approx(value, abs=0.005 if not d.wanted.stated.is_angle else 0.05), d.caption
        assert e.dxf.text == coded(d.caption.words)
        assert e.dxf.layer == "DIMENSIONS"
        block = e.get_geometry_block()
        assert block is not None
        kinds = {x.dxftype() for x in block}
        assert {"TEXT", "SOLID"} <= kinds
    forms = {e.dimtype for e in entities}
    assert forms <= {0, 2, 3, 4}


def test_dimension_kinds(files):
    """DXF group 70: 0 rotated, 2 angular, 3 diameter, 4 radius."""
    kinds = [e.dimtype for e in opened(files["gusset"]).modelspace().query("DIMENSION")]
    assert {0, 2, 3, 4} == set(kinds)


def test_the_dimension_style(files):
    style = opened(files["gusset"]).dimstyles.get("SKETCH")
    assert (style.dxf.dimtxt, style.dxf.dimasz, style.dxf.dimexo, style.dxf.dimexe) == (3.5, 3.0, 1.0, 2.0)
    assert style.dxf.dimtad == 1


def test_centre_lines_notes_and_title_lie_on_layers_of_their_own(files):
    layers = {e.dxf.layer for e in opened(files["plate with six holes"]).modelspace()}
    assert layers == {"OUTLINE", "CENTRE", "DIMENSIONS", "LABELS", "NOTES", "TITLE"}


def test_a_completed_part_has_its_whole_outline(tmp_path):
    whole, fracture = completed_plate()
    data = write_dxf(sketch(Drawing("plate", whole, estimate=estimate_of(whole), broken=fracture)))
    assert not opened(data).audit().errors
    found = read_by_gdal(data, tmp_path / "plate.dxf")
    areas = sorted(shapely.Polygon(g).area for layer, g in found if layer == "OUTLINE")
    assert areas == pytest.approx(sorted([1500.0, math.pi * 2.5**2]), rel=1e-3)


def test_it_survives_a_reader_that_mends_files(tmp_path, files):
    path = tmp_path / "sheet.dxf"
    path.write_bytes(files["slotted bar"])
    _, auditor = ezdxf.recover.readfile(path)
    assert not auditor.errors
    assert not auditor.fixes
