"""What can be said of a trial print, and how it is written down."""

import pytest

from calib.errors import ReadingsRefused
from measure.trial.sayings import DatedSaying, Saying, clash, parse, read_file, replaced, written


@pytest.mark.parametrize(
    ("words", "meant"),
    [
        (["tight at E2", "gap 0.4 at E5", "would not go in"], ["tight at E2", "gap 0.4 at E5", "would not go in"]),
        (["tight", "at", "e2", "gap", "0,4", "mm", "at", "E5"], ["tight at E2", "gap 0.4 at E5"]),
        (["Too loose at D1 and D2."], ["loose at D1", "loose at D2"]),
        (["wouldn’t go in; rubs E3,E4"], ["would not go in", "rubs at E3", "rubs at E4"]),
        (["too long by 0.3mm at E1-E3"], ["too long 0.3 at E1 E3"]),
        (["0,5 too short at E2"], ["too short 0.5 at E2"]),
        (["fits"], ["fits"]),
    ],
)
def test_understood(words, meant):
    assert [s.words() for s in parse(words)] == meant
    assert parse(meant) == parse(words)


@pytest.mark.parametrize(
    "words", ["wobbles at E2", "tight at E2 sometimes", "gap at E2", "too long 0.3", "gap 30 at E2", "gap 0 at E1", " "]
)
def test_not_understood(words):
    with pytest.raises(ReadingsRefused) as why:
        parse([words])
    assert why.value.code == "saying"
    if "wobbles" in words:
        assert all(w in why.value.text for w in ("tight", "loose", "rubs", "gap", "too long", "too short", "fits"))


def test_contradictions_of_one_print_are_named():
    assert "contradict" in clash(parse(["tight at E2", "loose at E2"]))
    assert clash(parse(["tight at E2", "would not go in at E2", "loose at E3"])) is None


def test_the_later_saying_of_the_same_print_counts():
    said = [DatedSaying(1, s) for s in parse(["tight at E2", "fits at E3", "loose at E2"])]
    kept, words = replaced(said)
    assert [s.saying.words() for s in kept] == ["fits at E3", "loose at E2"]
    assert "tight at E2" in words[0]
    assert replaced([DatedSaying(1, Saying("tight", ("E2",))), DatedSaying(2, Saying("loose", ("E2",)))])[1] == ()


def test_the_file_may_be_mended_by_hand():
    rows = (DatedSaying(1, Saying("tight", ("E2",))), DatedSaying(2, Saying("gap", ("E5",), 0.4)))
    assert read_file("revision,said\n" + written(rows), "trials.csv") == rows
    mended = 'revision;said\n# the blue one\n1; tight at E2\n\n2; "gap 0,4 at E5"  # by feeler\n'
    assert read_file(mended, "trials.csv") == rows
    with pytest.raises(ReadingsRefused, match="line 2"):
        read_file("revision,said\n1,wobbles\n", "trials.csv")
    with pytest.raises(ReadingsRefused, match="line 1"):
        read_file("tight at E2\n", "trials.csv")
