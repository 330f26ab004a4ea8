"""Where the camera stood over the reference's plane, in one least-squares solution with its covariance.

In: points or sides in pixels with their uncertainty, and what is known beforehand. Out: `view.View`; `joint` solves
several rectangles together, `bundle` known points in several photos.
"""
