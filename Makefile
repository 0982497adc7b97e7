# Two commands to know: `make demo` and `make test`. Both set up what they need in .tools and .venv, and nothing else.

PYTHON ?= python3
DEPOT ?= depot
UV := .tools/bin/uv
BIN := .venv/bin
export UV_PYTHON_DOWNLOADS := never
export UV_PROJECT_ENVIRONMENT := .venv
export DAGSTER_DISABLE_TELEMETRY := yes
export GX_ANALYTICS_ENABLED := false
# Else a machine that keeps Python from writing .pyc files compiles every library again at each start.
export UV_COMPILE_BYTECODE := 1

.PHONY: help wheel setup setup-dev demo test explore lint format docs benchmark detection coverage recovery attack crash clean

help: ## show this list
	@grep -E '^[a-z-]+:.*##' $(MAKEFILE_LIST) | sed -E 's/:.*## /\t/' | expand -t 14

$(UV):
	@$(PYTHON) -c 'import sys; sys.exit(0 if (3, 11) <= sys.version_info[:2] <= (3, 13) else "manystrides needs Python 3.11 to 3.13; found %d.%d. Try: make PYTHON=python3.12 ..." % sys.version_info[:2])'
	@$(PYTHON) -m venv .tools || { echo "Could not make a virtual environment. On Debian: apt-get install python3-venv"; exit 1; }
	@.tools/bin/pip install --quiet --disable-pip-version-check 'uv>=0.5' || { rm -rf .tools; echo "Could not install uv: is there a network connection to the package index?"; exit 1; }

setup: $(UV) ## install what running needs
	@$(UV) sync --quiet --frozen --no-dev --extra depot --inexact --python $(PYTHON)
	@$(BIN)/python -m compileall -q schemas checks pipelines

setup-dev: $(UV) ## install what developing needs
	@$(UV) sync --quiet --frozen --python $(PYTHON)
	@$(BIN)/python -m compileall -q schemas checks pipelines benchmarks demo_site_uploads tests

demo: setup ## take in the demo deliveries: depot, warehouse and pages
	@$(BIN)/manystrides run --study demo_site_uploads/study.yaml --inbox demo_site_uploads/inbox --depot $(DEPOT) || test $$? -eq 4  # 4: some of it goes back, as it is meant to
	@echo 'To call manystrides by its name: export PATH="$$PWD/$(BIN):$$PATH"'

test: setup-dev ## run every test
	@PYTHONDONTWRITEBYTECODE= $(BIN)/python -m pytest -n auto --dist loadscope --no-loadscope-reorder

explore: setup-dev ## property tests from new random seeds; what is found becomes a plain test (long)
	@MANYSTRIDES_HYPOTHESIS=explore $(BIN)/python -m pytest -n auto -m 'hypothesis'

lint: setup-dev ## style, types, and whether the generated pages are up to date
	@$(BIN)/ruff check .
	@$(BIN)/ruff format --check .
	@$(BIN)/mypy
	@$(BIN)/python -m pipelines.command.docs_pages --check

format: setup-dev ## put the code in the common form
	@$(BIN)/ruff check --fix --quiet . ; $(BIN)/ruff format --quiet .

docs: setup-dev ## write docs/reference again from the definitions
	@$(BIN)/python -m pipelines.command.docs_pages

wheel: $(UV) ## the file that laboratories install from: dist/manystrides-*.whl
	@$(UV) build --quiet --wheel --out-dir dist

benchmark: setup-dev ## ratios of two things measured in the same run: docs/reference/speed.md
	@$(BIN)/python -m benchmarks --write

detection: setup-dev ## plant every fault in many trials: docs/reference/detection.md (10 minutes)
	@$(BIN)/python -m benchmarks.detection --full --write

coverage: setup-dev ## simulate whole studies, see how often intervals hold the truth: docs/reference/coverage.md (10 minutes)
	@$(BIN)/python -m benchmarks.coverage --write

recovery: setup-dev ## hold what comes out of simulated trials against what was simulated: docs/reference/recovery.md
	@$(BIN)/python -m benchmarks.recovery --write

attack: setup-dev ## damaged and hostile files, thousands of them (10 minutes)
	@$(BIN)/python -m benchmarks.attack --full

crash: setup-dev ## kill runs and withdrawals and fill disks at random moments (long)
	@$(BIN)/python -m benchmarks.crash --full
	@$(BIN)/python -m benchmarks.withdrawal_kills --kills 60

clean: ## remove what make made, except the depot
	rm -rf .tools .venv .pytest_cache .hypothesis .mypy_cache .ruff_cache *.egg-info
