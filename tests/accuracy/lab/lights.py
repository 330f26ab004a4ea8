"""Light as homes have it: lamps (flat and square, turned towards the table) under a sky that shines from everywhere."""

from __future__ import annotations

from dataclasses import dataclass, replace

Tint = tuple[float, float, float]
DAY, WHITE, BULB = (0.96, 0.98, 1.0), (1.0, 0.97, 0.9), (1.0, 0.88, 0.70)


@dataclass(frozen=True)
class Lamp:
    """A square lamp: where (mm), its side (mm), how strongly it lights the table's middle, near or far."""

    at: tuple[float, float, float]
    side: float
    power: float
    tint: Tint = WHITE

    @property
    def radiance(self) -> list[float]:
        """Of its surface, red, green, blue."""
        k = self.power * sum(c * c for c in self.at) / self.side**2 / 5
        return [k * c for c in self.tint]


@dataclass(frozen=True)
class Light:
    """All the light of a scene."""

    lamps: tuple[Lamp, ...]
    sky: float = 0.4
    sky_tint: Tint = (1.0, 1.0, 1.04)

    def and_(self, lamp: Lamp) -> Light:
        """With one more lamp."""
        return replace(self, lamps=(*self.lamps, lamp))


LIGHTS = {
    "window": Light((Lamp((-420, 260, 420), 420, 3.4, DAY),), 0.35),
    "lamp": Light((Lamp((260, 330, 520), 90, 4.4, BULB),), 0.22),
    "two": Light((Lamp((-350, 300, 500), 160, 2.6), Lamp((380, -120, 620), 120, 2.0, (1, 0.93, 0.82))), 0.25),
    "overcast": Light((Lamp((0, 300, 900), 700, 1.2),), 0.9),
    "evening": Light((Lamp((-300, -90, 330), 60, 4.6, (1, 0.82, 0.58)),), 0.14, (1, 0.9, 0.75)),
    "strip": Light((Lamp((120, 560, 700), 300, 3.0), Lamp((-420, 560, 700), 200, 1.6)), 0.3),
    "near": Light(
        (Lamp((-190, 150, 230), 70, 4.0, BULB),), 0.22, (1, 0.95, 0.86)
    ),  # a reading lamp: one end twice as bright
}
GUIDED = ("window", "overcast", "strip", "two")
"""What the guide asks for."""
HARD = ("lamp", "evening", "near")
"""Lamps so small that a hand's shadow has an edge."""
