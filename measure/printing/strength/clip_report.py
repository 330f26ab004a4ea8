"""A snap hook judged against its material, in words and in figures."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any, get_args

from calib.words import Words, joined
from measure.printing.light_parts import LIGHT_PARTS
from measure.printing.strength import clip
from measure.printing.strength.clip import Hook
from measure.printing.strength.materials import ACROSS, Assemblies, Layers, Material

NOZZLE_MM, THINNEST_MM = 0.4, 0.84
"""The usual nozzle, and two of its extrusion widths: a thinner beam is not printed soundly."""
TENTH_MM, HUNDREDTH_MM = 0.1, 0.01
FOR = {"one": Words("one assembly"), "many": Words("many assemblies")}


@dataclass(frozen=True, slots=True)
class JudgedHook:
    """A hook and what becomes of it.

    Attributes:
        hook: as given, or with what was asked for worked out.
        worked_out: ``"thickness"`` or ``"length"``, where that was left open.
        material, layers, assemblies: what it is of, how the layers lie, how often it is put together.
        strain: at the root.
        permissible: by the number of assemblies.
        deflection_n, mating_n: forces; the mating force is None where friction locks the slope.
        most_thick_mm, least_length_mm, most_undercut_mm: what would do for these assemblies, one changed at a time.
    """

    hook: Hook
    worked_out: str | None
    material: Material
    layers: Layers
    assemblies: Assemblies
    strain: float
    permissible: dict[Assemblies, float]
    deflection_n: float
    mating_n: float | None
    most_thick_mm: float
    least_length_mm: float
    most_undercut_mm: float

    def holds(self, assemblies: Assemblies) -> bool:
        """Does it bend that often without breaking?"""
        return self.strain <= self.permissible[assemblies] * (1 + 1e-9)


def judge(
    hook: Hook,
    material: Material,
    layers: Layers = "along",
    assemblies: Assemblies = "many",
    *,
    find: str | None = None,
) -> JudgedHook:
    """Work out strain and forces.

    Args:
        hook: the hook; the size to be found is not looked at.
        material: what it is of.
        layers: whether the layers run along the beam or lie across it.
        assemblies: what the sizes that would do are for.
        find: ``"thickness"`` or ``"length"`` to be worked out: the thickest, rounded down, or the shortest, rounded up,
            to a tenth of a millimetre.
    """
    permissible: dict[Assemblies, float] = {a: material.permissible(a, layers) for a in get_args(Assemblies)}
    limit = permissible[assemblies]
    if find == "thickness":
        thick = clip.most_thick_mm(hook.length_mm, hook.undercut_mm, limit, hook.tapered)
        hook = replace(hook, thick_mm=rounded_down(thick))
    elif find == "length":
        length = clip.least_length_mm(hook.thick_mm, hook.undercut_mm, limit, hook.tapered)
        hook = replace(hook, length_mm=-rounded_down(-length))
    mating = clip.mating_force_n(hook, material.modulus_mpa, material.friction)
    return JudgedHook(
        hook,
        find,
        material,
        layers,
        assemblies,
        clip.strain(hook),
        permissible,
        clip.deflection_force_n(hook, material.modulus_mpa),
        mating if math.isfinite(mating) else None,
        clip.most_thick_mm(hook.length_mm, hook.undercut_mm, limit, hook.tapered),
        clip.least_length_mm(hook.thick_mm, hook.undercut_mm, limit, hook.tapered),
        clip.most_undercut_mm(hook, limit),
    )


def rounded_down(value: float) -> float:
    """To tenths of a millimetre; below half a millimetre to hundredths, so that nothing becomes nothing."""
    step = TENTH_MM if abs(value) >= 0.5 else HUNDREDTH_MM
    return math.floor(value / step + 1e-9) * step


def cautions(j: JudgedHook) -> list[tuple[str, str]]:
    """What a person should know although the figures hold: (code, sentence)."""
    out = list(clip.doubts(j.hook))
    if j.layers == "across":
        out.append(
            (
                "clip-layers",
                Words(
                    "The layers lie across the beam and bending pulls them apart: only {share:.0%} of the strain is "
                    "allowed (common practice, no source). Turn the part in the printer so that they run along it.",
                    share=ACROSS,
                ),
            )
        )
    if j.hook.thick_mm < THINNEST_MM:
        out.append(
            (
                "clip-thin",
                Words(
                    "{thick_mm:.2f} mm is thinner than two lines of a {nozzle_mm:g} mm nozzle ({least_mm:.2f} mm): "
                    "make it longer instead.",
                    thick_mm=j.hook.thick_mm,
                    nozzle_mm=NOZZLE_MM,
                    least_mm=THINNEST_MM,
                ),
            )
        )
    if j.mating_n is None:
        locks = clip.locking_angle_deg(j.material.friction)
        out.append(
            (
                "clip-locks",
                Words(
                    "On a slope of {angle_deg:g}° friction locks the hook: make the slope flatter than {locks:.0f}°.",
                    angle_deg=j.hook.angle_deg,
                    locks=locks,
                ),
            )
        )
    out.append(("guide-only", LIGHT_PARTS))
    return out


def lines(j: JudgedHook) -> tuple[str, ...]:
    """For people."""
    h, m = j.hook, j.material
    size = Words(
        "{length_mm:g} mm long, {thick_mm:.3g} mm thick at the root, {width_mm:g} mm wide",
        length_mm=h.length_mm,
        thick_mm=h.thick_mm,
        width_mm=h.width_mm,
    )
    hook = Words(
        "Snap hook of {material}: {size}, {form}; undercut {undercut_mm:g} mm, {layers}.",
        material=m.words,
        size=size,
        form=Words("tapering to half its thickness") if h.tapered else Words("of even thickness"),
        undercut_mm=h.undercut_mm,
        layers=Words("layers along the beam") if j.layers == "along" else Words("layers across the beam"),
    )
    often = FOR[j.assemblies]
    worked_out = ""
    if j.worked_out == "thickness":
        worked_out = Words("The thickness is the thickest that bends without breaking in {often}.", often=often)
    elif j.worked_out:
        worked_out = Words("The length is the shortest that bends without breaking in {often}.", often=often)
    out = [joined(" ", (hook, worked_out)), Words("Strain at the root: {strain:.2%}.", strain=j.strain)]
    for a, limit in j.permissible.items():
        out.append(
            Words(
                "  {often}: {limit:.2%} is permissible: {verdict} ({share:.0%} of it).",
                often=FOR[a],
                limit=limit,
                verdict=Words("holds") if j.holds(a) else Words("BREAKS or stays bent"),
                share=j.strain / limit,
            )
        )
    if not j.holds(j.assemblies):
        out.append(
            Words(
                "What would do for {often}: at most {thick_mm:.3g} mm thick, or at least {length_mm:.3g} mm long, or "
                "an undercut of at most {undercut_mm:.2g} mm.",
                often=often,
                thick_mm=rounded_down(j.most_thick_mm),
                length_mm=-rounded_down(-j.least_length_mm),
                undercut_mm=rounded_down(j.most_undercut_mm),
            )
        )
    locked = j.mating_n is None
    out.append(
        Words(
            "About {bend:.2g} N bend it, {into} (slope {angle_deg:g}°, friction {friction:g}, secant modulus "
            "{modulus:g} N/mm²).",
            bend=j.deflection_n,
            into=Words("no force pushes it in") if locked else Words("{force:.2g} N push it in", force=j.mating_n),
            angle_deg=h.angle_deg,
            friction=m.friction,
            modulus=m.modulus_mpa,
        )
    )
    out.append(
        Words(
            "Where the figures are from: strain, {strain}; modulus, {modulus}; friction, {friction}.",
            strain=m.strain_source,
            modulus=m.modulus_source,
            friction=m.friction_source,
        )
    )
    return tuple(out)


def result(j: JudgedHook) -> dict[str, Any]:
    """For scripts: plain JSON values."""
    h, m = j.hook, j.material
    return {
        "hook": {
            "length_mm": round(h.length_mm, 4),
            "thick_mm": round(h.thick_mm, 4),
            "width_mm": h.width_mm,
            "undercut_mm": h.undercut_mm,
            "tapered": h.tapered,
            "angle_deg": h.angle_deg,
        },
        "worked_out": j.worked_out,
        "material": {
            "name": m.name,
            "modulus_mpa": m.modulus_mpa,
            "friction": m.friction,
            "strain_source": m.strain_source,
            "modulus_source": m.modulus_source,
            "friction_source": m.friction_source,
        },
        "layers": j.layers,
        "assemblies": j.assemblies,
        "strain": round(j.strain, 6),
        "permissible": {a: round(s, 6) for a, s in j.permissible.items()},
        "holds": {a: j.holds(a) for a in j.permissible},
        "deflection_force_n": round(j.deflection_n, 4),
        "mating_force_n": None if j.mating_n is None else round(j.mating_n, 4),
        "most_thick_mm": round(j.most_thick_mm, 4),
        "least_length_mm": round(j.least_length_mm, 4),
        "most_undercut_mm": round(j.most_undercut_mm, 4),
        "cautions": [{"code": code, "text": text} for code, text in cautions(j)],
    }
