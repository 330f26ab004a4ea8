"""Which readings jaws can take on which features."""

from dataclasses import replace

import numpy as np
import pytest

from calib.errors import ReadingsRefused
from measure.geometry.features import Estimate, Feature
from measure.readings.jaw_reach import check_reading, obstacle, possible_readings
from measure.readings.readings import Reading
from tests.simulated_parts import Part, parts, polygon
from tests.simulated_traces import features_of

PARTS = {p.name: p for p in parts()}


def bare(features: tuple[Feature, ...]) -> Estimate:
    return Estimate(features, np.eye(400) * 1e-8, (), np.zeros((400, 0)), np.zeros((0, 0)))


def why(part: str, kind: str, *labels: str) -> str | None:
    p = PARTS[part]
    named = {f.label: f for f in p.features}
    return obstacle(kind, [named[x] for x in labels], bare(p.features), p.subject)


def test_what_can_be_taken() -> None:
    # plate: outline E1 right along the bottom, then up, left, down; D1, D2 holes; a slot of E5, E6, R5, R6
    for kind, labels in {
        "width": ("E1", "E3"),
        "bore": ("D1",),
        "gap": ("E5", "E6"),
        "span": ("D1", "D2"),
        "web": ("D1", "D2"),
        "radius": ("R1",),
        "thickness": (),
    }.items():
        assert why("plate", kind, *labels) is None
    assert why("plate", "web", "E3", "D1") is None
    assert why("plate", "bore", "R5") is None  # the full-round end of a slot
    assert why("lever", "boss", "R1") is None
    assert why("ring", "boss", "D1") is None
    assert why("ring", "web", "D2", "D1") is None  # the wall of a ring
    assert why("hatch", "gap", "E2", "E6") is None


@pytest.mark.parametrize(
    ("part", "kind", "labels", "word"),
    [
        ("plate", "width", ("E1", "E2"), "not parallel"),
        ("plate", "gap", ("E1", "E3"), "write width"),
        ("plate", "width", ("E5", "E6"), "write gap"),
        ("plate", "width", ("E1", "D1"), "not a straight edge"),
        ("bracket", "width", ("E1", "E2"), "not parallel"),
        ("clip", "gap", ("E2", "E8"), "write width"),
        ("plate", "bore", ("R1",), "write boss"),
        ("plate", "boss", ("R1",), "less than half"),
        ("plate", "boss", ("D1",), "write bore"),
        ("plate", "bore", ("E1",), "not a hole"),
        ("plate", "radius", ("E1",), "not an arc"),
        ("plate", "span", ("D1", "E1"), "E1 is not a hole"),
        ("plate", "web", ("E1", "E3"), "starts at a hole"),
        ("hatch", "width", ("E2", "E6"), "write gap"),
    ],
)
def test_what_can_not(part: str, kind: str, labels: tuple[str, ...], word: str) -> None:
    said = why(part, kind, *labels)
    assert said is not None
    assert word in said
    p = PARTS[part]
    with pytest.raises(ReadingsRefused, match=word) as e:
        check_reading(Reading(kind, labels, 9.0, line=7), bare(p.features), p.subject)  # type: ignore[arg-type]
    assert e.value.code == "reading-geometry"
    assert e.value.text.startswith("Line 7: ")


def test_edges_that_face_the_same_way() -> None:
    steps = features_of([polygon([(0, 0, 0), (20, 0, 0), (20, 10, 0), (10, 10, 0), (10, 5, 0), (0, 5, 0)])])
    named = {f.label: f for f in steps}
    said = obstacle("width", [named["E3"], named["E5"]], bare(steps))
    assert said is not None
    assert "same way" in said


def test_unknown_labels_are_named_with_those_that_exist() -> None:
    p = PARTS["plate"]
    with pytest.raises(ReadingsRefused, match="no D7; it has D1, D2") as e:
        check_reading(Reading("bore", ("D7",), 4.0), bare(p.features))
    assert e.value.code == "reading-label"


def test_nearly_parallel_short_edges_pass_when_their_direction_is_uncertain() -> None:
    wedge = features_of([polygon([(0, 0, 0), (10, 0.5, 0), (10, 5, 0), (0, 5, 0)])])
    named = [f for f in wedge if f.label in ("E1", "E3")]
    sharp = bare(wedge)
    vague = Estimate(wedge, np.eye(400) * 0.02**2, (), np.zeros((400, 0)), np.zeros((0, 0)))
    assert obstacle("width", named, sharp) is not None
    assert obstacle("width", named, vague) is None


@pytest.mark.parametrize("p", parts(), ids=lambda p: p.name)
def test_every_possible_reading_passes_the_check(p: Part) -> None:
    e = bare(p.features)
    found = possible_readings(e, p.subject)
    assert len(found) == len(set(found))
    for kind, labels in found:
        check_reading(Reading(kind, labels, 5.0), e, p.subject)
    kinds = {k for k, _ in found}
    assert "thickness" in kinds
    if p.subject == "opening":
        assert "width" not in kinds
        assert "gap" in kinds


def test_pieces_of_one_circle_count_together() -> None:
    """A round end that was cut into two arcs of 90° is still one that jaws find a diameter on."""
    ends = [(5.0, 0.0), (0.0, 5.0), (-5.0, 0.0)]
    loop = [
        {"kind": "arc", "centre": (0.0, 0.0), "radius": 5.0, "start": ends[0], "end": ends[1], "turn": "ccw"},
        {"kind": "arc", "centre": (0.02, 0.0), "radius": 5.03, "start": ends[1], "end": ends[2], "turn": "ccw"},
        {"kind": "line", "start": ends[2], "end": (-5.0, -20.0)},
        {"kind": "line", "start": (-5.0, -20.0), "end": (5.0, -20.0)},
        {"kind": "line", "start": (5.0, -20.0), "end": ends[0]},
    ]
    f = features_of([loop])
    assert obstacle("boss", [f[0]], bare(f)) is None


def test_a_hole_that_readings_have_made_larger_is_still_whole() -> None:
    """Jaws are asked of the adjusted feature within the outline as it was traced: it is the same by its label."""
    p = PARTS["plate"]
    hole = next(f for f in p.features if f.kind == "circle")
    assert obstacle("bore", [replace(hole, radius=hole.radius + 0.5)], bare(p.features)) is None
