"""The direction of imports: a folder uses only what stands above it in the map of DEVELOPERS.md; nothing in circles."""

from __future__ import annotations

import ast
import re
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGES = ("calib", "measure")


def modules() -> dict[str, Path]:
    """Every module of the program by its name; a folder's ``__init__`` by the folder's."""
    out = {}
    for package in PACKAGES:
        for path in (ROOT / package).rglob("*.py"):
            name = ".".join(path.relative_to(ROOT).with_suffix("").parts)
            out[name.removesuffix(".__init__")] = path
    return out


MODULES = modules()


def imported(name: str) -> set[str]:
    """The modules of the program that a module names in an import: anywhere in it, also for types alone."""
    out = set()
    for node in ast.walk(ast.parse(MODULES[name].read_text())):
        if isinstance(node, ast.ImportFrom) and node.module:
            out |= {m for a in node.names for m in (f"{node.module}.{a.name}", node.module) if m in MODULES}
            out -= {node.module} if all(f"{node.module}.{a.name}" in MODULES for a in node.names) else set()
        elif isinstance(node, ast.Import):
            out |= {a.name for a in node.names if a.name in MODULES}
    return out - {name}


IMPORTS = {name: imported(name) for name in MODULES}


def order(package: str) -> list[str]:
    """The folders of a package as the map lists them."""
    text = (ROOT / "DEVELOPERS.md").read_text()
    table = text[text.index(f"| `{package}/` |") :].split("\n\n")[0]
    rows = table.splitlines()[2:]
    return [name for row in rows for name in re.findall(r"`(\w+)`", row.split("|")[1])]


def folder(module: str) -> str:
    """The folder in the package that a module lies in, or an empty string for one that lies beside the folders."""
    parts = MODULES[module].relative_to(ROOT).parts
    return parts[1] if len(parts) > 2 else ""


@pytest.mark.parametrize("package", PACKAGES)
def test_the_map_has_every_folder_once(package: str) -> None:
    there = {p.parent.name for p in (ROOT / package).glob("*/__init__.py")}
    assert sorted(order(package)) == sorted(there)


def test_calib_never_imports_measure() -> None:
    assert [
        m for m, others in IMPORTS.items() if m.startswith("calib") for o in others if o.startswith("measure")
    ] == []


def against_the_direction(package: str) -> list[str]:
    """The imports of what stands below in the map."""
    place = {"": -1} | {name: i for i, name in enumerate(order(package))}
    return [
        f"{m} imports {o}"
        for m, others in IMPORTS.items()
        for o in others
        if m.split(".")[0] == o.split(".")[0] == package
        and place[folder(o)] > place[folder(m)]
        and m not in PACKAGES  # which show names of all their folders, loaded when they are asked for
    ]


@pytest.mark.parametrize("package", PACKAGES)
def test_no_folder_imports_what_stands_below_it(package: str) -> None:
    assert against_the_direction(package) == []


def test_no_circle_of_imports() -> None:
    """A circle raises `graphlib.CycleError`, which names it."""
    assert len(list(TopologicalSorter(IMPORTS).static_order())) == len(MODULES)


def test_the_walk_sees_what_is_imported_within_a_function() -> None:
    """An import that is there for sure, so that the tests above are known to look at something."""
    assert "measure.bench.serve" in IMPORTS["measure.cli.bench"]
    assert "calib.finding.finding" in IMPORTS["measure.tracing.parts"]


def test_no_name_of_a_module_is_given_twice() -> None:
    """A constant that takes the name of another one changes what is computed, and no linter says so."""
    twice = []
    for name, path in MODULES.items():
        given: list[str] = []
        for node in ast.parse(path.read_text()).body:
            targets = node.targets if isinstance(node, ast.Assign) else []
            given += [
                x.id for t in targets for x in ast.walk(t) if isinstance(x, ast.Name) and isinstance(x.ctx, ast.Store)
            ]
        twice += [f"{name}.{x}" for x in set(given) if given.count(x) > 1]
    assert twice == []
