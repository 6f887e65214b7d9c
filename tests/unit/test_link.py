"""The linker: constants become numbers, and what may be looked up, and every line, stays."""

import ast
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tools import bundle
from tools.link import LinkError, link

FROM = "from controller._const import const\n"
FAR = FROM + "FAR = const(5)\nNONE = const(-1)\nOTHER = 7\n"


def linked(text: str, far: str = FAR) -> str:
    """`text`, linked beside a module that defines constants."""
    return link({"far.py": far, "here.py": text})["here.py"]


def ran(text: str) -> dict[str, object]:
    names: dict[str, object] = {"const": lambda value: value}
    exec(text.replace(FROM.strip(), ""), names)
    return names


def test_constants_become_numbers() -> None:
    text = "from far import FAR, OTHER, NONE as _NO\nX = const(3)\ny = X - _NO * FAR + OTHER\n"
    assert linked(text) == "from far import OTHER\n\ny = (3) - (-1) * (5) + OTHER\n"


def test_nothing_is_left_of_what_nobody_looks_up() -> None:
    both = link({"far.py": FAR, "here.py": FROM + "from far import FAR\nx = [FAR]\n"})
    assert both == {"far.py": "\n\n\nOTHER = 7\n", "here.py": "\n\nx = [(5)]\n"}


@pytest.mark.parametrize(
    "user",
    [
        "import far\nx = far.FAR\n",
        "from pack import far as f\nx = f.FAR\n",
        "import far\nx = getattr(far, 'FAR')\n",
        "import far\nx = far.__dict__['FAR']\n",
        "from middle import FAR\n",
        "FAR = 1\nx = f'{FAR:3}'\n",
    ],
)
def test_what_may_be_looked_up_keeps_its_name(user: str) -> None:
    texts = {"far.py": FAR, "middle.py": "from far import FAR\n", "user.py": user}
    found = link(texts)
    assert found["far.py"] == "\nFAR = (5)\n\nOTHER = 7\n"
    assert ran(found["middle.py"])["FAR"] == 5
    assert found["user.py"] == user


def test_an_f_string_shows_a_constant_by_its_name() -> None:
    text = "from far import FAR, NONE\nx = f'{FAR:3} {NONE}'\ny = FAR\n"
    assert linked(text) == "FAR = 5; NONE = -1\nx = f'{FAR:3} {NONE}'\ny = (5)\n"


def test_ports_keep_their_names_for_code_that_is_not_bundled() -> None:
    text = FROM + "PLAN = const(1)\n_MOST = const(9)\nx = PLAN\n"
    found = link({"controller/ports.py": text})["controller/ports.py"]
    assert found == "\nPLAN = (1)\n_MOST = (9)\nx = (1)\n"


def test_a_module_may_be_told_to_keep_its_names() -> None:
    found = link({"far.py": FAR, "here.py": FROM + "from far import FAR\nx = [FAR]\n"}, ["far"])
    assert found == {
        "far.py": "\nFAR = (5)\nNONE = (-1)\nOTHER = 7\n",
        "here.py": "\n\nx = [(5)]\n",
    }


def test_const_stays_where_it_is_still_used() -> None:
    text = FROM + "A = const(2)\nB = const(A + 1)\nx = A + B\n"
    assert linked(text) == FROM + "\nB = const((2) + 1)\nx = (2) + B\n"
    inside = FROM + "class K:\n    A = const(2)\n"
    assert linked(inside) == inside


def test_an_import_in_a_block_leaves_a_block() -> None:
    text = "def f(x):\n    from far import FAR\ndef g():\n    return 1\n"
    assert linked(text) == text.replace("from far import FAR", "pass")


def test_lines_stay() -> None:
    text = (
        "from far import (\n    FAR,  # é\n    OTHER,\n)\nX = const(\n    3\n)  # é\n"
        "def f(x):\n    assert x, 'é' + str(FAR)\n    return (\n        FAR + X\n    )\n"
    )
    assert linked(text) == (
        "from far import OTHER\n\n\n\n\n\n  # é\n"
        "def f(x):\n    assert x, 'é' + str((5))\n    return (\n        (5) + (3)\n    )\n"
    )


@pytest.mark.parametrize(
    "text",
    [
        "FAR = 1\n",
        "def f(FAR):\n    return FAR\n",
        "x = lambda *FAR: FAR\n",
        "def f():\n    FAR = 2\n    return FAR\n",
        "def f():\n    global FAR\n    FAR += 1\n",
        "x = [FAR for FAR in range(3)]\n",
        "for x, FAR in []:\n    pass\n",
        "import x as FAR\n",
        "def FAR():\n    pass\n",
        "class FAR:\n    pass\n",
        "try:\n    pass\nexcept OSError as FAR:\n    pass\n",
        "with open('x') as FAR:\n    pass\n",
        "del FAR\n",
        "x = (FAR := 3)\n",
        "from far import *\n",
        "from . import *\n",
        "from .far import y\n",
    ],
)
def test_what_folding_might_change_is_refused(text: str) -> None:
    with pytest.raises(LinkError, match=r"^here\.py:[1-9]: found .*, allowed "):
        linked("from far import FAR\n" + text)


def test_a_module_of_the_same_folder_may_be_imported_by_a_dot() -> None:
    """Its constants are not looked for; one that stands in the package itself is kept."""
    text = "from . import near, OWN\nx = near.FAR + OWN\n"
    texts = {"mine/__init__.py": FROM + "OWN = const(2)\n", "mine/main.py": text}
    found = link({**texts, "mine/near.py": FAR})
    assert found["mine/main.py"] == text
    assert found["mine/__init__.py"] == "\nOWN = (2)\n"
    assert "FAR = (5)" in found["mine/near.py"]


def test_a_name_is_only_a_constant_where_it_is_one() -> None:
    text = "def f(FAR, x):\n    NONE = FAR\n    x.OTHER = NONE\n    return f(FAR=NONE, x='FAR')\n"
    assert linked(text) == text


def test_what_is_no_python_is_one_line() -> None:
    with pytest.raises(LinkError, match=r"^here\.py:2: SyntaxError: "):
        linked("x = 1\ny = (\n")


TERMS = st.sampled_from(["A", "_B", "C", "-A", "~C", "_B ** 2", "-_B ** 2", "A.bit_length()"])
OPERATORS = st.sampled_from(["+", "-", "*", "<", "==", "|", "or", "and not", "if C else", "]+[-"])


@given(
    st.tuples(*[st.integers(-(2**31), 2**31)] * 3),
    st.lists(st.tuples(TERMS, OPERATORS), max_size=8),
)
def test_an_expression_has_the_same_value(
    values: tuple[int, ...], parts: list[tuple[str, str]]
) -> None:
    expression = "[" + " ".join([f"{term} {operator}" for term, operator in parts]) + " A]"
    far = "A = const({})\nB = const({})\nC = const({})\n".format(*values)
    text = linked(f"from far import A, B as _B, C\nfound = {expression}\n", far)
    assert "A" not in text and "_B" not in text and "C" not in text
    names = dict(zip(("A", "_B", "C"), values, strict=True))
    assert ran(text)["found"] == eval(expression, names)


@pytest.mark.parametrize("board", bundle.board_names())
def test_the_modules_of_a_board_link(board: str) -> None:
    texts = bundle.sources(bundle.find(board))
    found = link(texts)
    trees = {Path(path).with_suffix("").as_posix(): ast.parse(text) for path, text in found.items()}
    for path, text in texts.items():
        assert found[path].count("\n") == text.count("\n")
        # Whatever runs is on the line it was on: all but what defines or imports a constant.
        before, after = ast.parse(text), trees[path.removesuffix(".py")]
        lines = {(type(n), n.lineno) for n in ast.walk(before) if isinstance(n, ast.stmt)}
        lines |= {(ast.Assign, n.lineno) for n in before.body if isinstance(n, ast.ImportFrom)}
        assert {(type(n), n.lineno) for n in ast.walk(after) if isinstance(n, ast.stmt)} <= lines
    checked = 0
    for tree in trees.values():
        for node in tree.body:
            if isinstance(node, ast.ImportFrom):
                there = trees.get(str(node.module).replace(".", "/"))
                for alias in node.names if there else []:
                    checked += 1
                    assert alias.name in tops(there), f"{node.module} has no {alias.name}"
    assert checked > 40


def tops(tree: ast.Module | None) -> set[str]:
    """Names that a module has at its top."""
    nodes = ast.walk(tree) if tree else []
    names = {n.id for n in nodes if isinstance(n, ast.Name) and isinstance(n.ctx, ast.Store)}
    nodes = tree.body if tree else []
    names |= {n.name for n in nodes if isinstance(n, ast.FunctionDef | ast.ClassDef)}
    return names | {
        a.asname or a.name for n in nodes if isinstance(n, ast.ImportFrom) for a in n.names
    }
