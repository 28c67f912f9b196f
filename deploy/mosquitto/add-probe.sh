#!/usr/bin/env bash
# Lets one board speak: makes its password, and prints what to put into its firmware. Run as root.
# The same name again gives it a new password.
#
#   bash add-probe.sh probe-a1
set -euo pipefail
name=${1:-}
[[ $name =~ ^[A-Za-z0-9_-]+$ && $name != roewatch ]] || { echo "usage: add-probe.sh NAME, of letters, digits, - and _" >&2; exit 2; }
secret=$(openssl rand -hex 12)
mosquitto_passwd -b /etc/mosquitto/passwords "$name" "$secret" 2>/dev/null
chown root:mosquitto /etc/mosquitto/passwords
chmod 640 /etc/mosquitto/passwords
root=$(sed -n 's|^pattern write \(.*\)/%u/#|\1|p' /etc/mosquitto/access.acl)
printf 'user      %s\npassword  %s\ntopics    %s/%s/…, with QoS 1\n' "$name" "$secret" "$root" "$name"
if [ ! -d /run/systemd/system ]; then
    echo "no systemd runs here: send mosquitto a SIGHUP yourself" >&2
elif ! systemctl reload mosquitto; then
    echo "Mosquitto did not read the new password: see systemctl status mosquitto, then restart it." >&2
    exit 1
fi
