#!/usr/bin/env bash
# What is inside: installs the locked packages into a clean environment, asks whether any has a known
# weakness, and writes the bill of materials (CycloneDX) into a folder. Needs a network that reaches the
# package index's vulnerability data; without it the audit says so, and the end is not 0.
#
#   bash deploy/supply.sh FOLDER
set -euo pipefail
here=$(cd "$(dirname "$0")/.." && pwd)
folder=${1:-}
[ -n "$folder" ] || { echo "usage: supply.sh FOLDER" >&2; exit 2; }
mkdir -p "$folder"
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
python3 -m venv "$work/room"
python3 -m venv "$work/tools"
"$work/room/bin/python" -m pip install -q --disable-pip-version-check -c "$here/deploy/constraints.txt" "$here[png]"
"$work/tools/bin/python" -m pip install -q --disable-pip-version-check 'pip>=25.1'
(cd "$here" && "$work/tools/bin/python" -m pip install -q --disable-pip-version-check -c deploy/constraints.txt --group supply)
"$work/tools/bin/cyclonedx-py" environment --pyproject "$here/pyproject.toml" --output-reproducible \
    -o "$folder/sbom.json" "$work/room/bin/python"
echo "wrote $folder/sbom.json" >&2
"$work/room/bin/python" -m pip freeze --exclude roewatch >"$folder/installed.txt"
"$work/tools/bin/pip-audit" --strict --no-deps --disable-pip -r "$folder/installed.txt"
