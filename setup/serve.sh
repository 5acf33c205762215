#!/bin/sh
# Brings the database up to date and serves the studio. Usage: setup/serve.sh [demo]
set -eu
cd "$(dirname "$0")/.."
.venv/bin/python manage.py migrate --verbosity 0
if [ "${1:-}" = demo ]; then
    .venv/bin/python manage.py load_demo
fi
exec .venv/bin/python -m gunicorn
