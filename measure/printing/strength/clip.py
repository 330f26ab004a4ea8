"""The straight snap hook: a beam, held at its root, that springs back by the undercut while it goes in.

Beam theory as in the resin makers' design guides for snap joints: permissible undercut y = C ε l² / h with C = 0.67 for
an even beam and 1.09 for one that tapers to half its thickness; deflection force P = b h² E ε / (6 l); mating force
W = P (μ + tan α) / (1 − μ tan α). ε is the strain of the outer fibre at the root, where either beam is strained most.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from calib.words import Words

EVEN = 2 / 3
"""C of an even beam; the guides print 0.67."""
TAPERED = 16 * math.log(2) - 10
"""C of a beam that tapers to half its thickness at the tip, 2 ∫ (1 − x)² / (1 − x/2)³ dx from 0 to 1; the guides
print 1.09. Thinner tips are left out on purpose: below half, the largest strain is no longer at the root."""
SHORT = 5.0
"""A beam of fewer thicknesses in length is no beam any more: shear and the wall behind it bend too."""
FAR = 0.2
"""Beyond this share of its length a beam's tip swings out of what the formulas hold for."""


@dataclass(frozen=True, slots=True)
class Hook:
    """A snap hook.

    Attributes:
        length_mm: from the root to where the hook touches.
        thick_mm: at the root, in the direction in which it bends.
        width_mm: across that direction.
        undercut_mm: how far it has to spring back.
        tapered: to half its thickness at the tip.
        angle_deg: of the slope that it goes in on, against the direction of going in.
    """

    length_mm: float
    thick_mm: float
    width_mm: float
    undercut_mm: float
    tapered: bool = False
    angle_deg: float = 30.0


def shape(tapered: bool) -> float:
    """C, by which an even or a tapered beam answers strain with travel."""
    return TAPERED if tapered else EVEN


def strain(hook: Hook) -> float:
    """Strain at the root when the hook is bent by its undercut, 0.02 for 2 %."""
    return hook.undercut_mm * hook.thick_mm / (shape(hook.tapered) * hook.length_mm**2)


def most_undercut_mm(hook: Hook, permissible: float) -> float:
    """The largest undercut that keeps to a permissible strain."""
    return shape(hook.tapered) * permissible * hook.length_mm**2 / hook.thick_mm


def most_thick_mm(length_mm: float, undercut_mm: float, permissible: float, tapered: bool = False) -> float:
    """The largest thickness that keeps to a permissible strain."""
    return shape(tapered) * permissible * length_mm**2 / undercut_mm


def least_length_mm(thick_mm: float, undercut_mm: float, permissible: float, tapered: bool = False) -> float:
    """The shortest length that keeps to a permissible strain."""
    return math.sqrt(undercut_mm * thick_mm / (shape(tapered) * permissible))


def deflection_force_n(hook: Hook, modulus_mpa: float) -> float:
    """Force at the tip that bends the hook by its undercut, newtons.

    Args:
        hook: the hook.
        modulus_mpa: secant modulus at the hook's strain.
    """
    return hook.width_mm * hook.thick_mm**2 / 6 * modulus_mpa * strain(hook) / hook.length_mm


def mating_factor(angle_deg: float, friction: float) -> float:
    """Mating force over deflection force; infinite where friction locks the slope."""
    slope = math.tan(math.radians(angle_deg))
    left = 1 - friction * slope
    return (friction + slope) / left if left > 1e-9 else math.inf


def mating_force_n(hook: Hook, modulus_mpa: float, friction: float) -> float:
    """Force that pushes the hook in, newtons; infinite where it locks."""
    return deflection_force_n(hook, modulus_mpa) * mating_factor(hook.angle_deg, friction)


def locking_angle_deg(friction: float) -> float:
    """The angle of slope from which on no force pushes the hook in."""
    return 90 - math.degrees(math.atan(friction))


def doubts(hook: Hook) -> tuple[tuple[str, str], ...]:
    """Where the formulas no longer hold for this hook: (code, sentence)."""
    out = []
    if hook.length_mm < SHORT * hook.thick_mm:
        out.append(
            (
                "clip-short",
                Words(
                    "The hook is shorter than {short:g} times its thickness: the wall behind it bends too, "
                    "so the true strain is less than this and the true forces too.",
                    short=SHORT,
                ),
            )
        )
    if hook.undercut_mm > FAR * hook.length_mm:
        out.append(
            (
                "clip-far",
                Words(
                    "The hook bends by more than {far:g} % of its length, further than the formulas hold: "
                    "make it longer.",
                    far=FAR * 100,
                ),
            )
        )
    return tuple(out)
