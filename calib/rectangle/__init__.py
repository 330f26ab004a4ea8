"""Rectangles in a photo: candidates, sides to a fraction of a pixel, corners, and why one is refused.

In: a photo. Out: `quads` proposes, `sighting.Sighting` is a closer look at one, `sides` locates its edges,
`refusals` says why it is none. Card and paper are built of these.
"""
