# Two targets set everything up on a fresh machine: `make demo` and `make test`.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin

.PHONY: demo test check bench docs clean

demo: $(VENV)/.installed
	$(BIN)/rollwright demo tannery-lane

test: check
	$(BIN)/python -m pytest -n auto --dist worksteal

check: $(VENV)/.installed-test
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

bench: $(VENV)/.installed-test
	$(BIN)/python -m pytest bench --benchmark-enable --benchmark-only --benchmark-columns=median,iqr,ops,rounds
	$(BIN)/python bench/report.py

docs: $(VENV)/.installed-test
	$(BIN)/python -m docs.make

clean:
	rm -rf $(VENV) build dist .mypy_cache .ruff_cache .pytest_cache .hypothesis

$(VENV)/bin/python:
	$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11) and "rollwright needs Python 3.11 or newer; run: make PYTHON=python3.12")'
	$(PYTHON) -m venv $(VENV)

$(VENV)/.installed: $(VENV)/bin/python pyproject.toml
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable .
	touch $@

$(VENV)/.installed-test: $(VENV)/.installed
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable '.[test]'
	touch $@
