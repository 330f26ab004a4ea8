"""Lines, arcs, circles and curves of an outline, and what can be computed of them alone.

In: nothing from other folders. Out: `features` (the features and their parameters) and `dimensions` (sizes and their
gradients) for everybody; polylines, mirror axes, offsets, joins of neighbours, motions in the plane.
"""
