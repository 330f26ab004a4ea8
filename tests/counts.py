"""What can be counted of the program's order, printed: python -m tests.counts.

Files per folder, imports against the direction of the map, circles of imports, `assert … is not None`, bare figures,
names of classes that are taken more than once, lines of the README. tests/test_map.py, test_counts.py and
test_documents.py hold them.
"""

from __future__ import annotations

import ast
import math
from collections import Counter
from collections.abc import Iterator
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

from tests.test_map import IMPORTS, MODULES, PACKAGES, ROOT, against_the_direction

DRAWN = (
    "measure/drawing",
    "measure/sheet",
    "measure/guide",
    "measure/planning/balloons.py",
    "measure/planning/worksheet.py",
    "measure/trial/comparison.py",
)
"""Where figures are places on a sheet, pens and sizes of letters."""
FORMATS = tuple(f"calib/photo/{name}.py" for name in ("header", "heif", "hevc", "lzw", "tiff", "webp"))
"""Where figures are bytes and offsets that a file format's own definition gives."""
PLAIN = (0, 1, 2, -1, 0.5)
DEGREES = (90, 180, 360)
STATUSES = range(200, 600)
"""Of HTTP, in measure/bench."""


def sources() -> Iterator[Path]:
    """Every file of the program, relative to its root, in order."""
    for package in PACKAGES:
        yield from (p.relative_to(ROOT) for p in sorted((ROOT / package).rglob("*.py")))


def files_per_folder() -> Counter[str]:
    return Counter(str(p.parent) for p in sources())


def circles() -> int:
    """0, or 1 if there is a circle of imports."""
    try:
        list(TopologicalSorter(IMPORTS).static_order())
    except CycleError:
        return 1
    return 0


def asserted_not_none() -> list[str]:
    """Where it is asserted that something is there, which a type should say."""
    return [
        f"{path}:{node.lineno}"
        for path in sources()
        for node in ast.walk(ast.parse((ROOT / path).read_text()))
        if isinstance(node, ast.Assert) and "is not None" in ast.unparse(node.test)
    ]


def classes_taken_twice() -> dict[str, list[str]]:
    """Names that classes of more than one module have, private ones included."""
    found: dict[str, list[str]] = {}
    for name, path in MODULES.items():
        for node in ast.parse(path.read_text()).body:
            if isinstance(node, ast.ClassDef):
                found.setdefault(node.name.removeprefix("_"), []).append(name)
    return {k: v for k, v in sorted(found.items()) if len(v) > 1}


def bare_figures(source: str, *, page: bool = False) -> list[ast.Constant]:
    """Figures that have neither a name nor an origin: numbers written in the midst of what functions compute.

    A number is bare unless it is 0, ±1, 2 or ½ (or 90, 180 or 360, of degrees), or stands

    - in a constant of a module or a class, in a default value of a parameter, or in a decorator;
    - in an index, as an exponent, or as the number of digits of `round`: those say where, not how much.

    Not bare are whole numbers below ten, which are nearly all counts, axes, channels and factors of formulas; powers of
    ten from 10 on, which change units; and what is no larger than 1e-6, which keeps a fraction line from nought.

    Args:
        source: of a module.
        page: whether statuses of HTTP are no figures there.
    """
    tree = ast.parse(source)
    named: set[int] = set()

    def pass_over(node: ast.AST) -> None:
        named.update(map(id, ast.walk(node)))

    for node in ast.walk(tree):
        if isinstance(node, ast.Module | ast.ClassDef):
            for statement in node.body:
                if isinstance(statement, ast.Assign | ast.AnnAssign | ast.AugAssign):
                    pass_over(statement)
        elif isinstance(node, ast.arguments):
            for default in filter(None, (*node.defaults, *node.kw_defaults)):
                pass_over(default)
        elif isinstance(node, ast.FunctionDef):
            for decorator in node.decorator_list:
                pass_over(decorator)
        elif isinstance(node, ast.Subscript):
            pass_over(node.slice)
        elif isinstance(node, ast.BinOp) and isinstance(node.op, ast.Pow):
            pass_over(node.right)
        elif isinstance(node, ast.Call) and ast.unparse(node.func).endswith("round") and node.args:
            pass_over(node.args[-1])
    found = [
        node
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant)
        and type(node.value) in (int, float)
        and id(node) not in named
        and _tuned(node.value, page)  # type: ignore[arg-type]
    ]
    return sorted(found, key=lambda node: (node.lineno, node.col_offset))


def _tuned(value: float, page: bool) -> bool:
    if value in PLAIN or value in DEGREES or value <= 1e-6:
        return False
    if isinstance(value, int) and (value < 10 or (page and value in STATUSES)):
        return False
    return not (value >= 10 and math.log10(value).is_integer())


def all_bare_figures() -> dict[Path, list[ast.Constant]]:
    """Of every file but those where figures are places on a sheet or a format's own."""
    return {
        p: bare_figures((ROOT / p).read_text(), page=p.parts[:2] == ("measure", "bench"))
        for p in sources()
        if not str(p).startswith((*DRAWN, *FORMATS))
    }


def bare_by_folder() -> Counter[str]:
    out: Counter[str] = Counter()
    for path, found in all_bare_figures().items():
        out[str(path.parent)] += len(found)
    return +out


def main() -> None:
    folders = files_per_folder()
    print(f"files: {sum(folders.values())} in {len(folders)} folders")
    for name, n in folders.items():
        print(f"    {name}: {n}")
    print(f"imports against the direction: {sum(len(against_the_direction(p)) for p in PACKAGES)}")
    print(f"circles: {circles()}")
    print(f"assert … is not None: {len(asserted_not_none())}")
    twice = classes_taken_twice()
    print(
        f"class names taken more than once: {len(twice)}",
        *(f"    {k}: {', '.join(v)}" for k, v in twice.items()),
        sep="\n",
    )
    bare = bare_by_folder()
    print(f"bare figures: {sum(bare.values())}", *(f"    {k}: {n}" for k, n in bare.most_common()), sep="\n")
    print(f"README: {len((ROOT / 'README.md').read_text().splitlines())} lines")


if __name__ == "__main__":
    main()
