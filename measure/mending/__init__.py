"""What a person says of features that a trace got wrong, refitted at once to the edge points that it kept.

In: features with covariance, the edge points, and what is said (`sayings`).
Out: `mending.mended_by_hand`.
"""
