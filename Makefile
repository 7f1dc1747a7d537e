# The list of all commands. `make demo` and `make test` are the two that a newcomer needs; each works alone and first.

PYTHON ?= python3
VENV := .venv
# `make install SET=small` leaves out what a small box does not need (counting on photographs, printing).
SET ?= run
BIN := $(VENV)/bin
INSTALL := $(BIN)/python -m pip --disable-pip-version-check --quiet install
WHEELS := $(INSTALL) --require-hashes --only-binary :all: -r
ITSELF := $(INSTALL) --no-deps --no-build-isolation --no-index -e .

.PHONY: demo test install lint format bench docs pictures words requirements clean chromium
.DEFAULT_GOAL := demo

demo: $(VENV)/.run  ## a made-up farm in a scratch book, and its pages on 127.0.0.1
	@$(BIN)/chirr demo

test: $(VENV)/.dev chromium  ## everything that pytest knows, the browser included
	@OPENBLAS_NUM_THREADS=1 $(BIN)/pytest -n 2 --dist loadgroup

install: $(VENV)/.run  ## leaves .venv/bin/chirr

lint: $(VENV)/.dev  ## what pre-commit and CI check beside the tests
	@$(BIN)/ruff check
	@$(BIN)/ruff format --check
	@$(BIN)/mypy
	@$(BIN)/mypy --config-file tests/mypy.ini
	@$(BIN)/lint-imports

format: $(VENV)/.dev
	@$(BIN)/ruff check --fix
	@$(BIN)/ruff format

bench: $(VENV)/.run  ## the figures that the README quotes
	@$(BIN)/python bench/run.py

docs: $(VENV)/.docs  ## docs/_build/index.html
	@$(BIN)/python docs/generate.py
	@$(BIN)/sphinx-build -q -W -b html docs docs/_build
	@echo "The pages of the manual are in docs/_build/index.html"

pictures: $(VENV)/.dev chromium  ## docs/pictures, taken from the running demo
	@$(BIN)/python docs/make_pictures.py

words: $(VENV)/.dev  ## gather and compile the words of the pages; CHECK=1 only looks
	@$(BIN)/python words/catalogue.py $(if $(CHECK),--check)

requirements:  ## pin the newest of everything again; needs the network
	@PYTHON=$(PYTHON) sh requirements/compile.sh

clean:
	rm -rf $(VENV) build dist docs/_build demo .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache

chromium:
	@sh .ci/chromium.sh

$(BIN)/python:
	@PYTHON=$(PYTHON) sh .ci/venv.sh $(VENV)

$(VENV)/.run: requirements/$(SET).txt pyproject.toml | $(BIN)/python
	@echo "Fetching what Chirr needs to run (some 200 MB, once) ..."
	@$(WHEELS) requirements/$(SET).txt
	@$(ITSELF)
	@touch $@

$(VENV)/.dev: requirements/dev.txt pyproject.toml | $(BIN)/python
	@echo "Fetching what the tests need (some 350 MB, once) ..."
	@$(WHEELS) requirements/dev.txt
	@$(ITSELF)
	@touch $@

$(VENV)/.docs: requirements/docs.txt pyproject.toml | $(BIN)/python
	@echo "Fetching what the manual needs ..."
	@$(WHEELS) requirements/docs.txt
	@$(ITSELF)
	@touch $@
