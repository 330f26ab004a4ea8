"""The upper rim: what is said of it, what is kept of it, and readings that speak through its law."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from calib.arrays import Array
from calib.errors import JobRefused
from calib.tools.budget import K95
from calib.tools.jaws import TOOLS, uncertainty
from measure.adjustment.adjustment import reconcile
from measure.cli.app import app
from measure.cli.run import run
from measure.edges.rounded import COMMON, KNOWN, ROUNDED_MM, Rim, silhouette_inset
from measure.geometry.dimensions import size_of
from measure.geometry.features import Estimate, Feature, flatten, middle, right_normal
from measure.geometry.rejoin import joints, rejoined, shifted_all
from measure.job import job, records
from measure.readings.readings import Reading
from measure.rim import RIM_WORDS, rim_word
from measure.several.several import _reckoned
from measure.steps import draw as all_steps
from measure.steps.reconcile import reconcile as reconcile_job
from measure.steps.sketch import sketch
from measure.tracing.request import Request
from measure.tracing.values import Trace
from tests.jobs import plate, record


# ------------------------------------------------------------------------------------------------------- what is said
@pytest.mark.parametrize("words", [None, "unknown", "sharp", "little", " Clear "])
def test_the_words(words: str | None) -> None:
    assert rim_word(words) == (words or "unknown").strip().lower()


def test_another_word_is_wrong_usage(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    photo = tmp_path / "photo.jpg"
    for command in ("trace", "draw", "check"):
        assert run(app, [command, str(photo), "--thickness", "4", "--rim", "blunt"]) == 2
        said = capsys.readouterr().err
        assert "“blunt”" in said
        assert said.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("told", RIM_WORDS)
def test_the_command_hands_it_on(told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    class Asked(Exception):
        pass

    def draw(wanted: all_steps.JobOrder, *_: object, **__: object) -> None:
        raise Asked(wanted.request)

    monkeypatch.setattr(all_steps, "draw", draw)
    with pytest.raises(Asked) as seen:
        app(["draw", "p.jpg", "--thickness", "4", "--rim", told], standalone_mode=False)
    assert seen.value.args[0] == Request(4.0, rim=told)  # type: ignore[arg-type]


def test_what_people_are_told() -> None:
    assert Rim("unknown", 0.1, 0.1).in_words() == "Upper edge sharp or rounded, R0.10 ± 0.20 mm"
    assert Rim("unknown", 0.3, 0.1).in_words() == "Upper edge rounded, R0.30 ± 0.20 mm"  # 19 times in 20 above 0
    assert Rim.known("sharp").in_words() == "Upper edge sharp, as told"
    assert Rim.known("little").is_rounded
    assert Rim("sharp", 0.2, 0.05).in_words() == "Upper edge rounded, R0.20 ± 0.10 mm"  # readings found it otherwise


# ------------------------------------------------------------------------------------------------------- several photos
def test_photos_of_one_part_tell_of_one_rim() -> None:
    """By hand: odds 0.7/0.3 and 0.6/0.4, of parts in common 0.4/0.6: 2.333 · 1.5 / 0.667 = 5.25, so 5.25 in 6.25."""
    one = Rim.together([Rim.known("unknown", 0.7), Rim.known("unknown", 0.6)])
    assert one.radius_mm == pytest.approx(ROUNDED_MM * 5.25 / 6.25)
    alike = Rim.together([Rim.known("unknown", COMMON)] * 3)
    assert alike.size_mm == pytest.approx(Rim.known("unknown", COMMON).size_mm)  # nothing was seen, three times
    told = Rim.together([Rim.known("clear")] * 2)
    assert (told.told, told.is_rounded) == ("clear", True)
    assert (told.radius_mm, told.sd_mm) == pytest.approx(KNOWN["clear"])


def test_what_photos_show_of_the_radius_counts_with_what_is_common_once() -> None:
    """By hand: worth 1/0.06² twice and less 1/0.09² once, since each has heard it: 432 of 0.2 and 0.3 mm, sd 0.048."""
    one = Rim.together([Rim.known("unknown", 0.9, (m, 0.06)) for m in (0.2, 0.3)])
    assert one.if_rounded_mm == pytest.approx((0.25, 432.1**-0.5), abs=1e-4)
    told = Rim.together([Rim.known("clear", 0.9, (m, 0.06)) for m in (0.2, 0.24)])
    assert told.radius_mm < 0.22  # both photos say less than was told


def test_outlines_reckoned_with_one_radius_agree() -> None:
    """Two photos of one part, one reckoned with 0.05 mm and the other with 0.25: the same once both have one."""
    truth = plate()
    s = by_rim(truth, np.array([-80.0, 40.0]))
    one = Rim("unknown", 0.1, 0.1)
    laid = []
    for radius in (0.05, 0.25):
        was = Rim("unknown", radius, 0.1)
        seen = traced(truth, s, 0.2, was)
        whole = Trace(seen, None, "part", 4.2, (), None, (), None, was)  # type: ignore[arg-type]
        now = _reckoned(whole, was, one)
        assert now.rim == one
        laid.append(now.estimate.features)
    for a, b in zip(*laid, strict=True):
        np.testing.assert_allclose(flatten(a), flatten(b), atol=1e-9)


# ------------------------------------------------------------------------------------------------------------- the law
CAMERA_MM = 300.0


def by_rim(features: tuple[Feature, ...], foot: Array) -> Array:
    """(m,) change of parameters with the rim's radius: hidden walls by the law, seen ones by their foot, not at all."""

    def inset(points: Array, outward: Array) -> Array:
        slope = ((points - foot) * outward).sum(-1) / CAMERA_MM
        return np.where(slope > 0, silhouette_inset(np.maximum(slope, 0), np.ones_like(slope)), 0.0)

    out: list[float] = []
    for f in features:
        if f.kind == "line":
            out += [float(inset(np.array(middle(f)), np.array(right_normal(f)))), 0.0]
            continue
        assert f.kind != "curve"
        start = math.atan2(f.start[1] - f.centre[1], f.start[0] - f.centre[0]) if f.kind == "arc" else 0.0
        turn = np.linspace(0, -math.pi if f.kind == "arc" else 2 * math.pi, 60)  # both arcs are half turns, clockwise
        way = np.stack([np.cos(start + turn), np.sin(start + turn)], 1)
        points = np.array(f.centre) + f.radius * way
        design = np.c_[way, np.ones(len(way))]
        out += list(np.linalg.lstsq(design, -inset(points, -way), rcond=None)[0])
    return np.array(out)


def traced(truth: tuple[Feature, ...], s: Array, radius_mm: float, rim: Rim) -> Estimate:
    """What a photo gives that is wrong by the rim alone."""
    seen = rejoined(shifted_all(truth, -s * (radius_mm - rim.radius_mm)), joints(truth))
    shared = np.diag([rim.sd_mm**2, 0.02**2])
    white = np.eye(len(s)) * 0.005**2
    return Estimate(tuple(seen), white, ("rim", "thickness"), np.c_[s, np.zeros(len(s))], shared)


def error_mm(kind: str, labels: tuple[str, ...], found: tuple[Feature, ...]) -> float:
    def size(features: tuple[Feature, ...]) -> float:
        named = {f.label: f for f in features}
        return size_of(kind, [named[x] for x in labels]).value_mm

    return size(found) - size(plate())


@settings(max_examples=60, deadline=None)
@given(
    radius=st.floats(0.0, 0.45),
    told=st.sampled_from(RIM_WORDS),
    x=st.floats(-150, 210),
    y=st.floats(-150, 180),
)
def test_one_reading_outside_mends_hidden_sides_and_holes(radius: float, told: str, x: float, y: float) -> None:
    """A true width of the plate, by the caliper: its height and its hole, which nobody read, are mended as much.

    By hand, two numbers of one width: the photo's, wrong by g·(r − r₀) with variance (g·sd)² of the rim and 2·(0.005² +
    0.01²) of two edges, and the reading's, right, with its own. The rim gets its share of their difference, and every
    size that hangs on the rim with it. Where the photo is believed less for it, so are rim and edges.
    """
    rim = Rim.known(told)  # type: ignore[arg-type]
    off = radius - rim.radius_mm
    assume(0.01 < abs(off) < 2 * rim.sd_mm)  # what the word allows for
    foot = np.array([x, y])
    truth = plate()[:5]
    s = by_rim(truth, foot)
    photo = traced(truth, s, radius, rim)
    tool = TOOLS["caliper"]
    g = s[2] + s[6]  # the offsets of E2 and E4
    out = reconcile(photo, [Reading("width", ("E2", "E4"), 60.0)], thickness_mm=4.2, rim=rim, with_regularities=False)
    assert out.verdicts[0].verdict == "kept"
    assert out.rim is not None
    sd = rim.sd_mm * out.looser
    of_rim, of_edges = (g * sd) ** 2, 2 * (0.005**2 + 0.01**2) * out.looser**2
    of_reading = uncertainty(tool, "outside", 60.0).total_mm ** 2 + tool.zero_mm**2
    share = of_rim / (of_rim + of_edges + of_reading)
    assert out.rim.radius_mm == pytest.approx(rim.radius_mm + share * off, abs=1e-4)
    assert out.rim.sd_mm == pytest.approx(sd * (1 - share) ** 0.5, rel=1e-3)
    for kind, labels in (("distance", ("E1", "E3")), ("diameter", ("D1",))):
        before, after = (error_mm(kind, labels, e.features) for e in (photo, out.estimate))
        assert after == pytest.approx(before * (1 - share), abs=1e-4), (kind, labels)
    # rounder than reckoned with: the photo had the part too small outside, and the hole too large
    assert error_mm("distance", ("E1", "E3"), photo.features) * off < 0
    if s[-1] != 0:  # the camera over the hole sees all of its wall, and then the rim hides nothing
        assert error_mm("diameter", ("D1",), photo.features) * off > 0


def test_an_outline_that_does_not_hang_on_it_tells_nothing_of_the_rim() -> None:
    rim = Rim.known("little")
    e = traced(plate(), by_rim(plate(), np.zeros(2)) * 0, 0.3, rim)
    assert reconcile(replace(e, shared_names=("scale", "thickness")), [], thickness_mm=4.2, rim=rim).rim == rim
    assert reconcile(e, [], thickness_mm=4.2).rim is None


# ------------------------------------------------------------------------------------------------------------ the files
def rimmed(told: str = "little") -> records.JobRecord:
    """A job whose photo hangs on the rim: 0.1 mm rounder than was said."""
    rim = Rim.known(told)  # type: ignore[arg-type]
    truth = plate()
    e = traced(truth, by_rim(truth, np.array([-80.0, 40.0])), rim.radius_mm + 0.1, rim)
    return record().model_copy(
        update={
            "rim": records.rim_record(rim),
            "features": tuple(records.feature_record(f) for f in e.features),
            "adjustment": records.adjustment_record(e),
        }
    )


def test_it_is_written_and_comes_back() -> None:
    text = records.to_text(rimmed())
    radius, sd = KNOWN["little"]
    assert json.loads(text)["rim"] == {"told": "little", "radius_mm": radius, "u95_mm": round(K95 * sd, 4)}
    back = records.rim(records.from_text(text, "trace.json"))
    assert back is not None
    assert (back.told, back.radius_mm) == ("little", radius)
    assert back.sd_mm == pytest.approx(sd, rel=1e-3)


def test_an_older_job_without_it_opens() -> None:
    plain = json.loads(records.to_text(record()))
    assert "rim" not in plain
    assert records.rim(records.from_text(json.dumps(plain), "trace.json")) is None


@pytest.mark.parametrize("rim", [{"told": "blunt", "radius_mm": 0.1, "u95_mm": 0.1}, {"told": "sharp"}, 0.2])
def test_a_damaged_one_is_refused(rim: object) -> None:
    plain = json.loads(records.to_text(record()))
    with pytest.raises(JobRefused, match="rim"):
        records.from_text(json.dumps({**plain, "rim": rim}), "trace.json")


def test_measured_json_and_the_sheet_say_what_was_found(tmp_path: Path) -> None:
    job.write(tmp_path, {job.TRACE: records.to_text(rimmed()).encode(), job.READINGS: b""})
    plain = reconcile_job(tmp_path)
    assert plain.result["rim"]["radius_mm"] == pytest.approx(0.15, abs=0.02)  # as said; the slot's ends tell little
    (tmp_path / job.READINGS).write_text("kind,features,value,unit,tool,note\nwidth,E2 E4,60.00,mm,caliper,\n")
    done = reconcile_job(tmp_path, force=True)
    found = done.result["rim"]
    assert found["told"] == "little"
    # by hand as above: g = 0.15 + 0.467 − 0.104 at 140 of 300 mm; share 0.65 of 0.1 mm, √0.35 = 0.59 as unsure
    assert found["radius_mm"] == pytest.approx(0.215, abs=0.005)
    assert found["u95_mm"] < 0.7 * plain.result["rim"]["u95_mm"]
    words = f"Upper edge rounded, R{found['radius_mm']:.2f} ± {found['u95_mm']:.2f} mm"
    assert [x for x in done.lines if "pper edge" in x] == [f"{words}."]
    sketch(tmp_path)
    svg = (tmp_path / job.SKETCHES[1]).read_text()
    assert "Upper edge rounded" in svg


def test_a_sharp_edge_is_no_note_on_the_sheet(tmp_path: Path) -> None:
    sharp = rimmed("sharp")
    e = traced(plate(), by_rim(plate(), np.array([-80.0, 40.0])), 0.0, Rim.known("sharp"))
    told = sharp.model_copy(update={"features": tuple(records.feature_record(f) for f in e.features)})
    job.write(tmp_path, {job.TRACE: records.to_text(told).encode()})
    reconcile_job(tmp_path)
    sketch(tmp_path)
    assert "pper edge" not in (tmp_path / job.SKETCHES[1]).read_text()
