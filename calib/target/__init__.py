"""The printed reference sheet: where its marks are, and where a photo shows them.

In: a photo. Out: `found.Found` or `found.Failure` by `target`, from saddle points of light (`saddles`) at the places
that `layout` lists.
"""
