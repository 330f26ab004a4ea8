"""The pictures of how to take the photo, as SVG files that a page may show."""

from __future__ import annotations

from functools import cache


@cache
def as_svg(name: str) -> bytes:
    """One picture of the guide for owners.

    Args:
        name: one of ``measure.guide.pictures.PICTURES``.

    Raises:
        KeyError: there is no such picture.
    """
    from measure.guide.html import svg
    from measure.guide.words import STEPS

    shows = {s.picture: s.shows for s in STEPS}[name]
    return svg(name, shows).encode()
