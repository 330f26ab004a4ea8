"""trace-edges.npz: the edge points that a trace was fitted to, so that features can be fitted anew without the photo.

Of each loop k the arrays ``points_k`` (n, 2), ``normals_k`` (n, 2), ``sigma_k`` (n,) and ``sensitivity_k`` (n, s), as
`measure.edges.edge_loop.EdgeLoop` has them, in the frame of trace.json.
"""

from __future__ import annotations

import io
import zipfile
import zlib
from collections.abc import Sequence

import numpy as np

from calib.arrays import Array
from calib.errors import JobRefused
from calib.messages import Remedy
from measure.edges.edge_loop import EdgeLoop

MOST_BYTES = 200_000_000
"""All arrays together, unpacked: a million points take less."""
MOST_LOOPS, MOST_TERMS = 3000, 100
MOST_MM = 1e7
"""No point lies further off, as with the figures of the other files."""
PARTS = ("points", "normals", "sigma", "sensitivity")


def to_bytes(edges: Sequence[EdgeLoop]) -> bytes:
    """The file."""
    out = io.BytesIO()
    arrays: dict[str, Array] = {}
    for k, e in enumerate(edges):
        values = (e.points_mm, e.normals, e.sigma_mm, e.sensitivity)
        arrays |= {f"{name}_{k}": v.astype(np.float32) for name, v in zip(PARTS, values, strict=True)}
    np.savez_compressed(out, **arrays)  # type: ignore[arg-type]
    return out.getvalue()


def from_bytes(content: bytes, name: str) -> tuple[EdgeLoop, ...]:
    """The file's content.

    Raises:
        JobRefused: it is damaged.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            if sum(i.file_size for i in packed.infolist()) > MOST_BYTES or len(packed.infolist()) > 4 * MOST_LOOPS:
                raise ValueError
        with np.load(io.BytesIO(content), allow_pickle=False) as arrays:
            count = len(arrays.files) // len(PARTS)
            loops = [_loop([np.asarray(arrays[f"{part}_{k}"], float) for part in PARTS]) for k in range(count)]
    except (OSError, ValueError, KeyError, EOFError, MemoryError, RuntimeError, zipfile.BadZipFile, zlib.error) as why:
        raise JobRefused(f"{name} is damaged", "job-damaged", Remedy("run-again", "trace")) from why
    return tuple(loops)


def _loop(arrays: list[Array]) -> EdgeLoop:
    points, normals, sigma, sensitivity = arrays
    n = len(points)
    shapes = points.shape == normals.shape == (n, 2) and sigma.shape == (n,) and sensitivity.ndim == 2
    if n < 3 or not shapes or len(sensitivity) != n or sensitivity.shape[1] > MOST_TERMS:
        raise ValueError
    if not all(np.isfinite(a).all() and np.abs(a).max() < MOST_MM for a in (points, normals, sensitivity)):
        raise ValueError
    if np.isnan(sigma).any() or (sigma < 0).any():
        raise ValueError
    return EdgeLoop(points, normals, sigma, sensitivity)
