"""The part's boundary to a fraction of a pixel.

In: the outline of the part's face (of the silhouette) and the view; for an opening a rough contour. Out:
`edge_loop.EdgeLoop`, points on the true outline in millimetres with what they have wrong in common (`shared_terms`).
`upper_edges` finds a part's, by the upper edge and by the wall's foot, each from steps of light (`light_steps`), with
what is known of a rounded rim (`rounded`); `edges` finds those of an opening. `retrace` looks once more along features,
and `plausible` names those that may run along a shadow.
"""
