"""Make one module of the core's many, for a board: names are stored, and imported, once.

The sources stay as they are. On a board all is in `controller.runner`, which imports the rest and
is what others start. Its tracebacks name lines of the joined text, which the bundle has beside it.
"""

import ast
import io
import re
import string
import tokenize
from collections.abc import Collection, Iterator, Mapping
from graphlib import TopologicalSorter

from tools.link import CONST, KEPT, LinkError, edited, module_of

PACKAGE = "controller"
CORE = "controller.runner"
CORE_PATH = "controller/runner.py"


def join(texts: Mapping[str, str]) -> dict[str, str]:
    """Join the modules of the core: linked texts by path, such as `controller/hub.py`.

    The package itself and what `KEPT` names stay files of their own. Whatever else imports from the
    core imports from `CORE` then.

    Raises:
        LinkError: a module of the core has one of another's names at its top, or imports another
            whole or a name under its own; `import controller.hub`, anywhere.
    """
    trees = {path: ast.parse(text) for path, text in texts.items()}
    if not any(_imports_from(node, (CONST,)) for tree in trees.values() for node in ast.walk(tree)):
        trees = {path: tree for path, tree in trees.items() if module_of(path) != CONST}
    parts = {
        module_of(path): path
        for path in trees
        if path.startswith(f"{PACKAGE}/") and module_of(path) not in (PACKAGE, *KEPT)
    }
    _refuse_twice(trees, parts)
    joined = {
        path: edited(texts[path], _elsewhere(path, tree, parts))
        for path, tree in trees.items()
        if module_of(path) not in parts
    }
    met: set[str] = set()
    for module in TopologicalSorter(_needs(trees, parts)).static_order():
        path = parts[module]
        text = edited(texts[path], _inside(trees[path], parts, met))
        joined[CORE_PATH] = joined.get(CORE_PATH, "") + f"# {path}\n{text}"
    return joined


def shorten(text: str) -> str:
    """Give the private data of a module's objects short names; every line stays as it is.

    Functions keep theirs, which tracebacks show. Such data must be nobody else's to look at, and
    not be looked up by a string.
    """
    nodes = list(ast.walk(ast.parse(text)))
    functions = {node.name for node in nodes if isinstance(node, ast.FunctionDef)}
    attributes = {node.attr for node in nodes if isinstance(node, ast.Attribute)}
    private = [name for name in sorted(attributes - functions) if re.match("_[a-z]", name)]
    tokens = list(tokenize.generate_tokens(io.StringIO(text).readline))
    taken = {token.string for token in tokens}
    letters = ["", *string.ascii_lowercase]
    free = (f"_{a}{b}" for a in letters for b in letters[1:] if f"_{a}{b}" not in taken)
    short = dict(zip(private, free, strict=False))
    lines = text.splitlines(keepends=True)
    for token in reversed(tokens):
        if token.type == tokenize.NAME and token.string in short:
            (row, begin), (_, end) = token.start, token.end
            line = lines[row - 1]
            lines[row - 1] = line[:begin] + short[token.string] + line[end:]
    return "".join(lines)


def _needs(trees: Mapping[str, ast.Module], parts: Mapping[str, str]) -> dict[str, set[str]]:
    """From which others each module imports as it starts."""
    return {
        module: {
            str(node.module)
            for node in trees[path].body
            if isinstance(node, ast.ImportFrom) and node.module in parts
        }
        for module, path in parts.items()
    }


def _imports_from(node: ast.AST, modules: Collection[str]) -> bool:
    return isinstance(node, ast.ImportFrom) and node.module in modules


def _inside(
    tree: ast.Module, parts: Mapping[str, str], met: set[str]
) -> Iterator[tuple[ast.stmt, str]]:
    """What goes from a module that is joined: imports of the others, imports that were `met` in one
    before, and what only types need."""
    for node in tree.body:
        only_types = isinstance(node, ast.If) and ast.unparse(node.test) == "0"
        again = isinstance(node, ast.Import | ast.ImportFrom) and ast.unparse(node) in met
        if only_types or again or _imports_from(node, parts):
            yield node, ""
        met.add(ast.unparse(node))


def _elsewhere(
    path: str, tree: ast.Module, parts: Mapping[str, str]
) -> Iterator[tuple[ast.stmt, str]]:
    """Imports from what is joined, made imports from the joined module."""
    for node in ast.walk(tree):
        match node:
            case ast.ImportFrom(module=module, names=names) if module in parts:
                yield node, f"from {CORE} import {', '.join(map(ast.unparse, names))}"
            case ast.ImportFrom(module=module, names=names) if module == PACKAGE:
                whole = [name for name in names if f"{PACKAGE}.{name.name}" in parts]
                for name in whole:
                    name.asname = name.asname or name.name
                    name.name = CORE.removeprefix(f"{PACKAGE}.")
                yield node, ast.unparse(node)
            case ast.Import(names):
                for name in names:
                    if name.name in parts:
                        raise LinkError(
                            f"{path}:{node.lineno}: found an import of {name.name}, "
                            "allowed names from it"
                        )


def _refuse_twice(trees: Mapping[str, ast.Module], parts: Mapping[str, str]) -> None:
    """Raise LinkError where a name is one thing in one module and another in the next, or one has
    another's under its own name.
    """
    owners: dict[str, tuple[str, str]] = {}
    for path in parts.values():
        for node in trees[path].body:
            if _imports_from(node, {*parts, PACKAGE}):
                _refuse_other_names(path, node, parts)
            for name in _bound(node):
                owner, text = owners.setdefault(name, (path, ast.unparse(node)))
                if owner != path and text != ast.unparse(node):
                    raise LinkError(
                        f"{path}:{node.lineno}: found {name}, allowed a name that {owner} "
                        "does not have"
                    )


def _refuse_other_names(path: str, node: ast.stmt, parts: Mapping[str, str]) -> None:
    for name in ast.walk(node):
        if isinstance(name, ast.alias) and (name.asname or not _imports_from(node, parts)):
            raise LinkError(
                f"{path}:{node.lineno}: found an import of {ast.unparse(name)}, "
                "allowed names from a module, under their own"
            )


def _bound(node: ast.stmt) -> list[str]:
    """Names that a statement at the top of a module makes."""
    match node:
        case ast.FunctionDef(name=name) | ast.ClassDef(name=name):
            return [name]
        case ast.Assign(targets=targets):
            return [target.id for target in targets if isinstance(target, ast.Name)]
        case ast.AnnAssign(target=ast.Name(id=name)):
            return [name]
        case _:
            return []
