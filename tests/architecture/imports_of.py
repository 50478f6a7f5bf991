"""Read from the source, without running it, which module imports which."""

import ast
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import NamedTuple


class Import(NamedTuple):
    """One import statement.

    Attributes:
        importer: Dotted name of the module that imports.
        imported: Dotted name as written; for `from a import b` it is `a.b` where that
            is a module of the tree read, else `a`.
        line: Where.
        at_load: Whether it runs when the module is loaded (not inside a function).
    """

    importer: str
    imported: str
    line: int
    at_load: bool


def modules_under(root: Path) -> dict[str, Path]:
    """Return dotted name to file for every module under a folder."""
    found = {}
    for path in sorted(root.rglob("*.py")):
        parts = path.relative_to(root).with_suffix("").parts
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


def imports_under(*roots: Path) -> list[Import]:
    """Return every import below the folders, those for type checkers alone left out."""
    modules = {name: path for root in roots for name, path in modules_under(root).items()}
    found = []
    for name, path in modules.items():
        tree = ast.parse(path.read_text(encoding="utf-8"), str(path))
        package = name if path.name == "__init__.py" else name.rpartition(".")[0]
        for node, at_load in _import_nodes(tree, at_load=True):
            found += [
                Import(name, imported, node.lineno, at_load)
                for imported in _targets(node, package, modules)
            ]
    return found


def _import_nodes(
    node: ast.AST, *, at_load: bool
) -> Iterator[tuple[ast.Import | ast.ImportFrom, bool]]:
    if isinstance(node, ast.Import | ast.ImportFrom):
        yield node, at_load
    parts: Iterable[ast.AST] = ast.iter_child_nodes(node)
    if isinstance(node, ast.If) and _is_for_type_checkers(node.test):
        parts = node.orelse
    inside_at_load = at_load and not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
    for part in parts:
        yield from _import_nodes(part, at_load=inside_at_load)


def _is_for_type_checkers(test: ast.expr) -> bool:
    return ast.unparse(test) in {"TYPE_CHECKING", "typing.TYPE_CHECKING"}


def _targets(
    node: ast.Import | ast.ImportFrom, package: str, modules: dict[str, Path]
) -> list[str]:
    if isinstance(node, ast.Import):
        return [alias.name for alias in node.names]
    source = node.module or ""
    if node.level:
        kept = package.split(".")[: len(package.split(".")) - node.level + 1]
        source = ".".join([*kept, *([source] if source else [])])
    names = [f"{source}.{alias.name}" for alias in node.names]
    return sorted({name if name in modules else source for name in names})


def cycles(imports: list[Import]) -> list[tuple[str, ...]]:
    """Return groups of modules that import each other when loaded (strongly connected)."""
    names = {each.importer for each in imports}
    graph: dict[str, set[str]] = {name: set() for name in names}
    for each in imports:
        if each.at_load and each.imported in names:
            graph[each.importer].add(each.imported)
    reach = {name: _reachable(graph, name) for name in graph}
    rings = {
        tuple(sorted(other for other in reach[name] if name in reach[other]))
        for name in graph
        if name in reach[name]
    }
    return sorted(rings)


def _reachable(graph: dict[str, set[str]], start: str) -> set[str]:
    seen: set[str] = set()
    todo = list(graph[start])
    while todo:
        name = todo.pop()
        if name not in seen:
            seen.add(name)
            todo += graph[name]
    return seen
