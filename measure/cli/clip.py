"""jawline clip: will a snap hook bend without breaking, and what force does it take?"""

from __future__ import annotations

from typing import Annotated, cast

import typer

from calib.errors import WrongUsage
from measure.cli import options
from measure.cli.numbers import number, one_of
from measure.cli.show import show

MATERIAL_NAMES = "pla, petg, abs, asa, nylon, pp, tpu, pc"
LENGTH_MM, THICK_MM, WIDTH_MM, UNDERCUT_MM = (1, 300), (0.1, 30), (0.1, 300), (0.01, 50)
"""Least and most that each option takes: what a bench printer makes, and the formulas of a beam hold for."""
ANGLE_DEG, STRAIN_PERCENT, MODULUS, FRICTION = (1, 89), (0.05, 100), (1, 50000), (0, 3)
"""The same; a modulus, N/mm², from foam to fibre-filled plastic."""


def _size(name: str, words: str, needed: str = "") -> typer.models.OptionInfo:
    return cast(typer.models.OptionInfo, typer.Option(name, metavar="MM", help=words + needed))


def clip(
    undercut: Annotated[str, _size("--undercut", "How far the hook has to spring back.")],
    material: Annotated[str, typer.Option("--material", help=f"What it is printed in: {MATERIAL_NAMES}.")],
    length: Annotated[str | None, _size("--length", "Root to hook. Left out, the shortest is worked out.")] = None,
    thick: Annotated[
        str | None, _size("--thick", "Thickness at the root. Left out, the thickest is worked out.")
    ] = None,
    width: Annotated[str, _size("--width", "Across the direction of bending.")] = "5",
    taper: Annotated[bool, typer.Option("--taper", help="It tapers to half its thickness at the tip.")] = False,
    angle: Annotated[str, typer.Option("--angle", metavar="DEG", help="Slope that it goes in on.")] = "30",
    layers: Annotated[str, typer.Option("--layers", metavar="along|across", help="How the layers lie.")] = "along",
    assemblies: Annotated[
        str, typer.Option("--assemblies", metavar="one|many", help="How often it is put together.")
    ] = "many",
    strain: Annotated[
        str | None, typer.Option("--strain", metavar="PERCENT", help="Your own permissible strain, one assembly.")
    ] = None,
    modulus: Annotated[str | None, typer.Option("--modulus", metavar="N/MM2", help="Your own secant modulus.")] = None,
    friction: Annotated[str | None, typer.Option("--friction", help="Your own coefficient of friction.")] = None,
    json: options.Json = False,
) -> None:
    """Judge a snap hook, or find how thick or long it may be."""
    from calib.reference.found import Caution
    from measure.printing.strength import clip_report as report
    from measure.printing.strength.clip import Hook
    from measure.printing.strength.materials import MATERIALS, Assemblies, Layers, with_own
    from measure.steps import Done

    if length is None and thick is None:
        raise WrongUsage("Give --length or --thick, or both: one of them can be worked out.", "clip-open")
    hook = Hook(
        number(length, "--length", *LENGTH_MM) if length is not None else 0.0,
        number(thick, "--thick", *THICK_MM) if thick is not None else 0.0,
        number(width, "--width", *WIDTH_MM),
        number(undercut, "--undercut", *UNDERCUT_MM),
        taper,
        number(angle, "--angle", *ANGLE_DEG, "deg"),
    )
    of = with_own(
        MATERIALS[one_of(material, "--material", tuple(MATERIALS))],
        number(strain, "--strain", *STRAIN_PERCENT, "%") / 100 if strain is not None else None,
        number(modulus, "--modulus", *MODULUS, "N/mm2") if modulus is not None else None,
        number(friction, "--friction", *FRICTION, "") if friction is not None else None,
    )
    judged = report.judge(
        hook,
        of,
        cast(Layers, one_of(layers, "--layers", ("along", "across"))),
        cast(Assemblies, one_of(assemblies, "--assemblies", ("one", "many"))),
        find="length" if length is None else "thickness" if thick is None else None,
    )
    cautions = tuple(Caution(code, text) for code, text in report.cautions(judged))
    show(Done("clip", (), report.lines(judged), report.result(judged), cautions), json)
