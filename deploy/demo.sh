#!/usr/bin/env bash
# The invented room on this machine: makes its own virtual environment, installs Roewatch and what
# the demo needs, and runs it until Ctrl-C. Whatever you add is handed on: --speed 60, --seconds 30…
set -euo pipefail
cd "$(dirname "$0")/.."

python=${PYTHON:-python3}
if ! command -v "$python" >/dev/null || ! "$python" -c 'import ensurepip, venv' 2>/dev/null; then
    if [ "$(id -u)" = 0 ] && [ -z "${PYTHON:-}" ] && command -v apt-get >/dev/null; then
        echo "Installing python3-venv …" >&2
        apt-get update -q >/dev/null
        DEBIAN_FRONTEND=noninteractive apt-get install -y -q python3-venv >/dev/null
    else
        echo "There is no $python that can make a virtual environment. As root: apt-get install python3-venv" >&2
        exit 2
    fi
fi
"$python" -c 'import sys; sys.exit(sys.version_info < (3, 11))' || {
    echo "Roewatch needs Python 3.11 or newer; this is $("$python" --version). Set PYTHON to a newer one." >&2
    exit 2
}

home=.venv-demo
if [ ! -x "$home/bin/roewatch" ] || [ pyproject.toml -nt "$home/installed" ] || [ -n "$(find daemon simulators config -newer "$home/installed" -type f -name '*.*' ! -name '*.pyc' -print -quit)" ]; then
    echo "Installing into $home (a minute the first time) …" >&2
    [ -x "$home/bin/python" ] || "$python" -m venv "$home"
    "$home/bin/python" -m pip install -q --disable-pip-version-check -c deploy/constraints.txt '.[demo,png]'
    touch "$home/installed"
fi
exec "$home/bin/roewatch" demo "$@"
