"""Several rendered photos of one part, whose true outline is known."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from calib.errors import PartRefused, WrongUsage
from calib.photo.photo import load
from measure.geometry.dimensions import list_dimensions
from measure.geometry.features import Estimate
from measure.geometry.offsetting import scaled
from measure.job import records
from measure.several.several import combined, shown
from measure.steps import photos as step
from measure.steps.reconcile import reconcile
from measure.steps.sketch import sketch
from measure.steps.trace import trace
from measure.tracing import tracing
from measure.tracing.request import Request
from tests.accuracy.score import compare
from tests.simulated_parts import parts

HERE = Path(__file__).parent / "accuracy"
FIRST = HERE / "photos/vent-latch.jpg"
AGAIN, OTHER_FACE = HERE / "pairs/vent-latch-b.jpg", HERE / "pairs/vent-latch-m.jpg"
LONG_MM = 62.0
"""The vent latch."""
TRUTH = json.loads((HERE / "photos/vent-latch.truth.json").read_text())


@pytest.fixture(scope="module")
def three():
    out = {}
    for path in (FIRST, AGAIN, OTHER_FACE):
        photo = load(path)
        out[path.name] = shown(photo, tracing.trace(photo, Request(4.2)))
    return out


def scored(found):
    features = [records.feature_record(f).model_dump(exclude_none=True) for f in found.estimate.features]
    dimensions = [records.dimension_record(d).model_dump() for d in list_dimensions(found.estimate)]
    return compare(TRUTH, json.loads(json.dumps({"features": features, "dimensions": dimensions})))


def test_another_view_of_the_part_makes_it_surer_and_truer(three):
    alone = three[FIRST.name].trace
    found = combined([three[FIRST.name], three[AGAIN.name]])
    assert found.turned_over == (False,)
    now = scored(found.trace)
    assert now["p95_mm"] < 0.03  # 0.14 by the first photo alone, which has no EXIF
    assert now["coverage"] > 0.9
    alone_u95 = np.median([d.u95_mm for d in list_dimensions(alone.estimate)])
    assert now["u95_median_mm"] < 0.7 * alone_u95
    assert found.trace.scale.u95_relative < alone.scale.u95_relative / 2**0.5
    assert [f.label for f in found.trace.estimate.features] == [f.label for f in alone.estimate.features]


def test_the_other_face_is_noticed_and_the_first_photo_decides(three):
    found = combined([three[FIRST.name], three[OTHER_FACE.name]])
    assert found.turned_over == (True,)
    (said,) = [c for c in found.trace.cautions if c.code == "other-face"]
    assert f"{OTHER_FACE.name} shows the other face" in said.text
    score = scored(found.trace)
    assert not score["mirrored"]
    u95 = found.trace.scale.u95_relative
    assert abs(score["scale_off"]) < u95
    assert score["p95_mm"] < 0.04 + LONG_MM / 2 * u95  # of a part of 62 mm, what the scale may do, and the edges


def test_another_part_is_refused(three):
    first = three[FIRST.name]
    plate = parts()[0].features
    m = sum(2 if f.kind == "line" else 3 for f in plate)
    e = first.trace.estimate
    other = Estimate(plate, np.eye(m) * 1e-4, e.shared_names, np.zeros((m, len(e.shared))), e.shared)
    wrong = replace(first, name="other.jpg", trace=replace(first.trace, estimate=other))
    with pytest.raises(PartRefused, match="don't show the same part") as said:
        combined([first, wrong])
    assert said.value.code == "different-parts"


def test_a_card_that_lay_higher_is_noticed(three):
    """The second photo's scale 2 % wrong, as from a card on a box of 5 mm."""
    first, second = three[FIRST.name], three[AGAIN.name]
    features = scaled(second.trace.estimate.features, 0.98)
    small = replace(second.trace, estimate=replace(second.trace.estimate, features=features))
    with pytest.raises(PartRefused, match="contradict each other") as said:
        combined([first, replace(second, trace=small)])
    assert said.value.code == "photos-contradict"


# ------------------------------------------------------------------------------------------------------------- the step
@pytest.fixture
def traced_before(three, monkeypatch):
    """Tracing without the time that it takes."""
    monkeypatch.setattr(tracing, "trace", lambda photo, *_, **__: three[Path(photo.name).name].trace)


def test_a_photo_given_twice_counts_once(traced_before, tmp_path):
    copy = tmp_path / "copy" / FIRST.name
    copy.parent.mkdir()
    copy.write_bytes(FIRST.read_bytes())
    done = trace(FIRST, tmp_path / "job", Request(4.2), further=(FIRST, copy))
    assert [c.text for c in done.cautions if c.code == "same-photo"] == [
        "photos/vent-latch.jpg is given twice: it counts once.",
        "copy/vent-latch.jpg is the same photo as photos/vent-latch.jpg: it counts once.",
    ]
    record = records.from_text((tmp_path / "job/trace.json").read_text(), "trace.json")
    assert record.photo == FIRST.name
    assert record.photos == ()
    assert {w.code for w in record.warnings} == {"same-photo"}


def test_the_job_says_what_it_was_made_from(traced_before, tmp_path):
    done = trace(FIRST, tmp_path / "job", Request(4.2), further=(AGAIN, OTHER_FACE))
    assert done.lines[0].startswith("Traced vent-latch.jpg, vent-latch-b.jpg and vent-latch-m.jpg: ")
    assert any("vent-latch-m.jpg, which shows the other face and was mirrored: " in line for line in done.lines)
    plain = json.loads((tmp_path / "job/trace.json").read_text())
    assert plain["schema"] == "jawline/1"
    assert plain["photo"] == FIRST.name
    assert plain["photos"] == [FIRST.name, AGAIN.name, OTHER_FACE.name]
    assert "other-face" in {w["code"] for w in plain["warnings"]}
    assert str(HERE) not in json.dumps(plain)
    reconcile(tmp_path / "job")
    sketch(tmp_path / "job")
    drawn = (tmp_path / "job/sketch.svg").read_text()
    assert "Sketch of a part, from 3 photos" in drawn
    assert "3 photos alone" in drawn


def test_several_photos_need_the_thickness():
    with pytest.raises(WrongUsage, match="thickness"):
        step.traced(load(FIRST), (FIRST, AGAIN), Request(0.0), lambda _: None)


def test_a_photo_that_fails_is_named(monkeypatch):
    def fail(photo, *_, **__: object):
        raise PartRefused("There is no part.", "no-part")

    monkeypatch.setattr(tracing, "trace", fail)
    with pytest.raises(PartRefused, match=r"vent-latch\.jpg: There is no part\."):
        step.traced(load(FIRST), (FIRST, AGAIN), Request(4.2), lambda _: None)
