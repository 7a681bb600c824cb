# The whole of it: make demo, make test. Everything lives in .venv inside this folder.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
STAMP := $(VENV)/.installed-from-lock

SEED ?= 1
PLANT ?= series:22
SERVE ?= 1

.PHONY: demo test quick check lock picture benchmark benchmark-rig arm-wheels clean

demo: $(STAMP)
	@$(BIN)/ohmbath demo --seed $(SEED) --plant $(PLANT) $(if $(filter 0,$(SERVE)),--no-serve,)

# Brings what the tests need on Debian, then runs them all; the tests of one file stay in one process.
test: $(STAMP)
	@sh tests/debian_packages.sh
	$(BIN)/python -m pytest -q -n auto --dist loadfile

quick: $(STAMP)
	$(BIN)/python -m pytest -q -n auto --dist loadfile -m "not slow"

check: $(STAMP)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy calibration
	$(BIN)/lint-imports

# Hashes are checked, then this folder is installed as it lies: no compiler, no unpinned download.
$(STAMP): requirements.lock pyproject.toml
	@$(PYTHON) -c 'import sys; v = sys.version_info[:2]; sys.exit(0 if (3, 11) <= v < (3, 14) else "Python 3.11 to 3.13 is needed; this is %d.%d. Run: make PYTHON=python3.11 ..." % v)'
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes --requirement requirements.lock
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation --editable .
	@touch $(STAMP)

# Needs uv; one version of each package for every Python and both machines.
lock:
	uv pip compile --universal --python-version 3.11 --fork-strategy fewest --generate-hashes --all-extras \
		--custom-compile-command "make lock" pyproject.toml --output-file requirements.lock

# Makes the pictures of the README anew; needs chromium and poppler-utils.
picture: $(STAMP)
	@mkdir -p .pictures
	PYTHONPATH=tests $(BIN)/python tests/readme_picture.py .pictures/bench.png

# What the science reaches, against goals; QUICK=1 for a minute instead of many.
benchmark: $(STAMP)
	@nice -n 10 $(BIN)/ohmbath benchmark science --seed $(SEED) $(if $(filter 1,$(QUICK)),--quick,)

# Jitter, memory and speed of the rig on this machine, and thousands of schedules over a wire that loses everything.
benchmark-rig: $(STAMP)
	$(BIN)/ohmbath-rig benchmark
	$(BIN)/python tests/wire_model.py --schedules 3000

# Asks the package registry whether all that a rig needs has wheels for a 64-bit Raspberry Pi.
arm-wheels: $(STAMP)
	$(BIN)/python tests/arm_wheels.py

clean:
	rm -rf $(VENV) build dist .pytest_cache .mypy_cache .ruff_cache .hypothesis .import_linter_cache
