"""Which explanation is taken: a reading, a tool's zero, a feature, or the photo as a whole."""

import numpy as np
import pytest

from measure.adjustment.judging import LOOSER, Judgement, ReadingSet, judge


def bench(observed: list[float], photo_sd: float = 0.04, tools: list[str] | None = None) -> Judgement:
    """Readings each of a size of its own that the photo knows to `photo_sd`."""
    n = len(observed)
    b = ReadingSet(
        design=np.eye(n),
        observed=np.array(observed),
        covariance=np.eye(n) * 0.02**2,
        tools=tools or ["caliper"] * n,
        zeroed=[True] * n,
        keys=list(range(n)),
        is_thickness=[False] * n,
        features=n,
    )
    return judge(b, [(f, np.eye(n) * (f * photo_sd) ** 2) for f in LOOSER])


def test_nothing_wrong() -> None:
    j = bench([0.03, -0.05, 0.01, 0.0, 0.04])
    assert (j.aside, j.zeros, j.misplaced, j.looser) == ((), (), (), 1.0)


def test_no_readings() -> None:
    assert bench([]) == Judgement()


@pytest.mark.parametrize("error", [0.3, -0.5, 5.0, -23.0, 400.0])
def test_one_reading_wrong(error: float) -> None:
    j = bench([0.03, error, -0.02, 0.0, 0.04])
    assert j.aside == (1,)
    assert j.zeros == ()


def test_two_readings_wrong_in_different_ways() -> None:
    j = bench([0.03, 23.0, -0.02, -0.6, 0.04, 0.0])
    assert sorted(j.aside) == [1, 3]
    assert j.zeros == ()


@pytest.mark.parametrize("n", [2, 3, 8])
def test_all_share_an_offset(n: int) -> None:
    rng = np.random.default_rng(n)
    j = bench([0.3 + float(e) for e in rng.normal(0, 0.04, n)])
    (zero,) = j.zeros
    assert zero.rows == tuple(range(n))
    assert zero.offset_mm == pytest.approx(0.3, abs=4 * zero.u_mm)
    assert j.aside == ()


def test_one_tool_of_two() -> None:
    tools = ["caliper", "vernier"] * 4
    j = bench([0.01, -0.29, 0.02, -0.33, -0.03, -0.3, 0.0, -0.31], tools=tools)
    (zero,) = j.zeros
    assert (zero.tool, zero.rows) == ("vernier", (1, 3, 5, 7))


def test_a_zero_error_with_one_misreading_among_them() -> None:
    j = bench([0.3, 0.31, 12.0, 0.28, 0.33, 0.27])
    assert [z.tool for z in j.zeros] == ["caliper"]


def test_one_alone_is_no_zero_error() -> None:
    assert bench([0.3]).aside == (0,)


def test_small_common_offsets_are_not_called_zero_errors() -> None:
    assert bench([0.08] * 6, photo_sd=0.02).zeros == ()


def test_a_photo_that_is_worse_than_it_says() -> None:
    """Scatter of three times what is stated, with no single culprit: the photo, not the readings."""
    rng = np.random.default_rng(4)
    j = bench([float(e) for e in rng.normal(0, 0.12, 16)])
    assert j.looser >= 1.6
    assert len(j.aside) <= 1


def test_one_feature_behind_two_readings() -> None:
    """Two readings over the same edge, both 0.4 off, and two that are fine."""
    design = np.array([[1.0, 0, 0, 0], [1.0, 1.0, 0, 0], [0, 0, 1.0, 0], [0, 0, 0, 1.0]])
    b = ReadingSet(
        design=design,
        observed=np.array([0.4, 0.42, 0.0, -0.02]),
        covariance=np.eye(4) * 0.02**2,
        tools=["caliper"] * 4,
        zeroed=[True] * 4,
        keys=list(range(4)),
        is_thickness=[False] * 4,
        features=4,
    )
    j = judge(b, [(f, design @ design.T * (f * 0.03) ** 2) for f in LOOSER])
    assert j.misplaced == (0,)
    assert j.aside == ()


def test_repeats_of_one_reading_are_one_witness() -> None:
    """The same wrong reading three times is neither a zero error nor a fault of the photo."""
    b = ReadingSet(
        design=np.array([[1.0, 0], [1.0, 0], [1.0, 0], [0, 1.0]]),
        observed=np.array([0.5, 0.51, 0.49, 0.0]),
        covariance=np.eye(4) * 0.02**2,
        tools=["caliper"] * 4,
        zeroed=[True] * 4,
        keys=[0, 0, 0, 1],
        is_thickness=[False] * 4,
        features=2,
    )
    j = judge(b, [(f, b.design @ b.design.T * (f * 0.03) ** 2) for f in LOOSER])
    assert j.zeros == ()
    assert j.misplaced == ()
    assert sorted(j.aside) == [0, 1, 2]


def test_how_large_one_error_is_says_nothing_about_the_photo() -> None:
    rest = [0.05, -0.06, 0.01, 0.07, -0.02, 0.03]
    factors = {bench([e, *rest]).looser for e in (0.5, 5.0, 27.0, 600.0)}
    assert factors == {1.0}
