"""The bank-size card in a photo: found, measured and judged, or refused by name of the reason.

In: a photo and what is known of its camera. Out: `found.Found` or `found.Failure` by `card`; `face` tells whether the
card's number shows, `lying` whether it lies on what the part lies on.
"""
