#!/usr/bin/env bash
# Takes Roewatch off this machine. Run as root. Settings, readings and backups stay, unless --purge is
# given; the broker stays in any case: apt-get purge mosquitto removes it.
set -euo pipefail
[ "$(id -u)" = 0 ] || { echo "Run this as root." >&2; exit 2; }
case ${1:-} in "" | --purge) ;; *) echo "usage: uninstall.sh [--purge]" >&2 && exit 2 ;; esac
systemctl disable --now roewatch roewatch-backup.timer 2>/dev/null || true
rm -f /etc/systemd/system/roewatch.service /etc/systemd/system/roewatch-backup.service \
    /etc/systemd/system/roewatch-backup.timer /usr/local/bin/roewatch
systemctl daemon-reload 2>/dev/null || true
rm -rf /opt/roewatch
if [ "${1:-}" = --purge ]; then
    rm -rf /etc/roewatch /var/lib/roewatch /var/backups/roewatch
    ! id roewatch >/dev/null 2>&1 || userdel roewatch
else
    echo "kept: /etc/roewatch, /var/lib/roewatch, /var/backups/roewatch and the user roewatch" >&2
fi
