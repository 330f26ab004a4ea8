"""Who looks for which reference in a photo.

In: a photo and what is wanted. Out: `found.Found` or `found.Failure` by `finding.find`; `together` holds a card and the
sheet under it against each other. A new kind of reference is named here.
"""
