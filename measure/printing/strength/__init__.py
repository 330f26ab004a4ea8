"""Will it hold? Snap hooks, thin places and pins, after handbook formulas, for light parts of a household.

materials     what printed plastics stand, with where each figure is from
clip          the straight snap hook: strain, forces, and what would bend without breaking
clip_report   a hook judged, in words and figures
walls         the outline as pieces that a circle can touch
sections      the thinnest sections of an outline
pins          the metal pin that a section has room for, and its hole
remedies      what a bench does about a thin section, in words and figures
"""
