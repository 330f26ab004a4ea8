"""jawline undo: take back a job's last change."""

from __future__ import annotations

from measure.cli import options
from measure.cli.show import show


def undo(job: options.Folder, json: options.Json = False) -> None:
    """Take back the last change of a job: a trace, readings, a completion, a trial print's verdict, or the page's."""
    from measure.steps import undo as step

    show(step.undo(job), json)
