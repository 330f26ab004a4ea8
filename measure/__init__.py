"""The part: silhouette, edges, outline, readings, adjustment, sketch.

For scripts, in the order of the work. Lengths are millimetres, angles radians counter-clockwise, x right, y up, as seen
from the photographed face.

trace(photo, Request(4.2))     -> `Trace`: `estimate` (the features with their covariance), `scale`, `cautions`. Raises
                               `calib.Untrustworthy` where reference or part can't be told
read_words(["bore D1 4.02"])   -> tuple of `Reading`; so does read_csv(content). Both raise `calib.Untrustworthy`
reconcile(estimate, readings, thickness_mm=4.2)
                               -> `Reconciled`: `estimate` again, `dimensions` with u95, `verdicts` on the readings
Drawing(name, features, …)     what a sketch is made from
sketch(drawing)                -> `Sheet`: where everything goes, on A4 or larger
write_dxf(sheet), write_svg(sheet), write_pdf(sheet), outline_dxf(features)
                               -> bytes of a file

A feature is a `Line`, `Arc`, `Circle` or `Curve`. `list_dimensions(estimate)` gives a trace's sizes without readings.
"""

from typing import TYPE_CHECKING

from calib.lazy import lazily

__all__ = [
    "Arc",
    "Circle",
    "Curve",
    "Dimension",
    "Drawing",
    "Estimate",
    "Line",
    "Reading",
    "Reconciled",
    "Request",
    "Sheet",
    "Trace",
    "list_dimensions",
    "outline_dxf",
    "read_csv",
    "read_words",
    "reconcile",
    "sketch",
    "trace",
    "write_dxf",
    "write_pdf",
    "write_svg",
]

if TYPE_CHECKING:
    from measure.adjustment.adjustment import Reconciled, reconcile
    from measure.drawing.dxf import write_dxf
    from measure.drawing.outline_dxf import outline_dxf
    from measure.drawing.pdf import write_pdf
    from measure.drawing.svg import write_svg
    from measure.geometry.dimensions import Dimension, list_dimensions
    from measure.geometry.features import Arc, Circle, Curve, Estimate, Line
    from measure.readings.readings import Reading, read_csv, read_words
    from measure.sheet.sheet import Drawing, Sheet, sketch
    from measure.tracing.request import Request
    from measure.tracing.tracing import trace
    from measure.tracing.values import Trace
else:
    __getattr__ = lazily(
        "measure",
        {
            **dict.fromkeys(("Reconciled", "reconcile"), "measure.adjustment.adjustment"),
            "write_dxf": "measure.drawing.dxf",
            "outline_dxf": "measure.drawing.outline_dxf",
            "write_pdf": "measure.drawing.pdf",
            "write_svg": "measure.drawing.svg",
            **dict.fromkeys(("Dimension", "list_dimensions"), "measure.geometry.dimensions"),
            **dict.fromkeys(("Arc", "Circle", "Curve", "Estimate", "Line"), "measure.geometry.features"),
            **dict.fromkeys(("Reading", "read_csv", "read_words"), "measure.readings.readings"),
            **dict.fromkeys(("Drawing", "Sheet", "sketch"), "measure.sheet.sheet"),
            "Request": "measure.tracing.request",
            "trace": "measure.tracing.tracing",
            "Trace": "measure.tracing.values",
        },
    )
