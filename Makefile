# Python 3.11 with venv, and make, are all that the machine must have. The first command makes .venv.
PYTHON ?= $(shell command -v python3.11 || command -v python3)
VENV ?= .venv
BIN := $(VENV)/bin
PIP := $(BIN)/python -m pip install -q --disable-pip-version-check -c constraints.txt

.PHONY: help demo test test-realtime peers test-peers bench soak lint types contracts schemas containers readme narrative failures clean

help: ## show this list
	@grep -E '^[a-z-]+:.*##' $(MAKEFILE_LIST) | sed -E 's/:.*## /\t/' | expand -t 14

demo: $(VENV)/.demo ## one hour of plant time of the example station, in seconds
	$(BIN)/receiver simulate buckwheat_mill --for 1h

test: $(VENV)/.dev ## every test, but for the longer ones in real time
# the scenarios beside the others, in one process: their last page sums up all of them; then, alone, what runs in real time
	$(BIN)/python -m pytest tests/scenarios & scenarios=$$!; \
	  $(BIN)/python -m pytest -n auto --dist loadfile --no-loadscope-reorder --ignore tests/scenarios --ignore tests/peers -m "not realtime"; \
	  others=$$?; wait $$scenarios && exit $$others
	$(BIN)/python -m pytest -m realtime -rs tests/foreign tests/live/test_two_terminals.py tests/live/test_kills.py

test-realtime: $(VENV)/.dev ## all that runs in real time: over the wire, killed and stopped processes, the reporter; 6 min
	$(BIN)/python -m pytest -m realtime -rs tests/live tests/foreign tests/wire_faults tests/reporting

PEERS := chromium mbpoll libmodbus-dev pkg-config gcc mosquitto mosquitto-clients openssl
PEERS_THERE = { command -v chromium || command -v chromium-browser || command -v google-chrome; } \
  && command -v mbpoll && command -v cc && pkg-config --exists libmodbus \
  && { command -v mosquitto || test -x /usr/sbin/mosquitto; } && command -v mosquitto_sub

peers: ## the programs of others that test-peers needs, installed where root may and Debian's packages are at hand
	@{ $(PEERS_THERE); } >/dev/null 2>&1 \
	  || { [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null \
	       && { apt-get install -qq -y $(PEERS) || { apt-get update -qq && apt-get install -qq -y $(PEERS); }; } >/dev/null 2>&1; } \
	  || { echo "test-peers needs a Chromium, mbpoll, libmodbus, a C compiler and Mosquitto; on Debian: apt install $(PEERS)"; exit 1; }

test-peers: peers $(VENV)/.peers ## tests with programs of others: a real browser, mbpoll, libmodbus, Mosquitto
	PATH="$$PATH:/usr/sbin" NO_SKIPS=1 $(BIN)/python -m pytest -rs tests/peers

bench: $(VENV)/.dev ## the figures of this machine; never part of the tests
	$(BIN)/python tests/benchmarks.py

soak: $(VENV)/.dev ## every guard; all scenarios in real time and over the wire; random search at each station, FOR=10h, goes on where it was stopped
	ALL_GUARDS=1 $(BIN)/python -m pytest -n auto tests/campaign/test_guards.py
	WIRE_FUZZ_FRAMES=1000000 WIRE_FUZZ_SOCKET_FRAMES=10000 $(BIN)/python -m pytest -n 2 tests/wire_faults/test_fuzz_in_process.py tests/wire_faults/test_fuzz_over_sockets.py
	REPORTER_KILLS=200 PROCESS_KILLS=100 $(BIN)/python -m pytest -k kill tests/live/test_reporter.py tests/live/test_kills.py
	PATH="$$PATH:/usr/sbin" NO_SKIPS=1 BROKER_KILLS=20 BROKER_FROZEN_S=60 $(BIN)/python -m pytest tests/peers/test_mosquitto.py
	ALL_OVER_THE_WIRE=1 $(BIN)/python -m pytest tests/foreign/test_over_sockets.py
	$(BIN)/receiver scenarios configs/scenarios configs/scenarios_wire --on realtime --rate 5 --jobs 4
	@failed=0; for station in buckwheat_mill sugar_kitchen milk_powder_hall; do \
	  $(BIN)/receiver search $$station --for $(or $(FOR),10h) --variants --out runs/soak_$$station || failed=1; done; exit $$failed

lint: $(VENV)/.dev ## style
	$(BIN)/ruff check .

types: $(VENV)/.dev ## types, strictly
	$(BIN)/mypy

contracts: $(VENV)/.dev ## who may import whom
	$(BIN)/lint-imports --no-logo

schemas: $(VENV)/.dev ## write configs/schemas again after a preset or a parameter has changed
	PYTHONPATH=. $(BIN)/python tests/schemas.py

containers: $(BIN)/python ## folders, passwords and settings that docker-compose.yml needs
	$(BIN)/python configs/containers/prepare.py

readme: $(VENV)/.dev ## write the runs that the README shows again
	$(BIN)/receiver diagram buckwheat_mill --out docs/sequence.svg
	PYTHONPATH=.:tests $(BIN)/python tests/readme.py

narrative: $(VENV)/.dev ## write docs/narrative.md again: each rule, where it is done, what shows it
	PYTHONPATH=.:tests $(BIN)/python -m narrative.page
	PYTHONPATH=.:tests $(BIN)/python -m narrative.requirements

failures: $(VENV)/.dev ## write docs/failure_modes.md again: each failure mode, run on each station
	PYTHONPATH=.:tests $(BIN)/python -m failure_expectations.page

clean: ## remove what the other commands made, runs excepted
	rm -rf $(VENV) .mypy_cache .ruff_cache .pytest_cache .import_linter_cache .hypothesis build dist

$(BIN)/python:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' \
	  || { echo "needs Python 3.11 or later; name it: make PYTHON=/path/to/python3.11"; exit 1; }
	@$(PYTHON) -m venv $(VENV) \
	  || { rm -rf $(VENV); echo "Python lacks venv; on Debian and Ubuntu: apt install python3-venv"; exit 1; }

$(VENV)/.demo: pyproject.toml constraints.txt | $(BIN)/python
	$(PIP) -e '.[demo]'
	@touch $@

$(VENV)/.dev: pyproject.toml constraints.txt | $(BIN)/python
	$(PIP) -e '.[dev]'
	@touch $@ $(VENV)/.demo

$(VENV)/.peers: $(VENV)/.dev
	$(PIP) -e '.[peers]'
	@touch $@
