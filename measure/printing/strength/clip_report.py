"""A snap hook judged against its material, in words and in figures."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any, get_args

from measure.printing.light_parts import LIGHT_PARTS
from measure.printing.strength import clip
from measure.printing.strength.clip import Hook
from measure.printing.strength.materials import ACROSS, Assemblies, Layers, Material

THINNEST_MM = 0.84
"""Two extrusion widths of a 0.4 mm nozzle: a thinner beam is not printed soundly."""
TENTH_MM, HUNDREDTH_MM = 0.1, 0.01
FOR = {"one": "one assembly", "many": "many assemblies"}


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
                f"The layers lie across the beam and bending pulls them apart: only {ACROSS * 100:g} % of the strain "
                "is allowed (common practice, no source). Turn the part in the printer so that they run along it.",
            )
        )
    if j.hook.thick_mm < THINNEST_MM:
        out.append(
            (
                "clip-thin",
                f"{j.hook.thick_mm:.2f} mm is thinner than two lines of a 0.4 mm nozzle ({THINNEST_MM} mm): make it "
                "longer instead.",
            )
        )
    if j.mating_n is None:
        locks = clip.locking_angle_deg(j.material.friction)
        out.append(
            (
                "clip-locks",
                f"On a slope of {j.hook.angle_deg:g}° friction locks the hook: make the slope flatter than "
                f"{locks:.0f}°.",
            )
        )
    out.append(("guide-only", LIGHT_PARTS))
    return out


def lines(j: JudgedHook) -> tuple[str, ...]:
    """For people."""
    h, m = j.hook, j.material
    size = f"{h.length_mm:g} mm long, {h.thick_mm:.3g} mm thick at the root, {h.width_mm:g} mm wide"
    form = "tapering to half its thickness" if h.tapered else "of even thickness"
    out = [f"Snap hook of {m.words}: {size}, {form}; undercut {h.undercut_mm:g} mm, layers {j.layers} the beam."]
    if j.worked_out:
        most = "thickest" if j.worked_out == "thickness" else "shortest"
        out[0] += f" The {j.worked_out} is the {most} that bends without breaking in {FOR[j.assemblies]}."
    out.append(f"Strain at the root: {_percent(j.strain)}.")
    for a, limit in j.permissible.items():
        word = "holds" if j.holds(a) else "BREAKS or stays bent"
        out.append(f"  {FOR[a]}: {_percent(limit)} is permissible: {word} ({j.strain / limit * 100:.0f} % of it).")
    if not j.holds(j.assemblies):
        out.append(
            f"What would do for {FOR[j.assemblies]}: at most {rounded_down(j.most_thick_mm):.3g} mm thick, or at least "
            f"{-rounded_down(-j.least_length_mm):.3g} mm long, or an undercut of at most "
            f"{rounded_down(j.most_undercut_mm):.2g} mm."
        )
    into = "no force pushes it in" if j.mating_n is None else f"{j.mating_n:.2g} N push it in"
    out.append(
        f"About {j.deflection_n:.2g} N bend it, {into} (slope {h.angle_deg:g}°, friction {m.friction:g}, secant "
        f"modulus {m.modulus_mpa:g} N/mm²)."
    )
    out.append(
        f"Where the figures are from: strain, {m.strain_source}; modulus, {m.modulus_source}; friction, "
        f"{m.friction_source}."
    )
    return tuple(out)


def _percent(strain: float) -> str:
    return f"{strain * 100:.2f} %"


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
