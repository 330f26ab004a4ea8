"""The part's boundary to a fraction of a pixel.

In: a rough contour (of the silhouette) and the view. Out: `edge_loop.EdgeLoop`, points on the true outline in
millimetres with what they have wrong in common; `sight` tells which of a wall's two edges the camera sees, `plausible`
whether an outline runs along an edge or along a shadow.
"""
