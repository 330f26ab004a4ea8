"""A printer's own figures: from a simulated test piece, through the file, into what is drawn."""

import io
import json
import shutil
from pathlib import Path

import numpy as np
import pytest
import trimesh

from calib.errors import ReadingsRefused, WrongUsage
from calib.tools.printer import Printer, read_printer
from measure.cli.app import app
from measure.cli.run import run
from measure.geometry.dimensions import distance
from measure.printing import coupon
from measure.steps.gauge import gauge, whole
from measure.steps.printer import make_coupon, measure_printer, printer_of
from tests.accuracy.fits import printed_mm, printers_inside

SAMPLES = Path(__file__).resolve().parent.parent / "samples"
TRUE = np.array([0.06, 0.11, 0.002, 0.003])


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("JAWLINE_PRINTERS", str(tmp_path / "printers"))


def words(figures, change=None):
    change = change or {}
    return [f"{s.number}={printed_mm(s, figures) + change.get(s.number, 0):.2f}" for s in coupon.SIZES]


def test_sizes_are_those_of_the_outline():
    of = {f.label: f for f in coupon.features()}
    for s in coupon.SIZES:
        a, b = (of[x] for x in s.features)
        assert distance(a, b).value_mm == pytest.approx(s.nominal_mm)
        level = abs(a.start[1] - a.end[1]) < 1e-9
        assert s.axis == (1 if level else 0)


def test_figures_lie_within_their_u95_in_92_of_100_cases():
    inside = printers_inside()
    assert (inside.mean(0) >= 0.92).all()
    assert inside.mean() <= 0.99


def test_a_misread_size_is_refused_by_its_number():
    with pytest.raises(ReadingsRefused, match="Reading 5"):
        measure_printer("bench", words(TRUE, {5: 0.5}))
    with pytest.raises(WrongUsage, match="no figures"):
        printer_of("bench")


def test_kept_and_found_again():
    measure_printer("bench", words(TRUE))
    found = printer_of("bench")
    assert found.figures() == pytest.approx(TRUE, abs=0.02)
    assert found.covariance.shape == (4, 4)


def test_drawn_so_that_the_print_comes_out_right(tmp_path):
    job = Path(shutil.copytree(SAMPLES / "drawer-stop", tmp_path / "stop"))

    def size(name):
        mesh = trimesh.load(io.BytesIO((job / name).read_bytes()), file_type="3mf", force="mesh")
        return np.ptp(mesh.vertices, axis=0)

    gauge(job)
    wanted = size("gauge.3mf")
    measure_printer("bench", words(TRUE))
    own = printer_of("bench")
    gauge(job, printer="bench")
    drawn = size("gauge.3mf")
    for axis in (0, 1):
        assert drawn[axis] * (1 - own.shrinkage[axis]) + 2 * own.outside_mm == pytest.approx(wanted[axis], abs=0.002)
    whole(job, printer="bench")
    assert size("solid.3mf")[:2] == pytest.approx(drawn[:2], abs=0.002)


def test_test_piece_and_its_sheet(tmp_path):
    done = make_coupon("bench", tmp_path / "piece")
    assert {p.name for p in done.files} == {"coupon.3mf", "coupon.stl", "coupon.pdf"}
    mesh = trimesh.load(io.BytesIO((tmp_path / "piece" / "coupon.3mf").read_bytes()), file_type="3mf", force="mesh")
    assert mesh.is_watertight
    assert np.ptp(mesh.vertices, axis=0) == pytest.approx([50, 40, 3])


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (["1=50.1", "2=14.1"], "too few"),
        (["9=50.1"], "1 to 8"),
        (["1=fifty"], "never so far off"),
        (["1=5.01"], "never so far off"),
        (["width E1 E2 3"], "1 to 8"),
    ],
)
def test_readings_that_make_no_sense(given, said):
    with pytest.raises(ReadingsRefused, match=said):
        measure_printer("bench", given)


def test_damaged_file_and_bad_name(tmp_path):
    path = tmp_path / "p.json"
    for text in ("{", "[]", '{"name": "x"}', Printer("x", 9.0, 0.0, (0.0, 0.0), np.eye(4)).text()):
        path.write_text(text)
        with pytest.raises(WrongUsage):
            read_printer(path)
    with pytest.raises(WrongUsage, match="letters"):
        printer_of("../etc")


def test_command_line(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert run(app, ["printer", "bench", "--coupon"]) == 0
    assert (tmp_path / "bench-coupon" / "coupon.pdf").is_file()
    assert run(app, ["printer", "bench", *words(TRUE), "--json"]) == 0
    assert json.loads(capsys.readouterr().out.splitlines()[-1])["printer"] == "bench"
    assert run(app, ["printer", "bench"]) == 2
    assert run(app, ["printer", "bench", "1=3"]) == 1
