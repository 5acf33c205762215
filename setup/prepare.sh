#!/bin/sh
# Brings everything the studio needs onto this machine: system libraries and fonts, .venv, pinned packages.
# Usage: setup/prepare.sh run|test. Quick and silent when everything is there.
set -eu
cd "$(dirname "$0")/.."
purpose=${1:-run}

say() { printf '%s\n' "$*" >&2; }
stop() { say "$*"; exit 1; }

# --- a Python that is new enough ------------------------------------------------------------------
python=""
for name in ${PYTHON:-} python3 python3.13 python3.12 python3.11; do
    if command -v "$name" >/dev/null 2>&1 && "$name" -c 'import sys; sys.exit(sys.version_info < (3, 11))'; then
        python=$name
        break
    fi
done
[ -n "$python" ] || stop "Passagework needs Python 3.11 or newer; set PYTHON=/path/to/python if it has an unusual name."

# --- system libraries and fonts ---------------------------------------------------------------------
has_library() { "$python" -c "import ctypes; ctypes.CDLL('$1')" >/dev/null 2>&1; }
has_font() { command -v fc-list >/dev/null 2>&1 && [ -n "$(fc-list "$1" 2>/dev/null)" ]; }

wanted() {
    has_library libpango-1.0.so.0 || echo libpango-1.0-0
    has_library libpangoft2-1.0.so.0 || echo libpangoft2-1.0-0
    has_library libharfbuzz-subset.so.0 || echo libharfbuzz-subset0
    command -v fc-list >/dev/null 2>&1 || echo fontconfig
    has_font "TeX Gyre Termes" || echo fonts-texgyre
    has_font "Liberation Serif" || echo fonts-liberation
    "$python" -c 'import venv, ensurepip' >/dev/null 2>&1 || echo python3-venv
    if [ "$purpose" = test ]; then
        command -v pdftoppm >/dev/null 2>&1 || echo poppler-utils
        [ -n "${CHROMIUM:-}" ] || command -v chromium >/dev/null 2>&1 || command -v chromium-browser >/dev/null 2>&1 ||
            command -v google-chrome >/dev/null 2>&1 || echo chromium
    fi
}

on_macos() { [ "$(uname)" = Darwin ]; }

if ! on_macos; then
    missing=$(wanted | tr '\n' ' ')
    missing=${missing% }
    if [ -n "$missing" ]; then
        command -v apt-get >/dev/null 2>&1 ||
            stop "Please install what these Debian packages hold, with this system's own tool: $missing"
        line="apt-get update && apt-get install -y --no-install-recommends $missing"
        if [ "$(id -u)" = 0 ]; then
            say "Installing from the system's packages: $missing"
            apt-get update -q >&2
            # shellcheck disable=SC2086
            DEBIAN_FRONTEND=noninteractive apt-get install -q -y --no-install-recommends $missing >&2 </dev/null
        elif command -v sudo >/dev/null 2>&1 && { sudo -n true 2>/dev/null || [ -t 0 ]; }; then
            say "These system packages are needed and will be installed with sudo: $missing"
            sudo apt-get update -q >&2
            # shellcheck disable=SC2086
            sudo env DEBIAN_FRONTEND=noninteractive apt-get install -q -y --no-install-recommends $missing >&2
        else
            stop "These system packages are missing: $missing
Install them with this command, as root, and try again:
    $line"
        fi
    fi
fi

# --- the environment and the pinned packages ------------------------------------------------------------
file=requirements.txt
[ "$purpose" = run ] || file=requirements-test.txt
[ -x .venv/bin/python ] || { say "Making .venv"; "$python" -m venv .venv; }

# The stamp is the pinned file itself: when it is the same, there is nothing to install. Tests need all that runs.
stamp=.venv/installed-$purpose
if ! cmp -s "$file" "$stamp" && ! { [ "$purpose" = run ] && cmp -s requirements-test.txt .venv/installed-test &&
    cmp -s requirements.txt .venv/installed-with-test; }; then
    say "Installing the packages pinned in $file"
    .venv/bin/python -m pip install --quiet --disable-pip-version-check --no-input --require-hashes --no-deps -r "$file" >&2
    cp "$file" "$stamp"
    [ "$purpose" = run ] || cp requirements.txt .venv/installed-with-test
fi
