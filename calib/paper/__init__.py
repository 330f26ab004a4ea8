"""A sheet of paper or a person's own rectangle in a photo: found and judged, or refused.

In: a photo and a format (`formats`). Out: `found.Found` or `found.Failure` by `sheets`.
"""
