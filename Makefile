# Everything one does with this project, as CI does it. `make help` lists it.

PYTHON ?= python3
WORKERS ?= 4
BIN := .venv/bin
MANAGE := $(BIN)/python manage.py
PYTEST := $(BIN)/python -m pytest $(if $(filter random,$(ORDER)),-p randomly)
SCHEMA := core/openapi.json
TEMPLATES = $(shell find core accounts jobs notifications -name '*.html')
SCREENSHOTS ?= $(CURDIR)/var/screenshots
PIP := $(BIN)/python -m pip install --quiet --disable-pip-version-check --constraint constraints.txt
# Two stamps, so that a first `make demo` does not wait for linters and test tools.
INSTALLED := .venv/.installed
FOR_WORK := .venv/.installed-for-work
# What checks and tests the scripts. Where Node.js or the network is missing it is left out.
FOR_SCRIPTS := tests/scripts/node_modules/.installed
# A file's tests stay together, and files keep their order: what waits longest goes first.
SHARED = -n $(WORKERS) --dist loadfile --no-loadscope-reorder
ON_SQLITE = env -u DATABASE_URL -u CELERY_BROKER_URL \
	$(PYTEST) -m "not bench and not servers" $(SHARED)
# Sums and scripts ask no database; the folder's queue and the embedded form have no server.
ON_SERVERS = $(BIN)/python -m tests.servers \
	$(PYTEST) -m "not bench and (not browser or servers)" $(SHARED) \
	--ignore tests/calc --ignore tests/reliability/test_folder_queue.py \
	--ignore tests/reliability/test_serve.py --ignore tests/test_scripts.py
# Who may do what, and what is said to whom, is decided before a database is asked.
SAME_ON_BOTH = $(addprefix --ignore tests/,test_no_chance.py api/test_callers.py \
	api/test_contract.py api/test_bad_input.py api/test_schema.py api/test_core_open_doors.py \
	api/test_tablet_forms.py api/test_sentences.py api/test_core_forms.py api/test_core_text.py)

# The tests start hundreds of processes; each would read all its sources anew.
unexport PYTHONDONTWRITEBYTECODE

.DEFAULT_GOAL := help
.PHONY: help setup demo serve test test-all check schema bench screenshots clean
.DELETE_ON_ERROR:

help: ## Say what can be made
	@awk -F ':.*## ' '/^[a-z-]+:.*## / { printf "  make %-11s %s\n", $$1, $$2 }' $(firstword $(MAKEFILE_LIST))

setup: $(FOR_WORK) ## Make the virtual environment with everything for work on the project

demo: $(INSTALLED) ## Play a working day on a fresh service and print it
	$(MANAGE) demo $(DEMO)

serve: $(INSTALLED) ## Run the service here: web server, worker and beat, on SQLite
	$(MANAGE) serve $(SERVE)

test: $(FOR_WORK) $(FOR_SCRIPTS) ## Run the tests, on SQLite and then on PostgreSQL and Redis where they answer
	@failed=0; $(ON_SQLITE) || failed=1; $(ON_SERVERS) $(SAME_ON_BOTH) || failed=1; exit $$failed

test-all: $(FOR_WORK) $(FOR_SCRIPTS) ## Run them with what can hardly differ on PostgreSQL there as well: before a release
	@failed=0; $(ON_SQLITE) || failed=1; $(ON_SERVERS) || failed=1; exit $$failed

check: $(FOR_WORK) $(FOR_SCRIPTS) ## Run every check that is no test: style, templates, types, layers, migrations, the schema
	$(BIN)/ruff check
	$(BIN)/ruff format --check
	$(BIN)/djade --check --target-version 5.2 $(TEMPLATES)
	$(BIN)/djlint --lint --quiet $(TEMPLATES)
	$(BIN)/mypy
	$(BIN)/lint-imports
	$(MANAGE) check
	$(MANAGE) makemigrations --check --dry-run
	$(BIN)/python -m tests.lint_migrations
	@fresh=$$(mktemp) && trap 'rm -f "$$fresh"' EXIT && \
	$(MANAGE) spectacular --format openapi-json --validate --fail-on-warn --file "$$fresh" && \
	{ diff --unified=2 $(SCHEMA) "$$fresh" || { \
		echo "$(SCHEMA) is not what the code says. Run 'make schema', read the difference, commit it."; \
		exit 1; }; }
	@$(BIN)/python -m tests.node check

schema: $(FOR_WORK) ## Write the OpenAPI document anew from the code
	$(MANAGE) spectacular --format openapi-json --validate --fail-on-warn --file $(SCHEMA)

bench: $(FOR_WORK) ## Measure against baselines of the same run; needs PostgreSQL and Redis
	$(BIN)/python -m tests.bench

screenshots: $(FOR_WORK) ## Take a picture of every page, on a tablet and a telephone, in light and dark
	@mkdir -p $(SCREENSHOTS)
	SHUTLINE_SCREENSHOTS=$(SCREENSHOTS) $(PYTEST) tests/browser -k everyone -q
	@echo "The pictures are in $(SCREENSHOTS)."

clean: ## Remove what was made here, but not the service's data in var
	rm -rf .venv *.egg-info .pytest_cache .mypy_cache .ruff_cache .import_linter_cache \
		.hypothesis .schemathesis .coverage tests/scripts/node_modules
	find . -name __pycache__ -type d -prune -exec rm -rf {} +
	find core accounts jobs notifications tests -type d -empty -delete

$(BIN)/python:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { \
		echo "Shutline needs Python 3.11 or newer, and $(PYTHON) is older or missing."; \
		echo "Install one, or name it: make PYTHON=/path/to/python3.12 ..."; exit 1; }
	@$(PYTHON) -c 'import ensurepip, venv' || { \
		echo "$(PYTHON) cannot make virtual environments. On Debian: apt install python3-venv"; \
		exit 1; }
	$(PYTHON) -m venv .venv

$(INSTALLED): pyproject.toml constraints.txt | $(BIN)/python
	$(PIP) --editable '.[demo]'
	@touch $@

$(FOR_WORK): $(INSTALLED)
	$(PIP) --editable '.[dev]'
	@touch $@

$(FOR_SCRIPTS): tests/scripts/package.json tests/scripts/package-lock.json | $(FOR_WORK)
	@$(BIN)/python -m tests.node install
