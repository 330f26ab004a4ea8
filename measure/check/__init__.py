"""What a photo is like for measuring, before anything is traced.

In: a photo. Out: `fitness.Fitness` (figures), a verdict by the table in `rules`, a sentence for the owner in `reply`,
and the uncertainty to expect.
"""
