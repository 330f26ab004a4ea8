"""Photo -> `Trace`: what a photo alone tells of a part.

In: a photo and what is known of the part. Out: `tracing.trace` and `tracing.Trace`; `following` (contour to outline)
and `parts` serve the folders that trace pieces and several photos.
"""
