# What a fresh machine needs: Python 3.11 or newer with venv, and make. Everything else goes into .venv.
PYTHON ?= python3
BIN := .venv/bin
PIP := $(BIN)/python -m pip --disable-pip-version-check

.PHONY: demo test test-all test-long check bench bench-accuracy bench-geometry bench-conditions bench-desk bench-batch bench-report bench-hands samples pictures day-pictures ranker

demo: .venv/.installed
	$(BIN)/speckwise demo

test: .venv/.installed-dev
	$(BIN)/python -m pytest -q -n auto --dist worksteal

# The same with browsers, clusters, killed processes and many drawn shots.
test-all: export SPECKWISE_SLOW = 1
test-all: test

# The same again with what takes longest, and with more examples.
test-long: export SPECKWISE_LONG = 1
test-long: test

check: .venv/.installed-dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(MAKE) test

# What the benches share with the tests stands beside the tests.
bench bench-accuracy bench-geometry bench-conditions bench-desk bench-batch bench-report bench-hands: export PYTHONPATH = tests

bench: .venv/.installed-dev
	$(BIN)/python tests/bench/steps.py

bench-accuracy: .venv/.installed-dev
	$(BIN)/python tests/bench/accuracy.py

bench-hands: .venv/.installed-dev
	$(BIN)/python tests/bench/hands.py

bench-geometry: .venv/.installed-dev
	$(BIN)/python tests/bench/geometry.py

bench-conditions: .venv/.installed-dev
	$(BIN)/python tests/bench/conditions.py

bench-desk: .venv/.installed-dev
	$(BIN)/python tests/bench/desk.py

bench-batch: .venv/.installed-dev
	$(BIN)/python tests/bench/batch.py

bench-report: .venv/.installed-dev
	$(BIN)/python tests/bench/report.py

pictures: .venv/.installed
	$(BIN)/python docs/draw_set_up.py

# Screens of a real browser: needs what the tests need.
day-pictures: .venv/.installed-dev
	$(BIN)/python docs/day_pictures.py

ranker: .venv/.installed-dev
	$(BIN)/python -m vision.train

samples: .venv/.installed
	$(BIN)/python sample_images/redraw.py

# The stamps make a second call start at once; a change of pyproject.toml installs again.
.venv/.installed: pyproject.toml
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { echo "Speckwise needs Python 3.11 or newer: make $(MAKECMDGOALS) PYTHON=python3.12"; exit 1; }
	test -x $(BIN)/python || $(PYTHON) -m venv .venv
	$(PIP) install --quiet --upgrade "pip>=25.1"
	$(PIP) install --quiet --no-compile --editable .
	touch $@

.venv/.installed-dev: .venv/.installed
	$(PIP) install --quiet --no-compile --group dev
	touch $@
