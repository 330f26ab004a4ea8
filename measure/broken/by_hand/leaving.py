"""A break that is marked and stays open: a free line along the fracture, of which nothing is measured."""

from __future__ import annotations

import numpy as np

from measure.broken.breaks import Break, outer
from measure.broken.completion.assembling import fresh_label
from measure.broken.completion.outcome import Completed
from measure.geometry.features import PARAMETERS, Curve, Estimate, flatten


def left_open(estimate: Estimate, which: Break) -> Completed:
    """The outline with the features of a break made one free line along the fracture as it was seen.

    Args:
        estimate: as seen, or with other breaks filled already.
        which: the break.
    """
    loop = outer(estimate.features)
    torn = [loop[i] for i in which.members()]
    points = np.concatenate([flatten(torn[0]), *(flatten(f)[1:] for f in torn[1:])])
    as_it_is = len(torn) == 1 and torn[0].kind == "curve"
    label = torn[0].label if as_it_is else fresh_label("C", [f.label for f in estimate.features])
    curve = Curve(label, 0, tuple((float(x), float(y)) for x, y in points))
    gone = {f.label for f in torn}
    ring = [f for f in loop if f.label not in gone]
    at = sum(f.label not in gone for f in loop[: which.first])
    holes = [f for f in estimate.features if f.loop > 0]
    stays = np.concatenate([np.full(PARAMETERS[f.kind], f.label not in gone) for f in estimate.features])
    whole = Estimate(
        (*ring[:at], curve, *ring[at:], *holes),
        estimate.white[np.ix_(stays, stays)],
        estimate.shared_names,
        estimate.sensitivity[stays],
        estimate.shared,
    )
    return Completed(whole, "open", which, (curve,), (curve.label,), (), tuple(f.label for f in torn))
