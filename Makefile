# One task file. Every target sets up what it needs: a virtual environment with the pinned versions, nothing else.
PYTHON ?= python3
BIN := .venv/bin
THREADS ?= 2

.PHONY: demo test check bench docs clean

demo: .venv/.run
	$(BIN)/pinseat demo front --out build/front

test: .venv/.dev
	$(BIN)/python -m pytest -n $(THREADS) --dist worksteal

check: .venv/.dev
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy
	$(BIN)/lint-imports

bench: .venv/.dev
	$(BIN)/python -m benchmarks

docs: .venv/.dev
	$(BIN)/python -m docs.build

clean:
	rm -rf build .venv

.venv/bin/python:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
	  { echo "pinseat needs Python 3.11 or newer; name one with: make PYTHON=python3.12 ..." >&2; exit 2; }
	$(PYTHON) -m venv .venv

.venv/.run: pyproject.toml constraints.txt | .venv/bin/python
	$(BIN)/python -m pip install --quiet --constraint constraints.txt --editable .
	touch $@

.venv/.dev: pyproject.toml constraints.txt | .venv/bin/python
	$(BIN)/python -m pip install --quiet --constraint constraints.txt --editable '.[dev]'
	touch $@ .venv/.run
