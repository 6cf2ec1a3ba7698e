#!/bin/sh
# A private certificate authority for one house, and the certificate of its broker.
#
#   sh authority.sh FOLDER NAME...
#
# NAME: every name and address under which phones and boards reach the broker, such as cellar.lan
# 192.168.1.20. The first call makes the authority (ten years); each call makes the broker a new
# certificate of it (825 days, the most that phones take). Needs openssl(1).
#
# FOLDER gets
#   authority.pem   for torpord (broker.tls.authority), phones and sensors
#   authority.key   signs certificates: keep it off the board, readable by nobody else
#   broker.pem      for the broker
#   broker.key      for the broker alone
set -eu
if [ $# -lt 2 ]; then
  echo "usage: sh authority.sh FOLDER NAME...   (NAME: cellar.lan, 192.168.1.20, ...)" >&2
  exit 2
fi
folder=$1
shift
umask 077
mkdir -p "$folder"

if [ ! -e "$folder/authority.key" ]; then
  openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -noenc -days 3650 \
    -subj "/CN=torpor house authority" -addext keyUsage=critical,keyCertSign \
    -keyout "$folder/authority.key" -out "$folder/authority.pem"
fi

names=""
for name in "$@"; do
  case $name in
    *:*) kind=IP ;;  # version 6
    *[!0-9.]*) kind=DNS ;;
    *) kind=IP ;;
  esac
  names="$names${names:+,}$kind:$name"
done
extensions=$(mktemp)
trap 'rm -f "$extensions" "$folder/broker.csr"' EXIT
printf 'subjectAltName=%s\nextendedKeyUsage=serverAuth\n' "$names" > "$extensions"
openssl req -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -noenc -subj "/CN=$1" \
  -keyout "$folder/broker.key" -out "$folder/broker.csr"
openssl x509 -req -in "$folder/broker.csr" -CA "$folder/authority.pem" \
  -CAkey "$folder/authority.key" -CAcreateserial -days 825 -extfile "$extensions" \
  -out "$folder/broker.pem"
chmod 644 "$folder/authority.pem" "$folder/broker.pem"
echo "made $folder/broker.pem for $names; $folder/authority.pem is for whoever connects to it"
