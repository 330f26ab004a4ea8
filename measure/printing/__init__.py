"""From an outline to things that are printed: solids, gauges, marks, a test piece; and whether they will hold.

In: features and a fit. Out: `solids` for `measure.drawing.mesh` and `step`, `coupon` with a printer's figures,
`strength` on hooks and thin places, `advice` where a print serves badly, and the caution that goes with all of it
(`light_parts`).
"""
