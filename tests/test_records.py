"""The job's JSON: what is written comes back the same, what a person mends is taken, what can't be true is refused."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest

from calib.errors import JobRefused
from measure.job import records
from tests.jobs import estimate, record


def test_features_and_covariance_come_back() -> None:
    text = records.to_text(record())
    back = records.estimate(records.from_text(text, "trace.json"), "trace.json")
    known = estimate()
    assert back.features == known.features
    assert back.shared_names == known.shared_names
    np.testing.assert_allclose(back.covariance(), known.covariance(), rtol=1e-12, atol=1e-18)


def test_a_full_covariance_comes_back() -> None:
    known = estimate()
    a = np.random.default_rng(3).normal(size=known.white.shape)
    full = type(known)(known.features, a @ a.T, known.shared_names, known.sensitivity, known.shared)
    mended = record().model_copy(update={"adjustment": records.adjustment_record(full)})
    back = records.estimate(records.from_text(records.to_text(mended), "x"), "x")
    np.testing.assert_allclose(back.white, full.white, rtol=1e-12)


def test_the_file_is_what_the_contract_says() -> None:
    plain = json.loads(records.to_text(record()))
    assert plain["schema"] == "jawline/1"
    assert plain["units"] == "mm"
    assert set(plain["scale"]) == {
        "reference", "mm_per_px", "u95_relative", "camera_height_mm", "tilt_deg", "lens"
    }  # fmt: skip
    assert plain["features"][0] == {"label": "E1", "kind": "line", "loop": 0, "start": [0, 0], "end": [60, 0]}
    assert plain["features"][4] == {"label": "D1", "kind": "circle", "loop": 1, "centre": [12, 12], "radius": 3}
    assert set(plain["features"][6]) == {"label", "kind", "loop", "start", "end", "centre", "radius", "turn"}
    assert {d["kind"] for d in plain["dimensions"]} == {"distance", "diameter", "radius", "centres", "offset"}
    assert set(plain["dimensions"][0]) == {"kind", "features", "value_mm", "u95_mm", "basis"}
    assert plain["readings"] == []
    assert plain["warnings"] == []


def test_every_feature_has_a_line_of_its_own() -> None:
    lines = records.to_text(record()).splitlines()
    assert sum('"kind": "line"' in x for x in lines) == 6
    assert all(len(x) < 400 for x in lines)


def mended(change: Any) -> str:
    plain = json.loads(records.to_text(record()))
    change(plain)
    return json.dumps(plain)


def test_a_number_mended_by_hand_is_taken() -> None:
    text = mended(lambda p: p["features"][4].update(radius=3.5))
    assert records.estimate(records.from_text(text, "x"), "x").features[4].radius == 3.5


def remove_hole(p: dict[str, Any]) -> None:
    del p["features"][4]
    p["dimensions"] = []


@pytest.mark.parametrize(
    ("change", "word"),
    [
        (lambda p: p.update(schema="jawline/9"), "schema"),
        (lambda p: p.pop("schema"), "schema"),
        (lambda p: p.pop("scale"), "scale"),
        (lambda p: p.update(features=[]), "features"),
        (lambda p: p["features"][4].update(radius=-1), "radius"),
        (lambda p: p["features"][4].update(kind="blob"), "kind"),
        (lambda p: p["features"][4].pop("radius"), "D1 is a circle without “radius”"),
        (lambda p: p["features"][1].update(label="E1"), "E1 is there twice"),
        (lambda p: p["features"][1].update(start=[50, 0]), "open between E1 and E2"),
        (lambda p: [f.update(loop=1) for f in p["features"][:4]], "loop 0"),
        (lambda p: p["dimensions"][0].update(features=["E1", "E77"]), "E77"),
        (lambda p: p["features"][0].update(start="here"), "start"),
        (lambda p: p.update(thickness_mm=-4), "thickness_mm"),
        (lambda p: p.update(units="in"), "units"),
    ],
)
def test_what_cannot_be_true_is_refused(change: Any, word: str) -> None:
    with pytest.raises(JobRefused) as why:
        records.from_text(mended(change), "JOB/trace.json")
    assert word in why.value.text
    assert why.value.text.startswith("JOB/trace.json")
    assert "\n" not in why.value.text


@pytest.mark.parametrize("change", [remove_hole, lambda p: p["adjustment"]["white"].pop()])
def test_features_without_their_covariance_are_refused(change: Any) -> None:
    with pytest.raises(JobRefused, match="no longer belong together"):
        records.estimate(records.from_text(mended(change), "x"), "x")


def test_no_covariance_and_negative_variance_are_refused() -> None:
    with pytest.raises(JobRefused, match="adjustment"):
        records.estimate(records.from_text(mended(lambda p: p.pop("adjustment")), "x"), "x")
    bad = records.from_text(mended(lambda p: p["adjustment"]["white"][0].__setitem__(1, -1.0)), "x")
    with pytest.raises(JobRefused, match="negative variance"):
        records.estimate(bad, "x")


@pytest.mark.parametrize("text", ["", "{", "null", "[1, 2]", "NaN", '{"schema": "jawline/1", "scale"', "[" * 100_000])
def test_half_written_files_are_refused(text: str) -> None:
    with pytest.raises(JobRefused) as why:
        records.from_text(text, "trace.json")
    assert why.value.code in ("job-damaged", "job-schema")


def test_not_a_number_is_refused() -> None:
    text = records.to_text(record()).replace('"radius": 3.0', '"radius": NaN')
    with pytest.raises(JobRefused):
        records.from_text(text, "trace.json")
