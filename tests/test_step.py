"""The STEP file, read back by the kernel: one solid, in millimetres, volume = area × thickness; all others without."""

import math
import shutil
from pathlib import Path

import numpy as np
import pytest

from measure.drawing.step import has_kernel, write_step
from measure.geometry.features import Curve, Line
from measure.geometry.offsetting import area, offset
from measure.steps.gauge import whole
from tests.jobs import plate
from tests.simulated_parts import circle, parts

SAMPLES = Path(__file__).resolve().parent.parent / "samples"
needs_kernel = pytest.mark.skipif(not has_kernel(), reason="no CAD kernel: pip install 'jawline[step]'")


def read_back(content, tmp_path):
    """Volume, and the corners of the box around it."""
    from OCP.Bnd import Bnd_Box
    from OCP.BRepBndLib import BRepBndLib
    from OCP.BRepGProp import BRepGProp
    from OCP.GProp import GProp_GProps
    from OCP.STEPControl import STEPControl_Reader
    from OCP.TopAbs import TopAbs_ShapeEnum

    path = tmp_path / "x.step"
    path.write_bytes(content)
    reader = STEPControl_Reader()
    assert reader.ReadFile(str(path)).value == 1
    reader.TransferRoots()
    shape = reader.OneShape()
    assert shape.ShapeType() == TopAbs_ShapeEnum.TopAbs_SOLID
    properties, box = GProp_GProps(), Bnd_Box()
    BRepGProp.VolumeProperties_s(shape, properties)
    BRepBndLib.AddOptimal_s(shape, box, False, False)
    corners = (box.CornerMin(), box.CornerMax())
    return properties.Mass(), np.array([[p.X(), p.Y(), p.Z()] for p in corners])


@needs_kernel
def test_volume_of_a_plate_by_hand(tmp_path):
    volume, box = read_back(write_step(plate(), 4.2, "plate ü"), tmp_path)
    by_hand = 60 * 30 - math.pi * 3**2 - (15 * 5 + math.pi * 2.5**2)
    assert volume == pytest.approx(by_hand * 4.2, rel=1e-9)
    assert box == pytest.approx(np.array([[0, 0, 0], [60, 30, 4.2]]), abs=1e-5)


@needs_kernel
@pytest.mark.parametrize("part", parts(), ids=lambda p: p.name)
def test_volume_is_area_times_thickness(part, tmp_path):
    moved = offset(part.features, -0.2)
    volume, _ = read_back(write_step(moved, 3.0, part.name), tmp_path)
    assert volume == pytest.approx(3.0 * area(moved, 1e-5).area, rel=1e-5)


@needs_kernel
def test_a_free_curve_and_a_disc(tmp_path):
    wavy = ((0.0, 0.0), (10.0, 1.0), (20.0, 0.0))
    sheet = (
        Curve("C1", 0, points=wavy),
        Line("E1", 0, (20.0, 0.0), (20.0, 10.0)),
        Line("E2", 0, (20.0, 10.0), (0.0, 10.0)),
        Line("E3", 0, (0.0, 10.0), (0.0, 0.0)),
    )
    assert read_back(write_step(sheet, 2.0, "torn"), tmp_path)[0] == pytest.approx((200 - 10) * 2)
    disc = write_step(tuple(_disc()), 2.0, "disc")
    assert read_back(disc, tmp_path)[0] == pytest.approx(2 * math.pi * (10**2 - 4**2), rel=1e-9)


def _disc():
    from tests.simulated_traces import features_of

    return features_of([circle(0, 0, 10), circle(0, 0, 4)])


@needs_kernel
def test_beside_the_other_solids_and_nothing_but_json_on_stdout(tmp_path, capfd):
    job = Path(shutil.copytree(SAMPLES / "drawer-stop", tmp_path / "stop"))
    done = whole(job)
    assert {p.name for p in done.files} == {"solid.3mf", "solid.stl", "solid.step"}
    assert (job / "solid.step").read_bytes().startswith(b"ISO-10303-21;")
    assert capfd.readouterr().out == ""


def test_without_a_kernel_it_says_so(tmp_path, monkeypatch):
    monkeypatch.setattr("measure.steps.gauge.has_kernel", lambda: False)
    job = Path(shutil.copytree(SAMPLES / "drawer-stop", tmp_path / "stop"))
    done = whole(job)
    assert {p.name for p in done.files} == {"solid.3mf", "solid.stl"}
    assert any("pip install 'jawline[step]'" in line for line in done.lines)
