# `make` alone prints what there is. PORT, SITES and PYTHON can be given: make run PORT=8123
PYTHON ?= $(shell command -v python3.11 || command -v python3)
PORT ?= 8000
SITES ?= 60
VENV := .venv
PY := $(VENV)/bin/python
MANAGE := $(PY) manage.py
WORKERS ?= 2

.DEFAULT_GOAL := help
.PHONY: help run serve demo-data test core deep mutants lint contracts bench services-test roads lock clean

help: ## print this list
	@grep -hE '^[a-z-]+:.*##' $(MAKEFILE_LIST) | sed 's/:.*## /\t/' | expand -t 16

$(VENV)/bin/python:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { echo "Rillbook needs Python 3.11 or newer; $(PYTHON) is older."; exit 1; }
	@$(PYTHON) -m venv $(VENV) || { echo "No virtual environment could be made. On Debian: apt-get install python3-venv"; rm -rf $(VENV); exit 1; }

$(VENV)/.runtime: requirements.txt | $(VENV)/bin/python
	@echo "Installing the pinned dependencies (once, about a minute)..."
	@$(PY) -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements.txt
	@touch $@

$(VENV)/.dev: requirements-dev.txt | $(VENV)/bin/python
	@echo "Installing the pinned dependencies for tests (once, about two minutes)..."
	@$(PY) -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements-dev.txt
	@touch $@ $(VENV)/.runtime

demo-data: $(VENV)/.runtime ## load the invented demo firm into an empty database (SITES=60)
	@$(MANAGE) migrate --verbosity 0
	@$(MANAGE) demo --if-empty --sites $(SITES)

run: demo-data ## set everything up, load the demo, serve on localhost (PORT=8000)
	@$(MANAGE) collectstatic --noinput --verbosity 0
	@$(MANAGE) welcome --port $(PORT)
	@RILLBOOK_PUBLIC_URL=http://localhost:$(PORT) $(VENV)/bin/gunicorn config.wsgi --bind 127.0.0.1:$(PORT) \
		--workers $(WORKERS) --threads 4 --worker-class gthread --timeout 120 --log-level warning

test: $(VENV)/.dev ## the whole suite on SQLite, no services needed
	@$(VENV)/bin/pytest -n 2 --dist loadfile -q --durations 10

core: $(VENV)/.dev ## the computing cores alone, Django switched off, in seconds
	@HYPOTHESIS_PROFILE=core $(VENV)/bin/pytest -p no:django -c tests/core.ini --rootdir . -m "not slow" \
		tests/sites/core tests/scheduling/core tests/jobs/core

deep: $(VENV)/.dev ## the long runs: properties far beyond the suite's examples, a bad line, killed senders, mutants (hours)
	@HYPOTHESIS_PROFILE=deep RILLBOOK_BAD_LINE_RUNS=1000 RILLBOOK_KILLS=40 $(VENV)/bin/pytest -n 2 --dist loadfile -q \
		$$(grep -rlE "hypothesis|RILLBOOK_(BAD_LINE_RUNS|KILLS)" tests --include='test_*.py')
	@$(MAKE) --no-print-directory mutants

mutants: $(VENV)/.dev ## whether the core tests notice 300 small mistakes in the cores (about five minutes)
	@$(PY) tests/mutants.py

lint: $(VENV)/.dev ## style, types, import contracts, missing migrations
	@$(VENV)/bin/ruff check . && $(VENV)/bin/ruff format --check .
	@$(VENV)/bin/mypy
	@$(MAKE) --no-print-directory contracts
	@$(MANAGE) makemigrations --check --dry-run

contracts: $(VENV)/.dev ## what each app and layer may import, call and link to
	@$(VENV)/bin/lint-imports --no-cache
	@$(PY) .ci/contracts.py

bench: $(VENV)/.dev ## all benchmarks, one JSON object a line
	@$(MANAGE) bench all --json

services-test: $(VENV)/.dev ## the suite on PostgreSQL and Redis with a live worker; see .ci/services
	@.ci/services $(VENV)/bin/pytest -q

roads: $(VENV)/.runtime ## start a road server on real streets for tests and trying (OSRM_URL is what it prints)
	@.ci/roads start

lock: ## compile the pinned requirement files (needs uv on the path)
	@for name in requirements requirements-dev; do \
		uv pip compile $$name.in --universal --python-version 3.11 --no-header --generate-hashes --quiet --output-file $$name.txt; done

clean: ## remove the virtual environment and caches, never the data in var/
	@rm -rf $(VENV) staticfiles .pytest_cache .mypy_cache .ruff_cache .hypothesis .import_linter_cache
