"""jawline fit: the drawing with room left, and what its table says."""

import json
import re
import shutil
from pathlib import Path

import ezdxf
import pytest

from calib.errors import PartRefused, WrongUsage
from calib.tools.fits import FITS
from measure.cli.app import app
from measure.cli.run import run
from measure.geometry.offsetting import offset
from measure.sheet.marks import Text
from measure.sheet.sheet import Allowance, Drawing, sketch
from measure.steps.fit import fit, fitted
from tests.simulated_parts import circle, polygon
from tests.simulated_traces import features_of

SAMPLES = Path(__file__).resolve().parent.parent / "samples"


@pytest.fixture
def job(tmp_path):
    return Path(shutil.copytree(SAMPLES / "cable-port", tmp_path / "port"))


def bulk(path):
    doc = ezdxf.readfile(path)
    assert not doc.audit().errors
    points = [p for e in doc.modelspace().query('LWPOLYLINE[layer=="OUTLINE"]') for p in e.get_points("xy")]
    return max(x for x, _ in points) - min(x for x, _ in points), max(y for _, y in points) - min(y for _, y in points)


def test_the_drawn_outline_is_smaller_by_the_room(job):
    before = bulk(job / "sketch.dxf")
    done = fit(job, name="loose")
    assert {p.name for p in done.files} == {"fit.dxf", "fit.svg", "fit.pdf"}
    assert bulk(job / "fit.dxf") == pytest.approx([before[0] - 0.7, before[1] - 0.7], abs=0.002)
    assert "part that goes into the opening" in (job / "fit.svg").read_text()


def test_table_adds_up():
    features = features_of([polygon([(0, 0, 0), (30, 0, 0), (30, 20, 0), (0, 20, 0)]), circle(9, 8, 2.75)])
    moved = offset(features, -0.2)
    sheet = sketch(Drawing("plate", moved, allowance=Allowance(features, "Drawn for a sliding fit.")))
    words = [m for m in sheet.marks if isinstance(m, Text)]

    def row(start):
        first = next(m for m in words if m.content.startswith(start))
        return [m.content for m in sorted(words, key=lambda m: m.at[0]) if m.at[1] == first.at[1]]

    assert row("Size")[:4] == ["Size", "Measured", "Room", "Drawn"]
    assert row("diameter D1")[1:4] == ["5.50", "+0.40", "5.90"]
    assert "-0.20" in row("D1 to E")


def test_a_screw_that_suits_a_hole_is_named_not_put_in(tmp_path):
    latch = Path(shutil.copytree(SAMPLES / "vent-latch", tmp_path / "latch"))
    done = fit(latch, name="snug")
    assert "D1 suits an M5 screw (ISO 273, fine)." in done.lines  # both are 5.4 mm, midway between 5.3 and 5.5
    assert "D2 suits an M5 screw (ISO 273, fine)." in done.lines
    assert not re.search(r">[^<]*\bM5\b", (latch / "fit.svg").read_text())  # in no word; paths have M as well


def test_press_leaves_sizes_alone():
    features = features_of([circle(0, 0, 6)])
    assert fitted(features, FITS["press"]) == features


def test_unknown_fit_and_thin_part(job, capsys):
    with pytest.raises(WrongUsage, match="press, snug, sliding, loose"):
        fit(job, name="H7")
    with pytest.raises(PartRefused, match="tighter"):
        fitted(features_of([polygon([(0, 0, 0), (20, 0, 0), (20, 0.5, 0), (0, 0.5, 0)])]), FITS["loose"])
    assert run(app, ["fit", str(job), "--as", "snug", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["side_mm"] == 0.1
    assert run(app, ["fit", str(job)]) == 2
