"""The bank-size card in a photo: found, measured and judged, or refused by name of the reason.

In: a photo and what is known of its camera. Out: `found.Found` or `found.Failure` by `card`; `face` tells whether the
card's number shows, `lying` whether it lies on what the part lies on, `others` which further cards there are: their
faces are hidden too. Found roughly, its four sides are located by `rims`: a forward model of what light, optics, sensor
and JPEG make of them (`rim_model`), fitted (`rim_fit`).
"""
