"""jawline reconcile: photo and readings -> measured.json."""

from __future__ import annotations

from measure.cli import options
from measure.cli.show import show


def reconcile(
    job: options.Folder, tools: options.Tools = None, force: options.Force = False, json: options.Json = False
) -> None:
    """Let photo and readings check each other and agree."""
    from measure.steps import reconcile as step

    show(step.reconcile(job, tools=tools, force=force), json)
