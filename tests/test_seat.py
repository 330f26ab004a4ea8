"""The depth of the seat behind an opening, which no photo shows."""

import json
import shutil
from pathlib import Path

import pypdf
import pytest

from calib.tools.jaws import TOOLS
from measure.adjustment.seat import seat
from measure.readings.readings import read_words
from measure.steps.fit import fit
from measure.steps.gauge import whole
from measure.steps.next import next_readings
from measure.steps.read import read
from measure.steps.reconcile import reconcile
from measure.steps.sketch import sketch

SAMPLES = Path(__file__).resolve().parent.parent / "samples"


@pytest.fixture
def port(tmp_path):
    return Path(shutil.copytree(SAMPLES / "cable-port", tmp_path / "port"))


def told(folder):
    return json.loads((folder / "measured.json").read_text())


def test_it_is_asked_for_until_it_is_read(port):
    done = reconcile(port, force=True)
    assert any(c.code == "seat-depth" and "thickness 2.4" in c.text for c in done.cautions)
    assert any("how deep the seat is" in line for line in next_readings(port).lines)
    sketch(port, force=True)
    drawn = (port / "sketch.svg").read_text()
    assert "not measured" in drawn
    assert "undercuts and draft" in drawn.replace("\n", " ")


def test_the_worksheet_asks_for_it_by_a_number(port):
    reconcile(port, force=True)
    done = next_readings(port)
    number = len(done.result["suggestions"]) + 1
    page = pypdf.PdfReader(port / "worksheet.pdf").pages[0].extract_text()
    assert "depth of the seat" in page
    assert "undercuts" in page
    read(port, [f"{number}=2.4"])
    assert (port / "readings.csv").read_text().splitlines()[-1].startswith("thickness,,2.4,mm,")
    reconcile(port)
    assert told(port)["thickness_mm"] == pytest.approx(2.4)
    assert next_readings(port).files == ()  # nothing is left to read


def test_it_does_not_move_the_rim(port):
    reconcile(port, force=True)
    before = told(port)
    read(port, ["thickness 2.4 thickness 2.42 vernier"])
    done = reconcile(port)
    after = told(port)
    assert after["features"] == before["features"]
    assert after["dimensions"] == before["dimensions"]
    assert after["thickness_mm"] == pytest.approx(2.405, abs=0.006)
    assert 0.02 < after["thickness_u95_mm"] < 0.1
    assert [r["verdict"] for r in after["readings"]] == ["kept"] * 5
    assert {c.code for c in done.cautions} >= {"seat"}
    assert "seat-depth" not in {c.code for c in done.cautions}
    sketch(port, force=True)
    assert "2.40" in (port / "sketch.svg").read_text()
    assert not any("how deep" in line for line in next_readings(port).lines)
    assert whole(port).result["size_mm"][2] == pytest.approx(after["thickness_mm"])


def test_the_part_that_goes_in_is_smaller_all_round(port):
    reconcile(port, force=True)
    done = fit(port, name="sliding", force=True)
    assert "part that goes into the opening" in (port / "fit.svg").read_text()
    assert done.result["side_mm"] == 0.2


def test_one_of_three_readings_that_is_off_is_set_aside():
    found = seat(read_words(["thickness 2.40 thickness 4.20 thickness 2.41"]), TOOLS)
    assert [v.verdict for v in found.verdicts] == ["kept", "suspect", "kept"]
    assert found.depth_mm == pytest.approx(2.405, abs=0.001)
    assert "2.4" in found.verdicts[1].reason


def test_two_that_differ_both_stand_and_the_doubt_shows():
    found = seat(read_words(["thickness 2.4 thickness 4.2"]), TOOLS)
    assert [v.verdict for v in found.verdicts] == ["kept", "kept"]
    assert found.u95_mm >= 0.9
    assert seat((), TOOLS) is None
