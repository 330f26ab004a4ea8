"""A snap hook by what is told of it: will it bend without breaking, or how thick or long may it be."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import cast

from calib.errors import WrongUsage
from calib.reference.found import Caution
from calib.words import Words
from measure.printing.strength import clip_report as report
from measure.printing.strength.clip import Hook
from measure.printing.strength.materials import MATERIALS, Assemblies, Layers, with_own
from measure.steps import Done
from measure.steps.numbers import number, one_of

LIMITS: dict[str, tuple[float, float, str]] = {
    "undercut": (0.01, 50, "mm"),
    "length": (1, 300, "mm"),
    "thick": (0.1, 30, "mm"),
    "width": (0.1, 300, "mm"),
    "angle": (1, 89, "deg"),
    "strain": (0.05, 100, "%"),
    "modulus": (1, 50000, "N/mm2"),
    "friction": (0, 3, ""),
}
"""Least and most of each figure: what a bench printer makes, and the formulas of a beam hold for; a modulus from
foam to fibre-filled plastic."""
USUAL = {"width": "5", "angle": "30", "layers": "along", "assemblies": "many"}
"""What is taken where nobody says otherwise."""


def clip(told: Mapping[str, str], taper: bool, called: Callable[[str], str]) -> Done:
    """Judge a snap hook, or find how thick or long it may be.

    Args:
        told: by the keys of `LIMITS`, and ``material``, ``layers`` and ``assemblies``, as written.
        taper: whether it tapers to half its thickness at the tip.
        called: what a key is called where people write it, for messages.

    Raises:
        WrongUsage: something is missing, no number, or beyond all hooks.
    """
    known = {**USUAL, **told}

    def figure(key: str) -> float | None:
        low, high, unit = LIMITS[key]
        return number(known[key], called(key), low, high, unit) if key in known else None

    def word(key: str, choices: tuple[str, ...]) -> str:
        return one_of(known.get(key, ""), called(key), choices)

    sizes = {key: figure(key) for key in LIMITS}
    if sizes["undercut"] is None:
        raise WrongUsage(
            Words("{called} is missing: how far the hook has to spring back.", called=called("undercut")), "clip-open"
        )
    if sizes["length"] is None and sizes["thick"] is None:
        text = Words(
            "{called} or {called2} is missing: give one, and the other is worked out.",
            called=called("length"),
            called2=called("thick"),
        )
        raise WrongUsage(text, "clip-open")
    hook = Hook(
        sizes["length"] or 0.0,
        sizes["thick"] or 0.0,
        sizes["width"] or 0.0,
        sizes["undercut"],
        taper,
        sizes["angle"] or 0.0,
    )
    percent = sizes["strain"]
    of = with_own(
        MATERIALS[word("material", tuple(MATERIALS))],
        None if percent is None else percent / 100,
        sizes["modulus"],
        sizes["friction"],
    )
    judged = report.judge(
        hook,
        of,
        cast(Layers, word("layers", ("along", "across"))),
        cast(Assemblies, word("assemblies", ("one", "many"))),
        find="length" if sizes["length"] is None else "thickness" if sizes["thick"] is None else None,
    )
    cautions = tuple(Caution(code, text) for code, text in report.cautions(judged))
    return Done("clip", (), report.lines(judged), report.result(judged), cautions)
