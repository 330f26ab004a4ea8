"""What a person asks for as reference, and what is refused; invented sizes."""

import pytest

from calib.errors import WrongUsage
from calib.reference.wanted import ANY, LONG, Wanted, in_words, wanted


@pytest.mark.parametrize(
    ("words", "tolerance", "meant"),
    [
        (None, None, ANY),
        (" ID-1 ", None, Wanted("id-1")),
        ("card", None, Wanted("id-1")),
        ("A4", None, Wanted("a4")),
        ("letter", None, Wanted("letter")),
        ("120x80", None, Wanted("120x80", (120.0, 80.0, 0.0), 0.1)),
        ("80 × 120,5 mm", "0.05", Wanted("120.5x80", (120.5, 80.0, 0.0), 0.05)),
        ("120x80x3", "0,2 mm", Wanted("120x80", (120.0, 80.0, 3.0), 0.2)),
    ],
)
def test_what_is_meant(words: str | None, tolerance: str | None, meant: Wanted) -> None:
    assert wanted(words, tolerance) == meant


@pytest.mark.parametrize(
    ("words", "tolerance"),
    [
        ("thumb", None),
        ("10x5", None),
        ("120x80x40", None),
        ("1.2.3x80", None),
        ("a4", "0.1"),
        (None, "0.1"),
        ("120x80", "5"),
        ("120x80", "0"),
        ("120x80", "narrow"),
        ("120x80", "nan"),
    ],
)
def test_what_is_refused(words: str | None, tolerance: str | None) -> None:
    with pytest.raises(WrongUsage) as refused:
        wanted(words, tolerance)
    assert refused.value.code == "reference"
    assert refused.value.text.endswith(".")


def test_names_in_words() -> None:
    assert in_words("id-1") == "card"
    assert in_words("id-1+a4") == "card and A4 sheet"
    assert in_words("id-1", LONG) == "bank-size card (ID-1)"
    assert in_words("120x80") == "rectangle 120x80"
