"""The joiner: one module of many, every name where it is looked up, short only where none looks."""

import ast

import pytest

from controller.runner import Runner
from tests.core import Bench, plan, wall
from tools import bundle
from tools.join import CORE_PATH, join, shorten
from tools.link import LinkError

SOURCES = sorted((bundle.ROOT / "controller").glob("*.py"))


def core(**texts: str) -> str:
    return join({f"controller/{name}.py": text for name, text in texts.items()})[CORE_PATH]


def test_what_is_imported_stands_before_what_imports_it() -> None:
    text = core(a="from controller.b import two\nthree = two + 1\n", b="import struct\ntwo = 2\n")
    names: dict[str, object] = {}
    exec(text, names)
    assert names["three"] == 3
    assert (
        text == "# controller/b.py\nimport struct\ntwo = 2\n# controller/a.py\n\nthree = two + 1\n"
    )


def test_an_import_and_what_only_types_need_stand_once_or_not_at_all() -> None:
    types = "if (0):\n    from controller.b import Two\n"
    text = core(a=f"import struct\n{types}one = 1\n", b="import struct\nTwo = 2\n")
    assert text.count("import struct") == 1 and "if (0)" not in text


def test_others_import_from_what_is_joined() -> None:
    texts = {
        "controller/__init__.py": "",
        "controller/a.py": "one = 1\n",
        "controller/ports.py": "CLOSE = 0\n",
        "boards/x.py": "def f():\n    from controller.a import one as first\n",
        "boards/z.py": "from controller import a as b, ports, a\n",
        "boards/y.py": "from controller import ports\nfrom controller.ports import CLOSE\n",
    }
    found = join(texts)
    assert found["boards/x.py"] == "def f():\n    from controller.runner import one as first\n"
    assert found["boards/z.py"] == "from controller import runner as b, ports, runner as a\n"
    assert found["boards/y.py"] == texts["boards/y.py"]
    assert found.keys() == texts.keys() - {"controller/a.py"} | {CORE_PATH}


@pytest.mark.parametrize(
    "texts",
    [
        {"controller/a.py": "one = 1\n", "x.py": "import controller.a\n"},
        {"controller/a.py": "def f(a):\n    return a._b\n", "x.py": "print(hub._b)\n"},
        {"controller/a.py": "one = 1\n", "controller/b.py": "from controller import a\n"},
        {"controller/a.py": "one = 1\n", "controller/b.py": "one: int = 2\n"},
        {"controller/a.py": "def one():\n    pass\n", "controller/b.py": "class one:\n    pass\n"},
        {
            "controller/a.py": "one = 1\n",
            "controller/b.py": "from controller.a import one as two\n",
        },
    ],
)
def test_what_joining_might_change_is_refused(texts: dict[str, str]) -> None:
    with pytest.raises(LinkError, match=r"^[a-z/]+\.py:1: found .*, allowed "):
        join(texts)


def test_private_data_is_shortened_and_functions_are_not() -> None:
    text = (
        "class K:\n    _held = 1\n    def _look(self):\n        return self._held, '_held'\n"
        "    def f(self, _a):\n        self._far_away = _a\n"
    )
    assert shorten(text) == (
        "class K:\n    _c = 1\n    def _look(self):\n        return self._c, '_held'\n"
        "    def f(self, _a):\n        self._b = _a\n"
    )


def test_the_core_joined_runs_as_its_sources_do() -> None:
    """A month, on the same ports: every command and event the same."""
    texts = bundle.joined(bundle.texts_of(SOURCES))
    text = shorten(texts[CORE_PATH])
    assert [text.count("\n"), "self._record" in text] == [texts[CORE_PATH].count("\n"), False]
    imported = {n.module for n in ast.walk(ast.parse(text)) if isinstance(n, ast.ImportFrom)}
    assert imported == {"binascii", "controller.ports"}
    names: dict[str, object] = {}
    exec(compile(text, CORE_PATH, "exec"), names)
    told = []
    for runner in (Runner, names["Runner"]):
        bench = Bench(plan(4), wall(2026, 6, 1))
        bench.runner = runner(bench)  # type: ignore[operator]  # the joined class is known by name
        bench.run_until(30 * 86400)
        told.append((bench.events, len(bench.events)))
    assert told[0] == told[1] and told[0][1] > 300
