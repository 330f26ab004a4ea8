"""jawline gauge and jawline solid, from the job to the files."""

import io
import json
import shutil
from pathlib import Path

import numpy as np
import pytest
import trimesh

from calib.errors import PartRefused, WrongUsage
from calib.tools.fits import FITS
from measure.cli.app import app
from measure.cli.run import run
from measure.job import records
from measure.printing.solids import Cut
from measure.steps.gauge import fitted, gauge, whole
from tests.simulated_parts import polygon
from tests.simulated_traces import features_of

SAMPLES = Path(__file__).resolve().parent.parent / "samples"


@pytest.fixture
def job(tmp_path):
    return Path(shutil.copytree(SAMPLES / "drawer-stop", tmp_path / "stop"))


def size(path):
    return np.ptp(trimesh.load(io.BytesIO(path.read_bytes()), file_type="3mf", force="mesh").vertices, axis=0)


def test_sizes_follow_the_fit(job):
    gauge(job)
    plain = size(job / "gauge.3mf")
    gauge(job, fit="sliding")
    assert size(job / "gauge.3mf")[:2] == pytest.approx(plain[:2] - 0.4, abs=0.002)
    record = records.from_text((job / "measured.json").read_text(), "measured.json")
    whole(job)
    assert size(job / "solid.3mf") == pytest.approx([*plain[:2], record.thickness_mm], abs=0.002)


def test_only_one_region(job):
    gauge(job, cut=Cut(around=("E1",), margin_mm=6))
    assert size(job / "gauge.3mf")[1] == pytest.approx(6.0, abs=0.1)


def test_what_does_not_exist_is_wrong_usage(job):
    with pytest.raises(WrongUsage, match="E77"):
        gauge(job, cut=Cut(around=("E77",)))
    with pytest.raises(WrongUsage, match="press, snug, sliding, loose"):
        gauge(job, fit="tight")
    assert not (job / "gauge.3mf").exists()


def test_too_narrow_for_the_fit():
    slit = [(10.3, 9, 0), (10.3, 2, 0), (10, 2, 0), (10, 9, 0)]
    comb = features_of([polygon([(0, 0, 0), (20, 0, 0), (20, 9, 0), *slit, (0, 9, 0)])])
    thin = features_of([polygon([(0, 0, 0), (20, 0, 0), (20, 0.3, 0), (0, 0.3, 0)])])
    assert fitted(comb, FITS["snug"])  # the slot only gets wider
    with pytest.raises(PartRefused, match="narrow"):
        fitted(thin, FITS["sliding"])


def test_a_new_reading_makes_the_gauge_out_of_date(job):
    from measure.steps.read import read
    from measure.steps.reconcile import reconcile

    gauge(job)
    read(job, ["width E1 E4 29.98"])
    reconcile(job)
    assert not (job / "gauge.3mf").exists()


def test_a_part_that_is_nearly_its_mirror_image_gets_a_warning(tmp_path):
    record = records.from_text((SAMPLES / "drawer-stop/measured.json").read_text(), "measured.json")
    askew = {"D1": (0.6, 0.0)}
    features = tuple(
        f.model_copy(update={"centre": tuple(np.add(f.centre, askew[f.label]).tolist())}) if f.label in askew else f
        for f in record.features
    )
    changed = record.model_copy(update={"features": features, "made_from": {}})
    (tmp_path / "measured.json").write_text(records.to_text(changed))
    (caution,) = gauge(tmp_path).cautions
    assert caution.code == "nearly-mirrored"
    assert "Mark the photographed face" in caution.text


def test_command_line(job, capsys):
    assert run(app, ["gauge", str(job), "--as", "snug", "--rim", "5", "--json"]) == 0
    out = json.loads(capsys.readouterr().out)
    assert out["fit"] == "snug"
    assert run(app, ["gauge", str(job), "--around", "e1"]) == 0
    assert run(app, ["solid", str(job)]) == 0
    said = capsys.readouterr()
    assert "upper one" in said.out
    assert "licensed trades" in said.err
    assert "UP is sunk" in said.out
    assert "either face may be up" in said.out
    assert run(app, ["gauge", str(job), "--thick", "90"]) == 2
