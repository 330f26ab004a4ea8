"""Readings by their number on a worksheet: the rows that go with it, and values that name a row."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence

from calib.errors import ReadingsRefused
from measure.planning.planning import Suggestion
from measure.readings.readings import COLUMNS


def blank_rows(suggestions: Sequence[Suggestion], depth_tool: str | None = None) -> str:
    """Rows of a readings file without their values; the note holds the number on the worksheet.

    Args:
        suggestions: in the worksheet's order.
        depth_tool: where the depth of a seat is its last row, what that is taken with.
    """
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(COLUMNS)
    for n, s in enumerate(suggestions, 1):
        rows.writerow([s.kind, " ".join(s.features), "", "mm", s.tool, str(n)])
    if depth_tool:
        rows.writerow(["thickness", "", "", "mm", depth_tool, str(len(suggestions) + 1)])
    return out.getvalue()


def written_out(words: Sequence[str], content: bytes | None) -> list[str]:
    """Words of readings in which ``2=4.02`` is written out by the worksheet's second row.

    Args:
        words: as on the command line.
        content: of worksheet.csv, if there is one.

    Raises:
        ReadingsRefused: there is no worksheet, or no such row on it.
    """
    out = []
    for word in words:
        m = re.fullmatch(r"\s*(\d+)\s*=\s*(\S.*)", word)
        if not m:
            out.append(word)
            continue
        if content is None:
            raise ReadingsRefused(
                f"“{word}” counts on a worksheet, and the job has none: run `jawline next` first.", "no-worksheet"
            )
        rows = {r["note"]: r for r in csv.DictReader(io.StringIO(content.decode("utf-8-sig", errors="replace")))}
        row = rows.get(m[1])
        if row is None or not row.get("kind"):
            raise ReadingsRefused(
                f"“{word}”: the worksheet has no number {m[1]}; it goes up to {len(rows)}.", "no-worksheet"
            )
        out.append(f"{row['kind']} {row['features']} {m[2]} {row['tool']}")
    return out
