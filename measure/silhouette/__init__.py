"""Which pixels are the part.

In: photo, view, and what a person has marked (`strokes`). First a rough `silhouette.Silhouette`, or why there is none:
where on the table something lies, and which of it is meant. Then `explaining.explain`: the outline of the upper face,
found so that every cell of the photo, seen square from above (`rectified`, `window`), is face, wall or ground
(`appearance`), in an order that lines of sight allow (`sight_lines`). For an opening `explaining_opening` does the same
with panel, wall and floor.
"""
