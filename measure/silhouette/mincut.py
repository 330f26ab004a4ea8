"""The cheapest cut round a region on a pixel grid.

Y. Boykov and M.-P. Jolly, "Interactive graph cuts for optimal boundary and region segmentation of objects in N-D
images" (2001): every pixel says how much it would rather be inside than outside, neighbours pay for being parted, and
a maximum flow finds the parting of least cost exactly.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_SCALE = 2000.0  # flows are whole numbers
_BESIDE, _DIAGONAL = 0.5, 0.35
"""Length of boundary that parts two pixels beside each other, and two across a corner: with all eight neighbours
counted a straight boundary costs about its length whichever way it runs (Boykov and Kolmogorov 2003, from memory:
weights as 1 to 1/√2)."""


def cheapest_region(
    gain: NDArray[np.float32], parting: NDArray[np.float32], known: NDArray[np.int8]
) -> NDArray[np.uint8]:
    """Region whose total gain less the cost of its boundary is greatest.

    Args:
        gain: (h, w) what it is worth to have a pixel inside (negative: outside), in units of a parting that
            costs 1 per pixel of boundary.
        parting: (h, w) cost of a boundary through a pixel, 0…1: small where there is an edge.
        known: (h, w) +1 surely inside, −1 surely outside, 0 to be decided.

    Returns:
        (h, w) 1 inside, 0 outside.
    """
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import breadth_first_order, maximum_flow

    h, w = gain.shape
    open_ = np.flatnonzero(known.ravel() == 0)
    inside, outside = len(open_), len(open_) + 1
    node = np.where(known.ravel() > 0, inside, outside).astype(np.int32)
    node[open_] = np.arange(len(open_), dtype=np.int32)
    node = node.reshape(h, w)
    first, second, cost = [], [], []
    for a, b, length in (
        (np.s_[:, :-1], np.s_[:, 1:], _BESIDE),
        (np.s_[:-1], np.s_[1:], _BESIDE),
        (np.s_[:-1, :-1], np.s_[1:, 1:], _DIAGONAL),
        (np.s_[:-1, 1:], np.s_[1:, :-1], _DIAGONAL),
    ):
        m, n = node[a], node[b]
        keep = (m != n) & ((m < inside) | (n < inside))
        first.append(m[keep])
        second.append(n[keep])
        cost.append(np.minimum(parting[a][keep], parting[b][keep]) * length)
    m, n, c = np.concatenate(first), np.concatenate(second), np.concatenate(cost)
    own = gain.ravel()[open_]
    like, dislike = np.flatnonzero(own > 0), np.flatnonzero(own < 0)
    tail = np.concatenate([m, n, np.full(len(like), inside), dislike])
    head = np.concatenate([n, m, like, np.full(len(dislike), outside)])
    room = np.concatenate([c, c, own[like], -own[dislike]])
    useful = (tail != outside) & (head != inside)
    flows = np.maximum(np.rint(room[useful] * _SCALE), 1).astype(np.int32)
    size = len(open_) + 2
    graph = csr_array((flows, (tail[useful], head[useful])), shape=(size, size))
    rest = graph - maximum_flow(graph, inside, outside).flow
    rest.data = np.maximum(rest.data, 0)
    rest.eliminate_zeros()
    reached = np.zeros(size, np.uint8)
    reached[breadth_first_order(rest, inside, return_predecessors=False)] = 1
    reached[inside], reached[outside] = 1, 0
    return np.asarray(reached[node], np.uint8)
