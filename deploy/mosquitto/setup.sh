#!/usr/bin/env bash
# Gives this room's Mosquitto its configuration, its access list and Roewatch's own password.
# Run as root; install.sh --broker does. A configuration that is there already is kept beside it.
#
#   bash setup.sh [ROOT]      ROOT: the first part of every probe's topic, boathouse when left out
set -euo pipefail
here=$(cd "$(dirname "$0")" && pwd)
root=${1:-boathouse}
[[ $root =~ ^[A-Za-z0-9_-]+$ ]] || { echo "'$root' cannot begin a topic here: letters, digits, - and _" >&2; exit 2; }
conf=/etc/mosquitto/mosquitto.conf
if [ -e $conf ] && ! cmp -s "$here/mosquitto.conf" $conf && ! grep -q 'for a Roewatch room' $conf; then
    mv $conf $conf.before-roewatch
    echo "the configuration that was there is now $conf.before-roewatch" >&2
fi
# one that was changed by hand since stays
grep -qs 'for a Roewatch room' $conf || install -m 644 "$here/mosquitto.conf" $conf
sed "s|boathouse/|$root/|g" "$here/access.acl" >/etc/mosquitto/access.acl
chmod 640 /etc/mosquitto/access.acl
passwords=/etc/mosquitto/passwords
if ! grep -qs '^roewatch:' $passwords; then
    secret=$(openssl rand -hex 24)
    touch $passwords
    chmod 600 $passwords
    mosquitto_passwd -b $passwords roewatch "$secret" 2>/dev/null
    (umask 077 && echo "$secret" >/etc/roewatch/broker-password)
    chown roewatch: /etc/roewatch/broker-password
fi
chown root:mosquitto $passwords /etc/mosquitto/access.acl
chmod 640 $passwords
if [ -d /run/systemd/system ]; then
    systemctl restart mosquitto
else
    echo "no systemd runs here: start mosquitto yourself" >&2
fi
echo "broker: each board needs a name of its own now: bash $here/add-probe.sh probe-a1" >&2
