# make demo   set up and run the main job on invented data, end to end
# make test   set up everything the tests need (Debian packages too, as root or with sudo), run all
# make long   the tests with their full counts
# make check  style, types, import directions, docs
# make bench  the benchmarks, side by side in one run (about 25 minutes)
# make study  invented trials, ten thousand a cell: what every method finds, the band over time,
#             what screening asks (about five minutes)
# make hindcast  published heaps simulated and scored (half an hour)
# make twins  invented heaps whose truth is known, learned from and scored (half an hour; goes on
#             where it was stopped)
# make series  measured series forecast from their first part and scored (ten minutes)
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
WORKERS ?= 2

.PHONY: demo test long check bench study hindcast twins series docs clean

demo: $(VENV)/.run
	$(BIN)/heapwright demo --folder ferncombe-demo

test: $(VENV)/.dev
	scripts/debian-packages
	$(BIN)/python -m pytest -n $(WORKERS) --dist worksteal -m "not long"

long: $(VENV)/.dev
	scripts/debian-packages
	HEAPWRIGHT_LONG=1 $(BIN)/python -m pytest -n $(WORKERS) --dist worksteal

check: $(VENV)/.dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports
	$(BIN)/python docs/generate.py --check
	$(BIN)/python -m sphinx -q -W -b html docs docs/_build/html

bench: $(VENV)/.bench
	$(BIN)/python benchmarks/b1.py

study: $(VENV)/.dev
	$(BIN)/python -m benchmarks.study
	$(BIN)/python benchmarks/band.py
	$(BIN)/python benchmarks/screening.py --logs 2000

hindcast: $(VENV)/.dev
	$(BIN)/python -m benchmarks.hindcast --workers $(WORKERS)

twins: $(VENV)/.dev
	$(BIN)/python -m benchmarks.twins --workers $(WORKERS)

series: $(VENV)/.dev
	$(BIN)/python -m benchmarks.series --workers $(WORKERS)

docs: $(VENV)/.dev
	$(BIN)/python docs/generate.py
	$(BIN)/python -m sphinx -q -W -b html docs docs/_build/html

clean:
	rm -rf $(VENV) docs/_build build ferncombe-demo

$(VENV)/.run: requirements/run.txt pyproject.toml scripts/make-venv
	scripts/make-venv $(PYTHON) $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements/run.txt
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation -e .
	touch $@

$(VENV)/.dev: $(VENV)/.run requirements/dev.txt
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements/dev.txt
	touch $@

$(VENV)/.bench: $(VENV)/.dev requirements/bench.txt
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements/bench.txt
	touch $@
