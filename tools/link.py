"""Write constants of one module into the code of all others, before mpy-cross compiles them.

mpy-cross folds `NAME = const(5)` within its file alone: in another it is an import, a global and a
look-up, on a board where bytes are few. Here each use becomes `(5)`, and import and definition go,
for of all that is bundled it is known what still needs the name. They leave empty lines behind, so
that tracebacks name the lines of the sources.
"""

import ast
from collections.abc import Collection, Iterator, Mapping
from itertools import accumulate

# What code that is not bundled may import on the board: `controller/README.md` promises it.
KEPT = ("controller.ports",)
CONST = "controller._const"  # where `const` itself is imported from

_Found = dict[str, dict[str, int]]  # constants of each module
Edit = tuple[ast.expr | ast.stmt, str]


class LinkError(ValueError):
    """Code in which a constant cannot be told from something else; one line for the user."""


def link(texts: Mapping[str, str], kept: Collection[str] = KEPT) -> dict[str, str]:
    """Fold the constants of all modules of a bundle: texts by path, such as `controller/hub.py`.

    A constant is an integer, `NAME = const(5)`, at the top of a module. It keeps its definition
    where something may look it up by name: an attribute `.NAME`, a string "NAME", an f-string, an
    import from a module that only imported it, or whoever imports from the modules `kept`. A name
    that is put together at run time is not seen.

    Raises:
        LinkError: no Python; a constant's name is bound once more in a file that uses it; an import
            of `*`, or from a relative name; `from . import` a module of the same folder is none.
    """
    trees = {path: _parsed(path, text) for path, text in texts.items()}
    found = {
        module_of(path): {name: value for _, name, value in _definitions(tree)}
        for path, tree in trees.items()
    }
    named = {name for tree in trees.values() for name in _named(tree, found)}
    return {
        path: edited(text, _edits(path, trees[path], found, named, kept))
        for path, text in texts.items()
    }


def _parsed(path: str, text: str) -> ast.Module:
    try:
        return ast.parse(text)
    except SyntaxError as error:
        raise LinkError(f"{path}:{error.lineno}: SyntaxError: {error.msg}") from None


def module_of(path: str) -> str:
    """Name of the module in a file, such as `controller/hub.py`."""
    return path.removesuffix(".py").removesuffix("/__init__").replace("/", ".")


def _definitions(tree: ast.Module) -> Iterator[tuple[ast.Assign, str, int]]:
    """The constants at the top of a module."""
    for node in tree.body:
        match node:
            case ast.Assign([ast.Name(name)], ast.Call(ast.Name("const"), [argument])):
                try:
                    value = ast.literal_eval(argument)
                except ValueError:
                    continue  # made of other constants: mpy-cross computes it
                if type(value) is int:
                    yield node, name, value


def _named(tree: ast.Module, found: _Found) -> Iterator[str]:
    """Names that a module may look up in another at run time."""
    for node in ast.walk(tree):
        match node:
            case ast.Attribute(attr=name) | ast.Constant(str(name)):
                yield name
            case ast.JoinedStr():
                yield from (part.id for part in ast.walk(node) if isinstance(part, ast.Name))
            case ast.ImportFrom(str(module), names):
                yield from (a.name for a in names if a.name not in found.get(module, {}))
            case ast.ImportFrom(None, names):
                yield from (a.name for a in names)


def _edits(
    path: str, tree: ast.Module, found: _Found, named: set[str], whole: Collection[str]
) -> Iterator[Edit]:
    """Code to be replaced, and by what."""
    module = module_of(path)
    values = dict(found[module])
    kept = named | values.keys() if module in whole else named
    nodes = list(ast.walk(tree))
    imports = [node for node in nodes if isinstance(node, ast.ImportFrom) and not node.level]
    for node in imports:
        theirs = found.get(str(node.module), {})
        values |= {a.asname or a.name: theirs[a.name] for a in node.names if a.name in theirs}
    _refuse(path, nodes, values)

    loads = [
        node for node in nodes if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load)
    ]
    # Before 3.12 Python does not tell where in the file the parts of an f-string stand.
    shown = {part for node in nodes if isinstance(node, ast.JoinedStr) for part in ast.walk(node)}
    for load in loads:
        if load.id in values and load not in shown:
            yield load, f"({values[load.id]})"
    definitions = list(_definitions(tree))
    for definition, name, value in definitions:
        yield (definition.value, f"({value})") if name in kept else (definition, "")
    const_used = sum(node.id == "const" for node in loads) > len(definitions)
    for node in imports:
        left, still = [], []
        for alias in node.names:
            name = alias.asname or alias.name
            if name in values:
                still += [f"{name} = {values[name]}"] if name in kept else []
            elif name != "const" or const_used or node.module != CONST:
                left.append(ast.unparse(alias))
        parts = [f"from {node.module} import {', '.join(left)}"] if left else []
        yield node, "; ".join(parts + still) or ("" if node in tree.body else "pass")


def _refuse(path: str, nodes: list[ast.AST], values: Mapping[str, int]) -> None:
    """Raise LinkError for code that folding might change."""
    met: set[str] = set()
    for node in nodes:
        wrong = ""
        match node:
            case ast.ImportFrom(None, [first, *_]) if first.name != "*":
                pass  # a module of the same folder; what it imports instead is kept above
            case ast.ImportFrom(names=[first, *_], level=level) if level or first.name == "*":
                wrong = "found an import of * or from .name, allowed names from a full name"
            case (
                ast.Name(name, ast.Store() | ast.Del())
                | ast.arg(name)
                | ast.FunctionDef(name)
                | ast.AsyncFunctionDef(name)
                | ast.ClassDef(name)
                | ast.ExceptHandler(name=str(name))
                | ast.alias(asname=str(name))
                | ast.alias(name=name)
            ):
                if name in values and name in met:
                    wrong = f"found constant {name} bound again, allowed once in a file"
                met.add(name)
        if wrong:
            raise LinkError(f"{path}:{getattr(node, 'lineno', 0)}: {wrong}")


def edited(text: str, edits: Iterator[Edit]) -> str:
    """Text with code replaced, and as many lines as before."""
    data = text.encode()
    starts = [0, *accumulate(len(line) for line in data.splitlines(keepends=True))]
    backwards = sorted(edits, key=lambda edit: (edit[0].lineno, edit[0].col_offset), reverse=True)
    for node, new in backwards:
        end_line = node.end_lineno or node.lineno
        begin = starts[node.lineno - 1] + node.col_offset
        end = starts[end_line - 1] + (node.end_col_offset or 0)
        data = data[:begin] + new.encode() + b"\n" * (end_line - node.lineno) + data[end:]
    return data.decode()
