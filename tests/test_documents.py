"""The documents: short where one begins, and what they name is there: files, headings, commands, options."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator
from pathlib import Path

import click
import pytest
import typer

from measure.cli.app import app

ROOT = Path(__file__).parent.parent
DOCUMENTS = sorted(
    p for p in ROOT.rglob("*.md") if not {".venv", "node_modules", ".pytest_cache"} & set(p.relative_to(ROOT).parts)
)


def names(path: Path) -> str:
    return str(path.relative_to(ROOT))


def test_the_readme_is_read_in_one_go() -> None:
    assert len((ROOT / "README.md").read_text().splitlines()) <= 180


def anchors(path: Path) -> set[str]:
    """Headings as they are linked to."""
    heads = re.findall(r"^#+ (.+)$", path.read_text(), re.M)
    return {re.sub(r"[^\w -]", "", h.lower()).replace(" ", "-") for h in heads}


@pytest.mark.parametrize("path", DOCUMENTS, ids=names)
def test_every_link_leads_somewhere(path: Path) -> None:
    for link in re.findall(r"\]\(([^)\s]+)\)", path.read_text()):
        assert "://" not in link, link
        file, _, heading = link.partition("#")
        to = (path.parent / file).resolve() if file else path
        assert to.exists(), link
        if heading:
            assert heading in anchors(to / "README.md" if to.is_dir() else to), link


def command_lines(path: Path) -> Iterator[str]:
    """What a reader might type: lines of code, and code within a line."""
    for line in path.read_text().splitlines():
        if re.match(r"\s+jawline ", line):
            yield line.split("#")[0].split("->")[0].strip()
        yield from (m.replace("\\|", "|") for m in re.findall(r"`(jawline [^`]+)`", line))


@pytest.mark.parametrize("path", DOCUMENTS, ids=names)
def test_every_command_and_option_is_there(path: Path) -> None:
    group = typer.main.get_command(app)
    assert isinstance(group, click.Group) or hasattr(group, "commands")
    for line in command_lines(path):
        _, name, *words = shlex.split(line.replace("'", " "))
        if name in ("COMMAND", "--version", "--help", "--install-completion"):
            continue
        assert name in group.commands, line
        known = {o for p in group.commands[name].params for o in (*p.opts, *p.secondary_opts)} | {"--help"}
        assert {w for w in words if w.startswith("--")} <= known, line


def test_the_documents_name_commands() -> None:
    """So that the test above is known to look at something."""
    assert sum(1 for _ in command_lines(ROOT / "README.md")) > 10
