"""Edge points become lines, arcs, full circles and curves that join end to end.

In: `EdgeLoop`. Out: `geometry.features.Estimate`, the features with the covariance of all of them, by `outline`.
"""
