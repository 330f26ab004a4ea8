"""Which reading next, and the sheet for the bench that asks for it.

In: an estimate, and the readings taken. Out: `planning`, what each further reading would gain; `worksheet`, a drawing
with numbered balloons; `numbered`, values that name a row of it.
"""
