"""A first cut of a loop into lines and arcs, by dynamic programming over all places where it could be cut.

The cut of least description length: squared distances over the noise that was measured, and the logarithm of the
number of independent points for each parameter (G. Schwarz, "Estimating the dimension of a model", 1978; the exact
minimum by R. Bellman and R. Roth, "Curve fitting by segmented straight lines", 1969). It leans towards too many
pieces; what it cuts in two is put together again where whole chains of pieces are weighed against each other.
"""

from __future__ import annotations

import numpy as np

from calib.arrays import Array
from measure.outline.moments import RunningSums
from measure.outline.pieces import Index, Mask

MOST_KNOTS = 260
"""Places where a loop may be cut in the first cut; with more points, only every second, third… is one."""


class CutCosts:
    """Costs of every stretch between two knots, kept so that the loop can be cut again at another noise.

    Args:
        sums: of the loop, with weights 1 / variance.
    """

    def __init__(self, sums: RunningSums) -> None:
        n = len(sums.points)
        stride = max(1, -(-n // MOST_KNOTS))
        self.knots: Index = np.unique(np.append(np.arange(0, n, stride), n))
        m = len(self.knots)
        i, j = np.triu_indices(m, 1)
        f = sums.fits(self.knots[i], self.knots[j])
        count = self.knots[j] - self.knots[i]
        self._line = np.full((m, m), np.inf)
        self._arc = np.full((m, m), np.inf)
        self._line[i, j] = np.where(count >= 2, f.weight * f.line_ms, np.inf)
        self._arc[i, j] = np.where(count >= 4, f.weight * f.circle_ms, np.inf)

    def cut(self, scale: float, price: float, *, arcs: bool = True) -> tuple[Index, Mask]:
        """The cheapest cut.

        Args:
            scale: what a squared distance counts: 1 over the noise factor squared and the points that one
                independent point stands for.
            price: of one parameter.
            arcs: whether there are any.

        Returns:
            first: (k,) index of each piece's first point, beginning with 0.
            arc: (k,) which pieces are arcs.
        """
        line, arc = self._line * scale + 2 * price, self._arc * scale + 3 * price
        cost = np.minimum(line, arc) if arcs else line
        m = len(self.knots)
        best, came = np.zeros(m), np.zeros(m, np.intp)
        for j in range(1, m):
            total = best[:j] + cost[:j, j]
            came[j] = total.argmin()
            best[j] = total[came[j]]
        ends = [m - 1]
        while ends[-1] > 0:
            ends.append(int(came[ends[-1]]))
        at = np.array(ends[::-1])
        return self.knots[at[:-1]], arcs & (arc[at[:-1], at[1:]] < line[at[:-1], at[1:]])


def noise_beforehand(points: Array, sigma_mm: Array, span: int = 7) -> Array:
    """How much larger than stated the noise is along a loop, seen from short parabolas before anything is known.

    Args:
        points: (n, 2) of a closed loop, mm.
        sigma_mm: (n,) stated standard deviation along the normal, infinite where there is no edge.
        span: points in a parabola.

    Returns:
        (n,) estimates of the squared noise factor, one for each window that is whole; each has span - 3 degrees of
        freedom, and those that straddle a corner are far too large: take a median.
    """
    n = len(points)
    if n < span + 3:
        return np.empty(0)
    at = (np.arange(n)[:, None] + np.arange(span)) % n
    whole = np.isfinite(sigma_mm)[at].all(1)
    p = points[at[whole]]
    chord = p[:, -1] - p[:, 0]
    length = np.hypot(chord[:, 0], chord[:, 1])
    keep = length > 1e-6
    p, chord, length = p[keep], chord[keep], length[keep]
    u = chord / length[:, None]
    d = p - p[:, :1]
    x, y = (d * u[:, None]).sum(2), d[..., 1] * u[:, :1] - d[..., 0] * u[:, 1:]
    x = x / length[:, None] * 2 - 1
    basis = np.stack([np.ones_like(x), x, x * x], 2)
    q, _ = np.linalg.qr(basis)
    rest = y - np.einsum("kij,kj->ki", q, np.einsum("kij,ki->kj", q, y))
    variance = sigma_mm[at[whole][keep]] ** 2
    return np.asarray((rest**2 / variance).sum(1) / (span - 3))
