"""Which reading next, and the sheet for the bench that asks for it.

In: an estimate, and the readings taken. Out: `planning`, what each further reading would gain; `jaws`, where the
caliper's jaws go for it; `worksheet`, a drawing with those and numbered balloons; `numbered`, values that name a row.
"""
