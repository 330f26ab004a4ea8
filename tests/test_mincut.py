"""The cheapest cut against every cut there is, on grids small enough to try them all."""

import itertools

import numpy as np
import pytest

from measure.silhouette.mincut import cheapest_region

PAIRS = (((0, 1), 0.5), ((1, 0), 0.5), ((1, 1), 0.35), ((1, -1), 0.35))


def worth(inside, gain, parting):
    """Total gain less the cost of parting neighbours, as the function's docstring has it."""
    total = float((gain * inside).sum())
    h, w = inside.shape
    for (dy, dx), length in PAIRS:
        for y in range(h):
            for x in range(w):
                if 0 <= y + dy < h and 0 <= x + dx < w and inside[y, x] != inside[y + dy, x + dx]:
                    total -= length * min(parting[y, x], parting[y + dy, x + dx])
    return total


@pytest.mark.parametrize("seed", range(6))
def test_no_other_region_is_worth_more(seed):
    rng = np.random.default_rng(seed)
    gain = rng.normal(0, 0.5, (3, 4)).astype(np.float32)
    parting = rng.uniform(0.05, 1, (3, 4)).astype(np.float32)
    known = np.zeros((3, 4), np.int8)
    known[0, 0], known[2, 3] = 1, -1
    found = cheapest_region(gain, parting, known)
    best = max(
        worth(np.array(bits).reshape(3, 4), gain, parting)
        for bits in itertools.product((0, 1), repeat=12)
        if bits[0] == 1 and bits[11] == 0
    )
    assert found[0, 0] == 1
    assert found[2, 3] == 0
    assert worth(found, gain, parting) == pytest.approx(best, abs=0.01)


def test_boundary_follows_the_edge():
    parting = np.ones((9, 20), np.float32)
    parting[:, 12] = 0.02
    known = np.zeros((9, 20), np.int8)
    known[:, 0], known[:, -1] = 1, -1
    found = cheapest_region(np.zeros((9, 20), np.float32), parting, known)
    assert set(found.sum(1).tolist()) <= {12, 13}
