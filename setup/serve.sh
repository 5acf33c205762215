#!/bin/sh
# Brings the database up to date and serves the studio. Usage: setup/serve.sh [demo]
set -eu
cd "$(dirname "$0")/.."
.venv/bin/python manage.py migrate --verbosity 0
if [ "${1:-}" = demo ]; then
    echo "Looking after the demonstration data; the first time this takes a minute or two."
    password="down bow first"
    .venv/bin/python manage.py load_demo --password "$password" | grep "page at home" || true
    echo "Sign in as demo@example.org with the password: $password"
    echo "The same password opens the account of a colleague in that studio: colleague@example.org"
fi
exec .venv/bin/python -m gunicorn
