#!/bin/sh
# Pins pyproject.toml's dependencies into requirements.txt and requirements-test.txt, with the hashes of every
# published file, so that they hold for each supported Python. Needs pip-tools, which it puts into .venv.
set -eu
cd "$(dirname "$0")/.."
.venv/bin/python -m pip install --quiet pip-tools
export CUSTOM_COMPILE_COMMAND="make requirements" PIP_CONFIG_FILE=/dev/null
unset PIP_FIND_LINKS PIP_EXTRA_INDEX_URL || true
pin() {
    .venv/bin/python -m piptools compile --quiet --generate-hashes --strip-extras --allow-unsafe --no-emit-index-url \
        --no-emit-find-links --no-emit-trusted-host --no-emit-options "$@" pyproject.toml
}
pin --output-file=requirements.txt
pin --extra=test --constraint=requirements.txt --output-file=requirements-test.txt
