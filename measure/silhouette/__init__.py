"""Which pixels are the part.

In: photo, view, and what a person has marked (`strokes`). Out: `silhouette.Silhouette`, or why there is none.
"""
