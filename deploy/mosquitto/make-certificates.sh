#!/usr/bin/env bash
# Makes an authority of this room's own and the broker's certificate, for TLS. Run as root.
# The authority's key stays in the folder: keep it off the network, or delete it once all is made.
#
#   bash make-certificates.sh broker.lan [FOLDER]     the name (or address) the probes connect to
#   FOLDER: /etc/mosquitto/certs when left out
set -euo pipefail
host=${1:-}
folder=${2:-/etc/mosquitto/certs}
[ -n "$host" ] || { echo "usage: make-certificates.sh NAME [FOLDER]" >&2; exit 2; }
[ ! -e "$folder/broker.key" ] || { echo "$folder/broker.key is there already: move it away first" >&2; exit 2; }
kind=DNS
[[ ! $host =~ ^[0-9.]+$ && $host != *:* ]] || kind=IP
install -d -m 750 "$folder"
umask 077
if [ ! -e "$folder/ca.key" ]; then
    openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -days 3650 -subj "/CN=fish room authority" \
        -keyout "$folder/ca.key" -out "$folder/ca.pem" 2>/dev/null
fi
openssl req -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -subj "/CN=$host" -keyout "$folder/broker.key" \
    -out "$folder/broker.csr" 2>/dev/null
openssl x509 -req -in "$folder/broker.csr" -CA "$folder/ca.pem" -CAkey "$folder/ca.key" -CAcreateserial -days 825 \
    -extfile <(printf 'subjectAltName=%s:%s\nextendedKeyUsage=serverAuth\n' $kind "$host") -out "$folder/broker.pem" 2>/dev/null
rm "$folder/broker.csr"
chmod 644 "$folder/ca.pem" "$folder/broker.pem"
if getent group mosquitto >/dev/null; then
    chgrp mosquitto "$folder" "$folder/broker.key"
    chmod 640 "$folder/broker.key"
fi
openssl verify -CAfile "$folder/ca.pem" "$folder/broker.pem" >&2
echo "give $folder/ca.pem to every probe and to room.toml (ca_file); broker.pem ends in 825 days" >&2
