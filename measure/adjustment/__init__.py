"""Photo and readings made to agree in one least-squares adjustment, with a verdict on each reading.

In: an `Estimate` and readings. Out: `adjustment.Reconciled`. `least_squares` and `equations` serve other folders that
adjust something; `seat` tells the depth of a seat behind an opening.
"""
