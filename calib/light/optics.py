"""How a photo's edges were softened by its lens and sharpened by its phone, as the sides of a card tell."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Optics:
    """Of one photo; as phones' photos mostly are where nothing tells.

    Attributes:
        sharpening: how strongly codes were sharpened, see `calib.light.profile.Light.unsharpened`; 0 where nothing
            tells.
        blur_px: standard deviation of the blur before that.
    """

    sharpening: float = 0.0
    blur_px: float = 0.95


USUAL = Optics()
