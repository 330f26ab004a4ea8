"""What people say of a trial print, and what that makes of the outline.

In: sayings (`sayings`) and an adjusted outline. Out: `corrections`, the outline corrected with its covariance, and
`comparison`, a sheet with two revisions over each other.
"""
