"""What is told of the caliper at hand, kept for all jobs."""

from __future__ import annotations

import os
from dataclasses import asdict, replace

from calib.errors import WrongUsage
from calib.tools import at_hand
from measure.job import job, leftovers
from measure.job.lock import held
from measure.steps import Done


def caliper(**told: float | None) -> Done:
    """Say what the caliper at hand can do, after keeping what is told of it.

    Args:
        told: any of ``reach_mm``, ``inside_mm`` and ``tip_mm``; what is not told stays.

    Raises:
        WrongUsage: no caliper is like that, or it can't be kept.
    """
    news = {key: value for key, value in told.items() if value is not None}
    known = replace(at_hand.at_hand(), **news)
    if news:
        _keep(known)
    lines = (
        f"The caliper at hand reaches {known.reach_mm:g} mm. Its inside jaws go into {known.inside_mm:g} mm, the tip "
        f"of an outside jaw into {known.tip_mm:g} mm.",
        "No other reading is proposed." if news else "Tell of another one: jawline caliper --reach 200",
    )
    return Done("caliper", (at_hand.place(),) if news else (), lines, asdict(known))


def _keep(known: at_hand.AtHand) -> None:
    """The file, written beside its place first."""
    path = at_hand.place()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with held(path.parent), job.beside_place(path.parent) as beside:
            leftovers.clear_left(path.parent)
            os.replace(beside(path.name, at_hand.as_file(known)), path)
    except OSError as why:
        raise WrongUsage(f"{path} can't be written ({(why.strerror or str(why)).lower()}).", "caliper") from None
