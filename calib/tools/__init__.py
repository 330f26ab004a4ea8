"""Calipers, radius gauges and printers: what they do wrong, and what fits ask of them.

In: readings as people give them. Out: permissible errors (`jaws.Tool`), standard uncertainties (`budget`), the room
between printed parts (`fits`), a printer's own figures (`printer`).
"""
