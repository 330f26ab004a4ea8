"""A job without a photo, for tests of what comes after it: a plate with a hole and a slot, known exactly."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from measure.geometry.dimensions import list_dimensions
from measure.geometry.features import PARAMETERS, Arc, Circle, Estimate, Feature, Line, length, middle, right_normal
from measure.job import job, records

SCALE = records.ScaleRecord(
    reference="id-1", mm_per_px=0.06, u95_relative=0.002, camera_height_mm=300, tilt_deg=8, lens="none"
)


def plate() -> tuple[Feature, ...]:
    """60 × 30 mm with a 6 mm hole and a 20 × 5 mm slot, whose centres lie 12 mm from the lower edge."""
    corners = [(0.0, 0.0), (60.0, 0.0), (60.0, 30.0), (0.0, 30.0)]
    sides = [Line(f"E{i + 1}", 0, corners[i], corners[(i + 1) % 4]) for i in range(4)]
    hole = Circle("D1", 1, (12.0, 12.0), 3.0)
    slot = [
        Line("E5", 2, (30.0, 14.5), (45.0, 14.5)),
        Arc("R1", 2, (45.0, 14.5), (45.0, 9.5), centre=(45.0, 12.0), radius=2.5, turn="cw"),
        Line("E6", 2, (45.0, 9.5), (30.0, 9.5)),
        Arc("R2", 2, (30.0, 9.5), (30.0, 14.5), centre=(30.0, 12.0), radius=2.5, turn="cw"),
    ]
    return (*sides, hole, *slot)


def estimate(features: tuple[Feature, ...] | None = None) -> Estimate:
    """With 0.02 mm of edge noise, a shared scale known to 0.1 % and a thickness term."""
    features = features or plate()
    sd, sensitivity = [], []
    for f in features:
        if f.kind == "line":
            sd += [0.02, 0.05 / length(f)]
            sensitivity += [[float(middle(f) @ right_normal(f)), 0.01], [0.0, 0.0]]
        elif f.kind != "curve":
            sd += [0.02] * 3
            sensitivity += [[f.centre[0], 0.0], [f.centre[1], 0.0], [f.radius, 0.01]]
    assert len(sd) == sum(PARAMETERS[f.kind] for f in features)
    shared = np.diag([0.001**2, 0.05**2])
    return Estimate(features, np.diag(np.square(sd)), ("scale", "thickness"), np.array(sensitivity), shared)


def record(part: str = "plate") -> records.JobRecord:
    """What trace would have written."""
    known = estimate()
    return records.JobRecord(
        part=part,
        photo="plate.jpg",
        scale=SCALE,
        subject="part",
        thickness_mm=4.2,
        features=tuple(records.feature_record(f) for f in known.features),
        dimensions=tuple(records.dimension_record(d) for d in list_dimensions(known)),
        adjustment=records.adjustment_record(known),
    )


def traced(folder: Path) -> Path:
    """A job as trace leaves it, without the pictures."""
    job.write(folder, {job.TRACE: records.to_text(record()).encode()})
    return folder
