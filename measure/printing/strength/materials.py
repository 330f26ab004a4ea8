"""What printed plastics stand when a hook of them is bent.

Figures for printed parts scatter by a factor of two between spools and printers, so each comes with where it is from
and can be replaced on the command line. Three sources:

- The resin makers' design guides for snap joints give about 4 % for moulded polycarbonate, 2.5 % for ABS, 6 % for
  conditioned nylon and 8 % for polypropylene, in one assembly, and 60 % of that for many (from memory of their tables;
  friction likewise, on the same plastic).
- A sheet of a PETG filament gives 5.1 % of yield strain and 1.7 GPa; a third of the yield strain is taken.
- Common practice, no source: everything else, on the cautious side of what benches use.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Literal

from calib.words import Words

Layers = Literal["along", "across"]
Assemblies = Literal["one", "many"]

ACROSS = 0.5
"""Share of the permissible strain that is left when the layers lie across the beam, so that bending pulls them apart.
Common practice, no source."""
MANY = 0.6
"""Share of the permissible strain for a hook that is put together many times (resin makers' guides)."""
PRACTICE = Words("common practice, no source")
GUIDE = Words("resin makers' snap joint guides, from memory")


@dataclass(frozen=True, slots=True)
class Material:
    """A printed plastic.

    Attributes:
        name: as on the command line.
        words: as in a sentence.
        strain_one, strain_many: permissible strain at the outer fibre for one assembly and for many, 0.02 for 2 %.
        modulus_mpa: secant modulus at about that strain, N/mm².
        friction: coefficient against the same plastic.
        strain_source, modulus_source, friction_source: where the figures are from.
    """

    name: str
    words: str
    strain_one: float
    strain_many: float
    modulus_mpa: float
    friction: float
    strain_source: str = PRACTICE
    modulus_source: str = PRACTICE
    friction_source: str = PRACTICE

    def permissible(self, assemblies: Assemblies, layers: Layers) -> float:
        """Permissible strain, less where the layers lie across the beam."""
        strain = self.strain_one if assemblies == "one" else self.strain_many
        return strain * (ACROSS if layers == "across" else 1.0)


def _plastic(name: str, words: str, strain_one: float, modulus_mpa: float, friction: float, **sources: str) -> Material:
    return Material(name, words, strain_one, MANY * strain_one, modulus_mpa, friction, **sources)


_TABLE = (
    replace(_plastic("pla", "PLA", 0.010, 2800, 0.5), strain_many=0.005),  # brittle: half, not 60 %
    _plastic(
        "petg", "PETG", 0.017, 1600, 0.5, strain_source=Words("a filament's data sheet, a third of the yield strain")
    ),
    _plastic("abs", "ABS", 0.025, 1700, 0.7, strain_source=GUIDE, friction_source=GUIDE),
    _plastic("asa", "ASA", 0.025, 1700, 0.7),
    _plastic("nylon", Words("nylon, as damp as the room"), 0.050, 900, 0.5, friction_source=GUIDE),
    _plastic("pp", "polypropylene", 0.060, 700, 0.4, friction_source=GUIDE),
    _plastic("tpu", Words("TPU, about 95 Shore A"), 0.200, 30, 0.8),
    _plastic("pc", "polycarbonate", 0.035, 1800, 0.6, modulus_source=GUIDE, friction_source=GUIDE),
)
MATERIALS: Mapping[str, Material] = MappingProxyType({m.name: m for m in _TABLE})


def with_own(
    material: Material, strain: float | None = None, modulus_mpa: float | None = None, friction: float | None = None
) -> Material:
    """The material with the user's own figures in place of the table's.

    Args:
        material: from the table.
        strain: permissible strain for one assembly; many assemblies get the same share of it as before.
        modulus_mpa: secant modulus.
        friction: coefficient.
    """
    own = Words("your own figure")
    if strain is not None:
        many = strain * material.strain_many / material.strain_one
        material = replace(material, strain_one=strain, strain_many=many, strain_source=own)
    if modulus_mpa is not None:
        material = replace(material, modulus_mpa=modulus_mpa, modulus_source=own)
    if friction is not None:
        material = replace(material, friction=friction, friction_source=own)
    return material
