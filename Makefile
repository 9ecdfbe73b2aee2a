# The two commands to know: `make run` and `make test`. Everything is installed into .venv, by hash, from requirements/.

PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
PIP := $(BIN)/python -m pip --disable-pip-version-check --no-input

RUN_STAMP := $(VENV)/.installed-run
DEV_STAMP := $(VENV)/.installed-dev

.DEFAULT_GOAL := help
.DELETE_ON_ERROR:

.PHONY: help
help: ## Show this list
	@sed -nE 's/^([a-z-]+):.*## (.*)/make \1\t\2/p' $(MAKEFILE_LIST) | expand -t 16

# --- set up ------------------------------------------------------------------------------------------------------

.PHONY: setup
setup: $(DEV_STAMP) ## Create .venv with everything that running, testing and building needs

$(BIN)/python:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
		{ echo "Python 3.11 or newer is needed, $(PYTHON) is $$($(PYTHON) --version 2>&1). Name another one: make PYTHON=python3.12 setup" >&2; exit 1; }
	$(PYTHON) -m venv $(VENV)

# The project is installed last and editable, with the locked build backend, so that this step asks no network.
$(RUN_STAMP): requirements/run.lock pyproject.toml | $(BIN)/python
	$(PIP) install --quiet --require-hashes -r requirements/run.lock
	$(PIP) install --quiet --no-deps --no-build-isolation --no-index --editable .
	@touch $@

$(DEV_STAMP): requirements/dev.lock $(RUN_STAMP)
	$(PIP) install --quiet --require-hashes -r requirements/dev.lock
	@touch $@

# --- run ---------------------------------------------------------------------------------------------------------

.PHONY: run
run: $(RUN_STAMP) ## Open the demo record (made on first use) and serve it on this computer
	$(BIN)/loopworthy demo --serve

# --- check -------------------------------------------------------------------------------------------------------

.PHONY: test
test: lint types arrows ## Run every check: style, types, arrows and all tests, a real browser included
	@chromium="$$(scripts/ensure-chromium)" && LOOPWORTHY_CHROMIUM="$$chromium" $(BIN)/pytest

WORLDS ?= 5000

.PHONY: world
world: $(DEV_STAMP) ## Simulate five thousand worlds of devices that merge (make world WORLDS=20000)
	LOOPWORTHY_WORLDS=$(WORLDS) $(BIN)/pytest -q tests/world

.PHONY: lint
lint: $(DEV_STAMP) ## Check style and format
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .

.PHONY: types
types: $(DEV_STAMP) ## Check types
	$(BIN)/mypy

.PHONY: arrows
arrows: $(DEV_STAMP) ## Check that imports point one way
	$(BIN)/lint-imports --no-logo

.PHONY: bench
bench: $(DEV_STAMP) ## Run the measurements in benchmarks/
	@set -e; found=0; for file in benchmarks/bench_*.py; do \
		[ -e "$$file" ] || continue; found=1; echo "$$file"; $(BIN)/python "$$file"; \
	done; [ $$found = 1 ] || { echo "There is no benchmarks/bench_*.py to run" >&2; exit 1; }

# --- build -------------------------------------------------------------------------------------------------------

.PHONY: wheel
wheel: $(DEV_STAMP) ## Build wheel and source archive into dist/
	$(BIN)/python -m build --no-isolation

.PHONY: phone
phone: $(DEV_STAMP) ## Build the folder that a phone keeps for use without a network, into dist/phone
	$(BIN)/python phone/build.py

# Versions that are locked stay unless asked for: make lock UPGRADE=--upgrade, or UPGRADE='--upgrade-package NAME'.
COMPILE = CUSTOM_COMPILE_COMMAND="make lock" $(BIN)/pip-compile --quiet --generate-hashes --allow-unsafe --strip-extras \
	--no-emit-index-url --no-emit-trusted-host --no-emit-find-links --no-emit-options $(UPGRADE)

.PHONY: lock
lock: $(DEV_STAMP) ## Resolve the dependencies of pyproject.toml anew into requirements/
	$(COMPILE) --extra backend --output-file requirements/run.lock pyproject.toml
	$(COMPILE) --all-extras --constraint requirements/run.lock --output-file requirements/dev.lock pyproject.toml

.PHONY: clean
clean: ## Remove caches and builds; .venv and records stay
	rm -rf build dist .mypy_cache .ruff_cache .pytest_cache .import_linter_cache .hypothesis
	find src tests benchmarks -type d -name __pycache__ -prune -exec rm -rf {} +
