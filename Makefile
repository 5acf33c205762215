# Passagework: what to type. `make demo` and `make run` set everything up themselves.
.DEFAULT_GOAL := help
.PHONY: help demo run test lint bench screenshots scores setup setup-test requirements
PYTHON := .venv/bin/python

help:  ## this list
	@grep -E '^[a-z-]+:.*## ' Makefile | sed -E 's/^([a-z-]+):.*## (.*)/  make \1: \2/'

setup:
	@sh setup/prepare.sh run

setup-test:
	@sh setup/prepare.sh test

demo: setup  ## a studio with invented students, in ./demo-data, on http://127.0.0.1:8000/
	@env -u PASSAGEWORK_DATABASE -u PASSAGEWORK_HTTPS PASSAGEWORK_DATA=demo-data PASSAGEWORK_DEMO=yes sh setup/serve.sh demo

run: setup  ## your own studio, in ./data or where PASSAGEWORK_DATA says
	@sh setup/serve.sh

test: setup-test lint  ## everything: style, types, migrations, all tests
	DJANGO_SETTINGS_MODULE=tests.settings $(PYTHON) manage.py makemigrations --check --dry-run
	$(PYTHON) -m pytest -n 2 --dist loadgroup

lint: setup-test  ## style and types only
	$(PYTHON) -m ruff check .
	$(PYTHON) -m ruff format --check .
	$(PYTHON) -m mypy .

bench: setup-test  ## how fast it is: a table, and bench.json
	$(PYTHON) -m tests.bench

screenshots: setup-test  ## the README's pictures, from the demonstration, into docs/
	$(PYTHON) -m tests.screenshots

scores: setup-test  ## DIR=folder: import and draw every score in a folder
	$(PYTHON) -m tests.scores "$(DIR)"

requirements: setup-test  ## pin the dependencies of pyproject.toml afresh, with hashes
	sh setup/pin.sh
