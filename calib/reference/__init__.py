"""Flat things of known size that give a photo its scale.

In: a person's words (`wanted`). Out: `reference.Reference` with the table of them and of their look-alikes, and
`found.Found` or `found.Failure`, which is what every search for one hands on.
"""
