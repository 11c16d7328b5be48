# `make demo` shows the main job, `make test` proves it, `make check` keeps the house in order.
PY ?= python3
VENV := .venv
BIN := $(VENV)/bin

.PHONY: demo test check bench horizons soak incidents months lock clean
.DELETE_ON_ERROR:

# A stamp and a pip that answers, never "is there a .venv": a failed `venv` leaves a half-made one behind.
$(VENV)/.ok: pyproject.toml requirements.lock
	@$(PY) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { echo "Duskbell needs Python 3.11 or newer: sudo apt install python3"; exit 1; }
	@$(PY) -m ensurepip --version >/dev/null 2>&1 || { echo "python3-venv is missing: sudo apt install python3-venv"; exit 1; }
	@echo "setting up $(VENV) (once, a minute or two) ..."
	@$(BIN)/python -m pip --version >/dev/null 2>&1 || { rm -rf $(VENV) && $(PY) -m venv $(VENV); }
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements.lock
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation -e .
	@touch $@

demo: $(VENV)/.ok
	@$(BIN)/python -m simulators.live.demo $(if $(ONCE),--once)

test: $(VENV)/.ok
	@$(BIN)/python -m pytest $(ARGS)

check: $(VENV)/.ok
	@$(BIN)/ruff format --check .
	@$(BIN)/ruff check .
	@$(BIN)/mypy
	@$(BIN)/lint-imports --no-cache

# Three climates, a year each: our decisions between a plain threshold and perfect foresight (some minutes).
bench: $(VENV)/.ok
	@$(BIN)/python -m simulators.bench $(ARGS)

# Twenty houses over thirty healthy days: nobody may be shown less than an hour (some twenty minutes).
horizons: $(VENV)/.ok
	@$(BIN)/python -m simulators.bench.horizons $(ARGS)

# Two hundred random stories of ten days, each from a seed of its own: not one promise may break (a quarter of an hour on two cores).
soak: $(VENV)/.ok
	@$(BIN)/python -m simulators.soak $(ARGS)

# A thousand incidents, each with one broken path to people: every emergency reaches somebody (a quarter of an hour).
incidents: $(VENV)/.ok
	@$(BIN)/python -m simulators.bench.incidents --jobs 2 $(ARGS)

# Twenty healthy months: no emergency is called, and at most two messages for today are sent (ten minutes).
months: $(VENV)/.ok
	@$(BIN)/python -m simulators.bench.months --jobs 2 $(ARGS)

# Renew the locked list; it holds names and hashes and no addresses.
lock:
	@uv pip compile --quiet pyproject.toml --all-extras --universal --python-version 3.11 --generate-hashes --no-header --no-annotate -o requirements.lock

clean:
	@rm -rf $(VENV) .mypy_cache .ruff_cache .pytest_cache .hypothesis demo-run*
