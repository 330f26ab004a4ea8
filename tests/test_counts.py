"""What `tests.counts` counts stays as low as it is; and it counts what it says."""

from __future__ import annotations

import pytest

from tests.counts import asserted_not_none, bare_by_folder, bare_figures, classes_taken_twice

BARE = {"measure/outline": 1}
"""Bare figures of each folder that has any: as counted last. To be lowered with every one that gets a name."""
NOT_NONE = 12
"""As counted last: values whose presence no type says."""


def test_bare_figures_don_t_grow() -> None:
    more = {k: n for k, n in bare_by_folder().items() if n > BARE.get(k, 0)}
    assert more == {}, "each figure that is chosen is a constant with a name, its unit and its origin"


def test_nothing_more_is_asserted_to_be_there() -> None:
    assert len(asserted_not_none()) <= NOT_NONE, asserted_not_none()


def test_class_names_are_taken_once() -> None:
    assert classes_taken_twice() == {}


@pytest.mark.parametrize(
    ("line", "found"),
    [
        ("x = 0.3 * y + 12", [0.3, 12]),
        ("x = np.clip(y, -0.35, 200.0)", [0.35, 200.0]),
        ("x = y[4:11] ** 1.5", []),  # an index and an exponent
        ("x = round(y, 12)", []),
        ("x = np.zeros((4, 3)) + 0.5 - 2.0 * y", []),  # sizes, and the plain numbers
        ("x = 100 * y / max(z, 1e-9)", []),  # per cent, and no division by nought
        ("x = math.degrees(y) % 360", []),
        ("x = {'width': 0.7}", [0.7]),
    ],
)
def test_a_figure_within_a_function_is_bare(line: str, found: list[float]) -> None:
    assert [n.value for n in bare_figures(f"def f(y, z):\n    {line}\n")] == found


def test_a_constant_a_default_value_and_a_field_are_not() -> None:
    source = "LIMIT = 0.3\nclass A:\n    x: float = 0.7\n    @cache(17)\n    def f(self, y: float = 0.2) -> None: ...\n"
    assert bare_figures(source) == []


def test_a_status_is_no_figure_where_a_page_is_served() -> None:
    source = "def f():\n    raise HTTPException(404)\n"
    assert len(bare_figures(source)) == 1
    assert bare_figures(source, page=True) == []
