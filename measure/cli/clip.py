"""jawline clip: will a snap hook bend without breaking, and what force does it take?"""

from __future__ import annotations

from typing import Annotated, cast

import typer

from measure.cli import options
from measure.cli.show import show

MATERIAL_NAMES = "pla, petg, abs, asa, nylon, pp, tpu, pc"


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
    from measure.steps import clip as step

    told = {
        "undercut": undercut,
        "material": material,
        "length": length,
        "thick": thick,
        "width": width,
        "angle": angle,
        "layers": layers,
        "assemblies": assemblies,
        "strain": strain,
        "modulus": modulus,
        "friction": friction,
    }
    show(step.clip({k: v for k, v in told.items() if v is not None}, taper, lambda key: f"--{key}"), json)
