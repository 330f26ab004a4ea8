"""Readings by their number on a worksheet: the rows that go with it, and values that name a row."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence

from calib.errors import ReadingsRefused
from calib.messages import Remedy
from measure.planning.planning import Suggestion
from measure.readings.readings import COLUMNS, LONGEST_LINE, cells_of


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
        m = len(word) <= LONGEST_LINE and re.fullmatch(r"\s*([0-9]+)\s*=\s*(\S.*)", word)
        if not m:
            out.append(word)
            continue
        if content is None:
            raise ReadingsRefused(
                f"“{word}” counts on a worksheet, and the job has none", "no-worksheet", Remedy("run-first", "next")
            )
        rows = _rows(content)
        row = rows.get(m[1])
        if row is None or not row.get("kind"):
            raise ReadingsRefused(
                f"“{word}”: the worksheet has no number {m[1]}; it goes up to {len(rows)}.", "no-worksheet"
            )
        out.append(f"{row['kind']} {row.get('features', '')} {m[2]} {row.get('tool', '')}")
    return out


def _rows(content: bytes) -> dict[str, dict[str, str]]:
    """The rows of a worksheet by their numbers; its lines may end as on any system, and longer ones are none of it."""
    lines = content.decode("utf-8-sig", errors="replace").splitlines()
    table = [cells_of(x) for x in lines if 0 < len(x) <= LONGEST_LINE]
    rows = [dict(zip(table[0], cells, strict=False)) for cells in table[1:]]
    return {r["note"]: r for r in rows if r.get("note")}
