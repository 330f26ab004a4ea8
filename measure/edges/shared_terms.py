"""What all edge points of one photo have wrong together: the columns of `EdgeLoop.sensitivity`."""

from __future__ import annotations

from calib.view.view import NAMES as VIEW_NAMES

DIRECTIONS = 8
SHARED_NAMES = (*VIEW_NAMES, "thickness", "spread", "rim", *(f"side_{k}" for k in range(DIRECTIONS)))
"""The view; the part's thickness, mm; how far all edges are seen too far out, in units of its standard deviation; the
radius of the upper rim less what is reckoned with, mm; and for eight directions of the outward normal, in units of its
standard deviation, what edges that face this way have wrong together: light falls on them, and shadow lies before them,
alike."""
