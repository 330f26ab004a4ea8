"""What a photo is like for measuring, and whether a trace of it draws the part.

In: a photo. Out: `fitness.Fitness` (figures), `tried.Tried` (what a trace comes to), a verdict by the table in `rules`
and by the trace, and a sentence for the owner in `reply`.
"""
