"""The sketch: everything known of a part on one sheet at true size.

In: features, dimensions and their uncertainties. Out: `sheet.Sheet`, made of `marks` in millimetres on paper, which
`measure.drawing` writes as files. `lettering` says how wide words are, `layout` where everything goes.
"""
