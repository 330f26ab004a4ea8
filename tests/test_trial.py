"""jawline trial and jawline compare, from a job to its next revision."""

import json
import shutil
from pathlib import Path

import ezdxf
import numpy as np
import pytest

from calib.errors import JobRefused, ReadingsRefused, WrongUsage
from measure.cli.app import app
from measure.cli.run import run
from measure.job import job, revisions
from measure.steps.fit import fit
from measure.steps.gauge import gauge, whole
from measure.steps.read import read
from measure.steps.reconcile import reconcile
from measure.steps.revisions import compare, compared, revision_svg
from measure.steps.sketch import sketch
from measure.steps.trial import trial

SAMPLES = Path(__file__).resolve().parent.parent / "samples"


@pytest.fixture
def latch(tmp_path):
    return Path(shutil.copytree(SAMPLES / "vent-latch", tmp_path / "latch"))


def wide(path):
    points = [
        p for e in ezdxf.readfile(path).modelspace().query('LWPOLYLINE[layer=="OUTLINE"]') for p in e.get_points()
    ]
    return max(p[0] for p in points) - min(p[0] for p in points)


def files(folder):
    return {p.relative_to(folder): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def test_from_saying_to_drawing(latch):
    measured = (latch / "measured.json").read_bytes()
    before = wide(latch / "sketch.dxf")
    done = trial(latch, ["too long 0.3 at E2"])
    assert not (latch / "sketch.dxf").exists()  # out of date
    sketch(latch)
    assert wide(latch / "sketch.dxf") == pytest.approx(before - 0.3, abs=0.01)
    assert (latch / "measured.json").read_bytes() == measured
    size = next(s for s in done.result["sizes"] if s["kind"] == "distance" and abs(s["before_mm"] - 62) < 1)
    assert size["before_mm"] - size["value_mm"] == pytest.approx(0.3, abs=0.01)
    assert 0.03 < size["u95_mm"] < 0.2
    assert any("E2 back by 0.30" in line for line in done.lines)
    assert "Corrected after trial prints" in (latch / "sketch.svg").read_text()
    fit(latch, name="snug")
    assert wide(latch / "fit.dxf") == pytest.approx(before - 0.5, abs=0.01)


def last_of(folder):
    return revisions.read(folder, revisions.numbers(folder)[-1])


def test_the_fit_that_was_printed_is_remembered(latch):
    gauge(latch, fit="sliding")
    trial(latch, ["gap 0.4 at E5"])
    first, second = revisions.readable(latch).values()
    assert (first.fit, second.fit) == ("sliding", "sliding")
    assert [c.feature for c in second.changes if c.feature.startswith("E")] == ["E5"]
    assert next(c.by_mm for c in second.changes if c.feature == "E5") == pytest.approx(0.2, abs=0.01)
    trial(latch, ["fits"], fit="none")
    assert last_of(latch).fit is None


def test_each_revision_keeps_all_that_was_drawn_of_it(latch):
    gauge(latch, fit="sliding")
    fit(latch, name="sliding")
    whole(latch, fit="sliding")
    drawn = {n: (latch / n).read_bytes() for n in job.DRAWN if (latch / n).exists()}
    assert drawn.keys() >= {"fit.pdf", "gauge.3mf", "solid.3mf"}
    done = trial(latch, ["tight at E2"])
    kept = files(latch / "revisions/1")
    assert {n: kept[Path(n)] for n in drawn if n not in job.SKETCHES} == {
        n: c for n, c in drawn.items() if n not in job.SKETCHES
    }
    assert not any((latch / n).exists() for n in drawn)  # out of date in the job
    assert "kept with revision 1" in done.lines[-1]
    gauge(latch, fit="sliding")
    second = (latch / "gauge.3mf").read_bytes()
    trial(latch, ["loose at E2"])
    assert revisions.numbers(latch) == (1, 2, 3)  # the gauge was of the second, which was there already
    assert (latch / "revisions/2/gauge.3mf").read_bytes() == second
    assert files(latch / "revisions/1") == kept


def test_a_saying_of_an_earlier_print_leaves_the_files_with_the_one_they_are_of(latch):
    trial(latch, ["tight at E2"], fit="snug")
    gauge(latch, fit="snug")
    done = trial(latch, ["gap 0.4 at E5"], of=1)
    assert done.result["of"] == 1
    assert (latch / "revisions/2/gauge.3mf").exists()
    assert not (latch / "revisions/1/gauge.3mf").exists()


@pytest.mark.parametrize(
    ("draw", "words"),
    [
        (lambda job: fit(job, name="snug"), "the fit of revision 1, drawn for a snug fit (fit.dxf was drawn last)"),
        (lambda job: gauge(job), "the gauge of revision 1, drawn as measured (gauge.3mf was drawn last)"),
        (lambda job: whole(job, fit="loose"), "the solid of revision 1, drawn for a loose fit (solid.3mf was drawn"),
    ],
)
def test_a_saying_is_of_what_was_drawn_last_and_says_so(latch, draw, words):
    gauge(latch, fit="sliding")
    draw(latch)
    done = trial(latch, ["fits"])
    assert words in done.lines[0]
    assert done.result["drawn"] in ("fit", "gauge", "solid")
    assert "drawn last" not in trial(latch, ["tight at E2"], fit="press").lines[0]


def test_revisions_are_kept_and_numbered(latch):
    trial(latch, ["tight at E2"])
    kept = files(latch / "revisions")
    done = trial(latch, ["loose at E2"])
    assert revisions.numbers(latch) == (1, 2, 3)
    assert {k: v for k, v in files(latch / "revisions").items() if k in kept} == kept
    one, two, three = revisions.readable(latch).values()
    at = [next(f for f in r.printed() if f.label == "E2").start[0] for r in (one, two, three)]
    assert min(at[0], at[1]) < at[2] < max(at[0], at[1])  # between tight and loose
    assert done.result["of"] == 2
    assert (latch / "trials.csv").read_text() == "revision,said\n1,tight at E2\n2,loose at E2\n"
    assert revision_svg(latch, 2).startswith(b"<?xml")
    assert b"revision 2" in revision_svg(latch, 2)


def test_a_print_that_fits_stands_to_the_letter(latch):
    trial(latch, ["loose", "rubs at E2"])
    done = trial(latch, ["fits"])
    assert revisions.numbers(latch) == (1, 2)
    assert "stands" in done.lines[-1]
    sketch(latch)
    assert wide(latch / "sketch.dxf") == pytest.approx(wide(latch / "revisions/2/sketch.dxf"), abs=1e-6)


def test_what_a_print_is_silent_of_stays_as_it_was_printed(latch):
    trial(latch, ["loose"])
    trial(latch, ["tight at E2"])
    _, before, after = revisions.readable(latch).values()
    assert {c.feature for c in after.changes} == {"E2", "R1", "R2"}  # with the fillets beside it
    there = {f.label: f for f in before.outline()}
    for f in after.outline():
        if f.kind == "line" and f.label not in ("E1", "E2", "E3"):
            assert f.start == pytest.approx(there[f.label].start, abs=1e-4)


def test_a_new_reading_still_moves_what_no_print_spoke_of(latch):
    trial(latch, ["too long 0.3 at E2"])
    before = last_of(latch).sizes
    assert before
    read(latch, ["width E1 E3 14.09", "width E1 E3 14.09", "width E1 E3 14.09"])
    reconcile(latch, force=True)
    sketch(latch)
    lines = ezdxf.readfile(latch / "sketch.dxf").modelspace().query('LWPOLYLINE[layer=="OUTLINE"]')
    measured = json.loads((latch / "measured.json").read_text())["features"]
    ends = {tuple(np.round(f["start"], 3)) for f in measured if f["label"] in ("E5", "E6")}
    drawn = {tuple(np.round(p[:2], 3)) for e in lines for p in e.get_points()}
    assert ends <= drawn


def test_a_print_that_fits_makes_no_revision(latch):
    done = trial(latch, ["fits"])
    assert revisions.numbers(latch) == (1,)
    assert "stands" in " ".join(done.lines)


def test_nothing_is_written_when_something_is_refused(latch):
    before = files(latch)
    for words in (["tight at E2", "loose at E2"], ["wobbles"]):
        with pytest.raises(ReadingsRefused):
            trial(latch, words)
    for words in (["tight at E77"], ["too long 0.2 at E1 E2"]):
        with pytest.raises(Exception, match=r"E77|alongside"):
            trial(latch, words)
    with pytest.raises(WrongUsage, match="no revision 7"):
        trial(latch, ["tight at E2"], of=7)
    assert files(latch) == before


def test_mended_by_hand_and_traced_anew(latch):
    trial(latch, ["too long 0.3 at E2"])
    sketch(latch)
    mended = wide(latch / "sketch.dxf")
    (latch / "trials.csv").write_text("revision,said\n1,too long 0.1 at E2  # read wrongly at first\n")
    sketch(latch)
    assert wide(latch / "sketch.dxf") == pytest.approx(mended + 0.2, abs=0.01)
    record = json.loads((latch / "revisions/1/revision.json").read_text())
    (latch / "revisions/1/revision.json").write_text(json.dumps({**record, "trace": "0" * 64}))
    with pytest.raises(JobRefused, match="traced anew"):
        sketch(latch)
    (latch / "revisions/1/revision.json").write_text("{")
    with pytest.raises(JobRefused, match="can't be used"):
        sketch(latch)


def test_compared_in_words_and_a_picture(latch):
    with pytest.raises(WrongUsage, match="no revisions"):
        compare(latch)
    trial(latch, ["too long 0.3 at E2"])
    done = compare(latch)
    assert {p.name for p in done.files} == {"compare-1-2.svg", "compare-1-2.pdf"}
    assert "  E2: 0.30 mm further in" in done.lines
    svg = (latch / "compare-1-2.svg").read_text()
    assert "E2 -0.30" in svg
    assert "5 times as large" in svg
    assert compared(latch, 2, 1).differences[0].by_mm == pytest.approx(0.3, abs=0.01)
    with pytest.raises(WrongUsage, match="itself"):
        compared(latch, 2, 2)


def test_command_line(latch, capsys):
    assert run(app, ["trial", str(latch), "tight", "at", "E2", "--as", "snug", "--json"]) == 0
    out = json.loads(capsys.readouterr().out)
    assert (out["of"], out["revision"]) == (1, 2)
    assert run(app, ["trial", str(latch), "purple at E2", "--json"]) == 1
    assert json.loads(capsys.readouterr().out)["error"]["code"] == "saying"
    assert run(app, ["compare", str(latch), "1", "2", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["differences"][0]["feature"] == "E2"
    assert run(app, ["compare", str(latch), "1", "9"]) == 2
    assert run(app, ["trial", str(latch)]) == 2
