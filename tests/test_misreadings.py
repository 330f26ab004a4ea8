"""The likely slip behind a wrong reading."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.tools.jaws import TOOLS
from measure.adjustment.misreadings import OtherSize, likely_cause, meant_numbers
from measure.readings.readings import Reading, make_reading
from tests.simulated_traces import swapped

CALIPER = TOOLS["caliper"]


def reading(value: str, kind: str = "width", unit: str = "mm") -> Reading:
    labels = {"width": ["E1", "E3"], "gap": ["E1", "E3"], "bore": ["D1"], "thickness": []}[kind]
    return make_reading(kind, labels, value, unit)


def other(value: float, measured: bool = True, u: float = 0.04, n: int = 5) -> OtherSize:
    return OtherSize("width", (f"E{n}", "E7"), value, u, measured)


def likely(r: Reading, expected: float, others: list[OtherSize] | None = None, u: float = 0.05) -> tuple[str, str]:
    cause = likely_cause(r, CALIPER, expected, u, others if others is not None else [other(70.0), other(55.0, n=6)])
    assert 0 < cause.probability <= 1
    return cause.likely, cause.reason


def test_inches_written_as_millimetres_and_the_reverse() -> None:
    said, why = likely(reading("0.957"), 24.31)
    assert said == "unit"
    assert "inches" in why
    said, why = likely(reading("24.31", unit="in"), 24.31)
    assert said == "unit"
    assert "millimetres" in why


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        ("42.31", 24.31),
        ("24.13", 24.31),
        ("2.431", 24.31),
        ("243.1", 24.31),
        ("82.01", 28.01),
        ("0.5", 5.0),
        ("1.98", 10.98),
    ],
)
def test_digits(written: str, expected: float) -> None:
    # 24.13 for 24.31 is only 0.18 off: that could be anything, and is told so
    assert likely(reading(written), expected)[0] == ("digits" if abs(float(written) - expected) > 0.3 else "other")


def test_digits_names_the_number_that_was_meant() -> None:
    assert "24.31 for 42.31" in likely(reading("42.31"), 24.29)[1]


def test_another_feature_is_named() -> None:
    said, why = likely(reading("18.02"), 24.31, [other(18.0), other(55.0, n=6)])
    assert said == "feature"
    assert "width E5 E7" in why


def test_an_error_without_a_name() -> None:
    for kind, value, word in (("width", "24.81", "burr"), ("gap", "23.8", "widest"), ("bore", "3.7", "small hole")):
        expected = {"width": 24.31, "gap": 24.31, "bore": 4.0}[kind]
        said, why = likely(reading(value, kind), expected)
        assert said == "other"
        assert word in why


def test_a_chance_fit_among_many_sizes_does_not_make_it_the_feature() -> None:
    """Half a millimetre off, and one of forty sizes that nobody measured happens to be near."""
    crowd = [other(10.0 + i, measured=False, n=i) for i in range(40)] + [other(24.80, measured=False, n=99)]
    assert likely(reading("24.81"), 24.31, crowd)[0] == "other"
    # The same fit to the only other size that was measured, far from what is expected, is no chance.
    assert likely(reading("31.81"), 24.31, [other(31.80), *crowd[:40]])[0] == "feature"


@given(st.decimals(min_value="1.0", max_value="99.99", places=2))
def test_every_swap_and_slip_can_be_undone(value: object) -> None:
    v = float(str(value))
    spoiled = swapped(v)
    meant = meant_numbers(repr(round(spoiled, 2)), 2)
    assert any(abs(float(m) - v) < 1e-9 for m in meant)
    assert sum(meant.values()) == pytest.approx(1)


def test_a_fraction_has_no_digits_to_swap() -> None:
    assert meant_numbers("15/16", 3) == {}
