"""The boundary of a part, or the rim of an opening, to a fraction of a pixel.

In: the outline of the part's face, or of the hole in a panel, and the view. Out: `edge_loop.EdgeLoop`, points on the
true outline in millimetres with what they have wrong in common (`shared_terms`). `upper_edges` finds them by the upper
edge and by the wall's foot, each from steps of light (`light_steps`), with what is known of a rounded rim (`rounded`)
and what the light across it says of it: stretches of it (`rim_bands`) are explained by light that all sides share
(`rim_light`), which tells form and radius (`rim_seen`) and puts narrow walls (`narrow_walls`) and sides of which a step
found the inner line (`inner_lines`) right. `standpoint` tells by the feet of walls (`wall_feet`) where the camera
stood. `retrace` looks once more along features, and `plausible` names those that may run along a shadow.
"""
