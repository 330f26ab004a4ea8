"""What is written beside a picture of where its scale comes from."""

from __future__ import annotations

from typing import TYPE_CHECKING

from calib.reference.wanted import in_words

if TYPE_CHECKING:
    from measure.job import records


def scale_notes(record: records.JobRecord) -> tuple[str, ...]:
    """A few short lines on where the scale comes from."""
    s = record.scale
    several = f" in {len(record.photos)} photos" if record.photos else ""
    height = f"Thickness {record.thickness_mm:.4g} mm" if record.thickness_mm else "Thickness unknown"
    return (
        f"Scale from the {in_words(s.reference)}{several}: {s.mm_per_px:.4f} mm a pixel ± {100 * s.u95_relative:.2f} %",
        f"Camera {s.camera_height_mm:.0f} mm above the table, tilted {s.tilt_deg:.0f}°",
        f"{height}, as seen from the photographed face" if record.subject == "part" else "Rim of an opening",
        *([f"Break: gap {j.gap_rms_mm:.2f} mm RMS, {j.gap_worst_mm:.2f} mm at most"] if (j := record.joined) else []),
    )
