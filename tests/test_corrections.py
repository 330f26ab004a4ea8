"""What trial prints say of an outline: only what they ask for moves, and by how much."""

import numpy as np
import pytest

from measure.geometry.dimensions import list_dimensions
from measure.geometry.rejoin import joints, tangency
from measure.trial.corrections import ALL_ROUND, corrected
from measure.trial.faces import moved_by
from measure.trial.limits import Print
from measure.trial.sayings import DatedSaying, parse
from tests.accuracy.fits import told_by_feeler, told_in_words
from tests.jobs import estimate, plate
from tests.simulated_parts import polygon
from tests.simulated_traces import features_of, trace

ROOM = 0.1


def printed(features, all_round=0.0):
    return Print({f.label: f for f in features}, all_round, ROOM)


def said(words, revision=1):
    return [DatedSaying(revision, s) for s in parse([words])]


def moves(words, known=None):
    known = known or estimate()
    found = corrected(known, said(words), {1: printed(known.features)})
    assert found
    return {m.label: m for m in found.moves}, found.estimate


def test_a_tight_face_goes_back_and_no_other_moves():
    by, after = moves("tight at E2")
    assert set(by) == {"E2"}
    assert -0.25 < by["E2"].by_mm < -0.1
    before = {f.label: f for f in plate()}
    for f in after.features:
        if f.label != "E2":
            assert moved_by(before[f.label], f) == pytest.approx(0, abs=1e-9)
    assert by["E2"].u95_mm > 0.1  # nobody said how much


def test_words_in_order_of_strength():
    size = {w: moves(f"{w} at E2")[0]["E2"].by_mm for w in ("would not go in", "tight", "rubs", "fits", "loose")}
    assert size["would not go in"] < size["tight"] < size["rubs"] < size["fits"] < size["loose"]
    assert abs(size["fits"]) < 1e-6


@pytest.mark.parametrize(
    ("words", "label", "by"),
    [
        ("gap 0.4 at E3", "E3", 0.3),  # but for the room of 0.1 that is to stay
        ("too long 0.3 at E2", "E2", -0.3),
        ("too short 0,5 at E2", "E2", 0.5),
        ("too short 0.5 at D1", "D1", -0.25),  # the hole's diameter grows by 0.5: its wall goes back
        ("gap 0.4 at D1", "D1", 0.1),  # play across, half of it on each side
        ("gap 0.3 at R1", "R1", 0.2),
        ("too long 0.2 at E5", "E5", 0.2),  # a slot that is too wide there: its wall comes in
    ],
)
def test_numbers_decide(words, label, by):
    found, after = moves(words)
    assert found[label].by_mm == pytest.approx(by, abs=0.01)
    assert found[label].u95_mm < 0.12
    for j in joints(after.features):
        if j.tangent:
            assert abs(tangency(after.features[j.first], after.features[j.second]).gap_mm) < 0.003


def test_a_size_between_two_edges():
    _, after = moves("too long 0.3 at E2 E4")
    d = next(d for d in list_dimensions(after) if set(d.features) == {"E2", "E4"})
    assert d.value_mm == pytest.approx(59.7, abs=0.01)
    assert d.u95_mm < 0.12
    known = estimate()
    askew = corrected(known, said("too long 0.3 at E1 E2"), {1: printed(known.features)})
    assert not askew
    assert "alongside" in askew.text


def test_without_a_place_the_whole_outer_boundary_goes():
    by, after = moves("would not go in")
    assert {*by} == {ALL_ROUND, "E1", "E2", "E3", "E4"}
    assert {round(m.by_mm, 6) for m in by.values()} == {round(by[ALL_ROUND].by_mm, 6)}
    assert by[ALL_ROUND].by_mm < -0.1
    assert after.features[4] == plate()[4]  # its holes don't


def test_would_not_go_in_is_said_of_the_tight_faces_where_they_are_named():
    by, _ = moves("tight at E2 would not go in gap 0.4 at E3")
    assert set(by) == {"E2", "E3"}
    assert by["E2"].by_mm < moves("tight at E2")[0]["E2"].by_mm


def test_fillets_go_along_with_their_edge():
    known = trace(
        features_of([polygon([(0, 0, 3), (40, 0, 3), (40, 25, 3), (0, 25, 3)])]), 4.0, np.random.default_rng(1)
    ).estimate
    right = next(f.label for f in known.features if f.kind == "line" and f.start[0] > 39 and f.end[0] > 39)
    by, after = moves(f"too long 0.4 at {right}", known)
    radii = [(a.radius, b.radius) for a, b in zip(known.features, after.features, strict=True) if a.kind == "arc"]
    assert all(abs(a - b) < 0.02 for a, b in radii)
    assert by[right].by_mm == pytest.approx(-0.4, abs=0.01)
    left = next(f for f in after.features if f.kind == "line" and f.start[0] < 1 and f.end[0] < 1)
    assert left.start[0] == pytest.approx(next(f for f in known.features if f.label == left.label).start[0], abs=0.01)


def test_prints_in_turn_close_in():
    """Tight as measured, loose 0.2 mm smaller: the next lies between. The latest print outweighs a contradiction."""
    known = estimate()
    first = corrected(known, said("too long 0.2 at E2"), {1: printed(known.features)})
    second = printed(first.estimate.features)
    between = corrected(known, [*said("tight at E2"), *said("loose at E2", 2)], {1: printed(known.features), 2: second})
    (move,) = between.moves
    assert -0.16 < move.by_mm < -0.04
    against = corrected(
        known, [*said("gap 0.9 at E2"), *said("tight at E2", 2)], {1: printed(known.features), 2: second}
    )
    assert against.moves[0].by_mm < -0.2
    assert "revision 1" in against.remarks[0]
    assert "later print counts" in against.remarks[0]


def test_what_cannot_be_used_is_a_reason():
    known = estimate()
    missing = corrected(known, said("tight at E9"), {1: printed(known.features)})
    assert not missing
    assert "E9" in missing.text
    unknown = corrected(known, said("tight at E2", 3), {1: printed(known.features)})
    assert "revision 3" in unknown.text


def test_stated_uncertainty_holds_the_true_face_in_19_of_20_cases():
    assert 0.92 <= told_by_feeler() <= 0.98


def test_words_alone_close_in_from_print_to_print():
    off = np.quantile(told_in_words(100), 0.9, axis=0)
    assert (np.diff(off) < 0).all()
    assert off[-1] < 0.1
