# Every target sets up what it needs in .venv by itself. Needs Python >= 3.11.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
PIP := $(BIN)/python -m pip --disable-pip-version-check -q

.PHONY: demo test check proof bench lock samples screenshots clean

demo: $(VENV)/.ready-run
	@$(BIN)/loadglass demo

test: $(VENV)/.ready-dev
	@$(BIN)/python -m pytest -n auto -m "not proof"

check: $(VENV)/.ready-dev
	@$(BIN)/ruff check .
	@$(BIN)/ruff format --check .
	@$(BIN)/mypy
	@$(BIN)/lint-imports

proof: $(VENV)/.ready-dev
	@LOADGLASS_PROOF=1 $(BIN)/python -m pytest -n auto -m "proof" --durations=10

samples: $(VENV)/.ready-run
	@$(BIN)/python -m sample_images.make

# What runs, and what builds it: lean, so that a small board installs nothing it will not use.
$(VENV)/.ready-run: requirements.lock pyproject.toml
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11) and "loadglass needs Python 3.11 or newer; this one is " + sys.version.split()[0])'
	@test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	@echo "Setting up $(VENV) (once; about a minute) ..."
	@$(PIP) install --require-hashes -r requirements.lock
	@$(PIP) install --no-deps --no-build-isolation -e .
	@touch $@

$(VENV)/.ready-dev: requirements-dev.lock $(VENV)/.ready-run
	@echo "Adding the test tools ..."
	@$(PIP) install --require-hashes -r requirements-dev.lock
	@touch $@

# Writes both lock files for every platform, hashed, with no registry address in them.
LOCK := uv pip compile --universal --python-version 3.11 --generate-hashes --no-annotate --no-header --no-emit-index-url --quiet
lock:
	@command -v uv >/dev/null || { echo "make lock needs uv (pip install uv)"; exit 1; }
	@$(LOCK) pyproject.toml --group build -o requirements.lock
	@$(LOCK) pyproject.toml --group build --group dev -c requirements.lock -o requirements-dev.lock

clean:
	@rm -rf $(VENV) .mypy_cache .ruff_cache .import_linter_cache .hypothesis dist

bench: $(VENV)/.ready-dev
	@for script in tests/benchmarks/bench_*.py; do echo "== $$script"; $(BIN)/python -m "$$(echo $${script%.py} | tr / .)"; done

screenshots: $(VENV)/.ready-dev
	@$(BIN)/python -m tests.screenshots
