# Every command works from a fresh clone with python3 (3.11 or newer), make and git, and needs no root.
# Another interpreter: make PYTHON=python3.12 test

PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
UV_VERSION := 0.13.9

# Wheels only: a fresh machine has no compiler. Every package is in the lock, so pip resolves nothing.
INSTALL := $(BIN)/python -m pip install -qq --disable-pip-version-check \
	--no-input --no-deps
WHEELS := $(INSTALL) --only-binary :all:
# The project itself is built by the setuptools of the lock, so this repeats too.
PROJECT := $(INSTALL) --no-build-isolation --editable .

# The package as one folder of links to the repository's folders, for what looks for modules by their
# paths: mypy, import-linter, MicroPython.
SRC := $(VENV)/src
PACKAGE := $(SRC)/evenclay
TYPED := $(addprefix $(PACKAGE)/,controller sim tools boards/conformance.py boards/port_checks.py boards/rigs.py boards/desktop boards/log) tests

# Board code is typed against the stubs of its own port, which clash in one environment.
STUBS := $(VENV)/stubs
STUBS_rp2 := micropython-rp2-rpi_pico_w-stubs
STUBS_esp32 := micropython-esp32-stubs
BOARD_rp2 := rp2_pico_w
BOARD_esp32 := esp32
BOARD_COMMON := $(addprefix $(PACKAGE)/boards/,__init__.py common.py conformance.py ports.py port_checks.py rigs.py drivers log talk template)

# Whatever the machine says, Python keeps what it has compiled: tests start hundreds of processes.
unexport PYTHONDONTWRITEBYTECODE

.DEFAULT_GOAL := help
.DELETE_ON_ERROR:
.PHONY: golden campaign help install replay test second second-tests validation bench compiled size core kernel lint style types imports types-rp2 types-esp32 format lock wheels clean figures graph

help:  ## list the targets
	@awk -F ':.*## ' '/^[a-z]+:.*## / {printf "  make %-10s %s\n", $$1, $$2}' Makefile

install: $(VENV)/.stamp-dev  ## install all that these commands need, MicroPython too, and run nothing

replay: $(VENV)/.stamp-runtime  ## replay the demo property for a year; the report goes to out/demo
	@$(BIN)/evenclay replay sim/demo/property.toml --weather sim/demo/weather.csv --from 2022-01-01 --out out/demo

test: $(VENV)/.stamp-dev  ## all checks: lint, types, imports, tests, full branch coverage of controller/
	@$(MAKE) --no-print-directory -j 2 types core kernel lint
	@$(BIN)/python -m pytest -n 2 --dist loadfile --ignore tests/controller

# The same tests on a second version of Python, in an environment of its own. Its results count only
# where the machine has one: make second SECOND=path/to/python3.13
SECOND ?= python3.13
second:  ## the unit, property and golden tests on a second Python, where there is one
	@if $(SECOND) -c '' 2>/dev/null; then \
		$(MAKE) --no-print-directory PYTHON='$(SECOND)' VENV=.venv-second second-tests; \
	else echo 'skipped the tests on a second Python: found no $(SECOND)' >&2; fi

second-tests: $(VENV)/.stamp-dev
	@$(BIN)/python -m pytest -n 2 --dist loadfile tests/controller tests/unit tests/property tests/golden

validation: $(VENV)/.stamp-dev  ## write sim/VALIDATION.md and sim/ponding.png
	@$(BIN)/python -m evenclay.tools.dev.validation.page

bench: $(VENV)/.stamp-dev  ## print the benchmark table, of the compiled core as well
	-@$(BIN)/python -m evenclay.tools.dev.compiling
	@$(BIN)/python -m evenclay.tools.dev.bench.tables

compiled: $(VENV)/.stamp-dev  ## compile the core, for sweeps of many years; takes a C compiler
	@$(BIN)/python -m evenclay.tools.dev.compiling

size: $(VENV)/.stamp-dev  ## print the size of each compiled module beside its budget
	@$(BIN)/python -m evenclay.tools.board.size

# The core's own tests, whose branches are counted: in one process, beside which mypy has the other.
core: $(VENV)/.stamp-dev
	@$(BIN)/python -m pytest tests/controller --cov \
		--cov-report=term-missing:skip-covered --cov-fail-under=100

kernel: $(VENV)/.stamp-dev
	@$(BIN)/python -m tests.kernel

# Mypy's three runs take the longest, so make test has two of all at a time, the longest first.
lint: style types types-rp2 types-esp32 imports  ## ruff, mypy --strict, import-linter

style: $(VENV)/.stamp-dev
	@$(BIN)/ruff check --quiet .
	@$(BIN)/ruff format --check --quiet . || \
		{ echo 'not formatted: run make format' >&2; $(BIN)/ruff format --check . ; exit 1; }

types: $(VENV)/.stamp-dev
	@$(BIN)/mypy $(TYPED)

imports: $(VENV)/.stamp-dev
	@PYTHONPATH=$(SRC) $(BIN)/lint-imports --no-logo

types-rp2 types-esp32: types-%: $(STUBS)/%/.stamp
	@MYPYPATH=$(STUBS)/$*:$(SRC) $(BIN)/mypy --config-file boards/mypy.ini --no-error-summary \
		--custom-typeshed-dir $(STUBS)/$* --cache-dir .mypy_cache/$* \
		$(BOARD_COMMON) $(PACKAGE)/boards/$(BOARD_$*)

$(STUBS)/%/.stamp: $(VENV)/.stamp-dev
	@$(WHEELS) --upgrade --target $(STUBS)/$* --constraint requirements-dev.lock \
		$(STUBS_$*) micropython-stdlib-stubs
	@touch $@

format: $(VENV)/.stamp-dev  ## format the code and mend what ruff can mend
	@$(BIN)/ruff check --quiet --fix-only .
	@$(BIN)/ruff format .

golden: export EVENCLAY_COMPILED =
golden: $(VENV)/.stamp-dev  ## re-make the golden traces of the scripted year and the random weeks
	@$(BIN)/python -m tests.device.scripted_year --write
	@$(BIN)/python -m tests.device.random_weeks --write

figures: $(VENV)/.stamp-dev  ## print what a hub costs on a 32-bit board, for controller/README.md
	@$(BIN)/python -m tests.device.footprint

graph: $(VENV)/.stamp-dev  ## draw into DEVELOPERS.md which folder imports which
	@PYTHONPATH=$(SRC) $(BIN)/python -m evenclay.tools.dev.graph

campaign: $(VENV)/.stamp-dev  ## the slow tests: campaigns of faults and long comparisons in full, an hour or two
	@$(BIN)/python -m pytest -n 2 -m slow --timeout 7200

# The runtime lock is cut from the dev lock's versions, so the two never disagree.
# Pins stay as they are unless asked: make lock LOCK_FLAGS=--upgrade
lock: $(VENV)/.stamp-venv  ## re-make requirements.lock and requirements-dev.lock
	@$(GET_UV)
	@$(BIN)/python -c 'import tomllib; \
		print(*tomllib.load(open("pyproject.toml", "rb"))["build-system"]["requires"], sep="\n")' \
		> $(VENV)/build-requires.in
	@$(UV_COMPILE) --extra dev --output-file requirements-dev.lock
	@$(UV_COMPILE) --constraint requirements-dev.lock --output-file requirements.lock

GET_UV = $(WHEELS) --target $(VENV)/uv --upgrade uv==$(UV_VERSION)
UV_COMPILE = $(VENV)/uv/bin/uv pip compile pyproject.toml --extra desk $(VENV)/build-requires.in --quiet \
	--universal --python-version 3.11 --no-emit-index-url --no-header --no-annotate $(LOCK_FLAGS)

# The dev lock holds the runtime lock. Nothing is installed, and no wheel is fetched whole.
wheels: $(VENV)/.stamp-venv  ## ask whether all that is locked has wheels for Windows and macOS
	@$(GET_UV)
	@for platform in windows aarch64-apple-darwin x86_64-apple-darwin; do \
		for version in 3.11 3.13; do \
			echo "$$platform, Python $$version" && \
			$(VENV)/uv/bin/uv pip install --quiet --dry-run --no-deps --only-binary :all: \
				--python-platform $$platform --python-version $$version \
				--target $(VENV)/wheels --requirements requirements-dev.lock || exit 1; \
		done; \
	done

clean:  ## remove .venv, results and caches
	rm -rf $(VENV) .venv-second out build *.egg-info .coverage .coverage.* htmlcov .hypothesis \
		.import_linter_cache .mypy_cache .pytest_cache .ruff_cache
	find boards controller package sim tools tests -name __pycache__ -prune -exec rm -rf {} +

# One stamp for each state of the environment; all of them go with .venv.
$(VENV)/.stamp-venv:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null || \
		{ echo 'evenclay needs Python 3.11 or newer, and $(PYTHON) is not: try make PYTHON=python3.12' >&2; \
		exit 1; }
	@$(PYTHON) -m venv $(VENV)
	@touch $@

$(PACKAGE): | $(VENV)/.stamp-venv
	@mkdir -p $(PACKAGE)
	@ln -sfn $(foreach folder,boards controller sim tools,../../../$(folder)) $(PACKAGE)
	@ln -sfn ../../../package/__init__.py ../../../package/py.typed $(PACKAGE)

$(VENV)/.stamp-runtime: $(VENV)/.stamp-venv requirements.lock pyproject.toml | $(PACKAGE)
	@echo 'installing what a replay needs into $(VENV)' >&2
	@$(WHEELS) -r requirements.lock
	@$(PROJECT)
	@touch $@

# The dev lock holds the runtime lock, so its stamp serves both.
$(VENV)/.stamp-dev: $(VENV)/.stamp-venv requirements.lock requirements-dev.lock pyproject.toml | $(PACKAGE)
	@echo 'installing what the tests need into $(VENV)' >&2
	@$(WHEELS) -r requirements-dev.lock
	@$(PROJECT)
	@touch $(VENV)/.stamp-runtime $@
