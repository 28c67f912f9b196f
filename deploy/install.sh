#!/usr/bin/env bash
# Installs Roewatch on Debian 12 or 13 as a system service, or upgrades it: the same command again.
# Run as root, from a checkout or an unpacked source archive:
#
#   bash deploy/install.sh             the program, its user, its folders and its units
#   bash deploy/install.sh --broker    the same, and a Mosquitto for this room's probes alone
#
# --wheelhouse FOLDER   take every Python package from FOLDER and ask no network for any
# --compiled            compile the judging; it judges the same, about twice as fast: deploy/compile.py
#
# Nothing is started that was not running, and no settings, readings or passwords are touched.
# Each version has a folder of its own under /opt/roewatch; the one in use is the link `current`,
# the one before it `previous`: see deploy/docs/howto/upgrade.md for the way back.
set -euo pipefail
here=$(cd "$(dirname "$0")" && pwd)

broker=no compiled=no wheelhouse=
while [ $# -gt 0 ]; do
    case $1 in
        --broker) broker=yes ;;
        --compiled) compiled=yes ;;
        --wheelhouse) wheelhouse=$(cd "$2" && pwd) && shift ;;
        *) echo "usage: install.sh [--broker] [--compiled] [--wheelhouse FOLDER]" >&2 && exit 2 ;;
    esac
    shift
done
[ "$(id -u)" = 0 ] || { echo "Run this as root: it makes a user and a service." >&2; exit 2; }
say() { echo "== $*" >&2; }

# -- what Debian brings --------------------------------------------------------------------------
wanted="python3-venv fonts-dejavu-core"  # the font is for the numbers of a drawn week
[ $broker = no ] || wanted="$wanted mosquitto mosquitto-clients openssl procps"  # procps: its unit reloads by /bin/kill
[ $compiled = no ] || wanted="$wanted gcc libc6-dev python3-dev"
missing=
for package in $wanted; do
    dpkg-query -W -f '${db:Status-Status}' "$package" 2>/dev/null | grep -qx installed || missing="$missing $package"
done
if [ -n "$missing" ]; then
    say "Debian packages:$missing"
    apt-get update -q >/dev/null
    # shellcheck disable=SC2086  # a list of words
    DEBIAN_FRONTEND=noninteractive apt-get install -y -q --no-install-recommends $missing >/dev/null
fi

# -- user and folders ----------------------------------------------------------------------------
if ! id roewatch >/dev/null 2>&1; then
    useradd --system --user-group --home-dir /var/lib/roewatch --shell /usr/sbin/nologin roewatch
fi
install -d -m 750 -o roewatch -g roewatch /etc/roewatch /var/lib/roewatch /var/backups/roewatch

# -- the program ---------------------------------------------------------------------------------
version=$(sed -n 's/^version = "\(.*\)"/\1/p' "$here/../pyproject.toml")
home=/opt/roewatch/$version
if [ -e "$home" ] && [ "$(readlink -f /opt/roewatch/current)" = "$home" ]; then
    home=$home-$(date -u +%Y%m%dT%H%M%SZ)  # the same version again: a checkout between two releases
fi
say "program $version into $home"
install -d -m 755 /opt/roewatch
rm -rf "$home"
python3 -m venv "$home"
tools=$(mktemp -d)
trap 'rm -rf "$tools"' EXIT
offline=()
[ -z "$wheelhouse" ] || offline=(--no-index --find-links "$wheelhouse")
packages() { "$1" -m pip install -q --disable-pip-version-check "${offline[@]}" -c "$here/constraints.txt" "${@:2}"; }
give_up() { rm -rf "$home"; echo "$1 What ran before still runs." >&2; exit 1; }

packages "$home/bin/python" "$here/..[png]" || give_up "The program was not installed."
if [ $compiled = yes ]; then
    say "compiling the judging: a minute or so"
    python3 -m venv "$tools/venv"
    site=$("$home/bin/python" -c 'import sysconfig; print(sysconfig.get_path("purelib"))')
    { packages "$tools/venv/bin/python" mypy setuptools && "$tools/venv/bin/python" "$here/compile.py" "$site"; } \
        >"$tools/log" 2>&1 || { cat "$tools/log" >&2; give_up "The judging could not be compiled; try without --compiled."; }
fi
"$home/bin/python" -c 'import roewatch.service.daemon' || give_up "The program does not start."
if [ -e /etc/roewatch/room.toml ]; then
    runuser -u roewatch -- "$home/bin/roewatch" check --room /etc/roewatch/room.toml ||
        give_up "This version does not take these settings; mend them first."
fi

running=no
if systemctl is-active -q roewatch 2>/dev/null; then
    running=yes
    kept=/var/backups/roewatch/before-$version-$(date -u +%Y%m%dT%H%M%SZ).sqlite
    say "backup into $kept"
    (umask 077 && runuser -u roewatch -- /opt/roewatch/current/bin/roewatch backup "$kept" --room /etc/roewatch/room.toml)
fi
[ ! -e /opt/roewatch/current ] || ln -sfn "$(readlink -f /opt/roewatch/current)" /opt/roewatch/previous
ln -sfn "$home" /opt/roewatch/current
ln -sfn /opt/roewatch/current/bin/roewatch /usr/local/bin/roewatch
for old in /opt/roewatch/*/; do  # only what runs and what ran before are kept
    case ${old%/} in
        /opt/roewatch/current | /opt/roewatch/previous) ;;
        *) [ "${old%/}" = "$home" ] || [ "${old%/}" = "$(readlink -f /opt/roewatch/previous)" ] || rm -rf "$old" ;;
    esac
done

# -- the service ---------------------------------------------------------------------------------
install -m 644 "$here"/systemd/*.service "$here"/systemd/*.timer /etc/systemd/system/
systemctl daemon-reload 2>/dev/null || say "no systemd runs here; the units lie in /etc/systemd/system"

# -- the broker ----------------------------------------------------------------------------------
if [ $broker = yes ]; then
    bash "$here/mosquitto/setup.sh"
fi

if [ $running = yes ]; then
    systemctl restart roewatch
    say "restarted; the way back: deploy/docs/howto/upgrade.md"
elif [ -e /etc/roewatch/room.toml ]; then
    say "next: roewatch check --live, then systemctl enable --now roewatch roewatch-backup.timer"
else
    say "next: write /etc/roewatch/room.toml with 'roewatch init': see deploy/docs/install.md"
fi
