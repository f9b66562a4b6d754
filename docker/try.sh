#!/bin/bash
# Runs every sh block of the guide "For operators" in DEVELOPERS.md, in order, with docker or podman-compose, and looks
# after each whether it did what the guide says. It needs nginx, curl and openssl too, and a copy of the repository
# whose docker/.env and volumes may be lost: it deletes them, first and last.
#
#   docker/try.sh really
set -euo pipefail
cd "$(dirname "$0")"
[ "${1:-}" = really ] || { echo "This deletes docker/.env and the volumes of this stack. To go on: docker/try.sh really"; exit 2; }

if docker compose version > /dev/null 2>&1; then
    engine="docker compose $(docker compose version --short)"
else
    engine="podman-compose: $(podman --version)"
    docker() { shift && podman-compose "$@"; }
fi
work=$(mktemp -d)
host=training.school.example began=$SECONDS

say() { printf '%4d s  %s\n' "$((SECONDS - began))" "$*"; }
end() {
    code=$?
    [ ! -f "$work/nginx.pid" ] || kill "$(cat "$work/nginx.pid")" || true
    [ "$code" = 0 ] || tail -n 30 "$work/out"
    docker compose down --volumes > "$work/down" 2>&1 || true
    rm -rf "$work" .env "../${day:-none}.backup"
    [ "$code" = 0 ] || echo "FAILED (exit code $code)"
}
trap end EXIT

# The blocks of one language below a heading of the guide.
blocks() {
    awk -v heading="## $2" -v fence="\`\`\`$1" '
        /^# / { guide = ($0 == "# For operators") }
        /^## / { here = guide && $0 == heading }
        here && $0 == "```" { inside = 0 }
        inside { print }
        here && $0 == fence { inside = 1 }' ../DEVELOPERS.md
}

guide() {
    say "$1"
    blocks sh "$1" > "$work/block"
    [ -s "$work/block" ] || { echo "The guide has no sh block below: $1" > "$work/out"; return 1; }
    # shellcheck disable=SC1091
    . "$work/block" > "$work/out" 2>&1 < /dev/null
}

# As a person's browser, by the proxy.
browse() {
    curl --silent --show-error --fail --max-time 60 --cacert "$work/fullchain.pem" --cookie "$work/cookies" \
        --cookie-jar "$work/cookies" --connect-to "$host:443:127.0.0.1:8443" --referer "https://$host/" "$@"
}

form() { # ADDRESS FIELD=VALUE...: fetches a form, fills it in and sends it; prints the next page's address
    local address fields=() field
    address=$(browse --location --output "$work/form" --write-out '%{url_effective}' "$1")
    shift
    for field in "$@"; do fields+=(--data-urlencode "$field"); done
    field=$(sed -n 's/.*name="csrfmiddlewaretoken" value="\([^"]*\)".*/\1/p' "$work/form" | head -n 1)
    browse --location --output "$work/page" --write-out '%{url_effective}' \
        --data-urlencode "csrfmiddlewaretoken=$field" "${fields[@]}" "$address"
}

ready() { # until worker and beat have done their work once
    local _
    for _ in $(seq 60); do
        if browse "https://$host/readyz" > "$work/ready" 2> "$work/out"; then return; fi
        sleep 5
    done
    return 1
}

sign_in() {
    rm -f "$work/cookies"
    address=$(form "https://$host/login/" login=ada@school.example "password=$password")
    case "$address" in */login/*) cp "$work/page" "$work/out"; return 1 ;; esac
    say "  signed in as the administrator by the proxy: ${address#https://"$host"}"
}

ledger() {
    docker compose --profile keeper run --rm --no-deps keeper verify_ledger > "$work/out" 2>&1
    tr -d '\r' < "$work/out" | grep -E "^ledger|^WHOLE" | sed 's/ in .* s (.*):/:/'
}

echo "$engine, on $(nproc) cores"
docker compose down --volumes > "$work/out" 2>&1 || true
rm -f .env
guide "Configure"
sed -i 's|^EMAIL_URL=.*|EMAIL_URL=smtp://mail.invalid:25|' .env
guide "Start"

openssl req -x509 -newkey rsa:2048 -nodes -days 1 -subj "/CN=$host" -addext "subjectAltName=DNS:$host" \
    -keyout "$work/privkey.pem" -out "$work/fullchain.pem" 2> "$work/out"
{
    echo "daemon on; pid $work/nginx.pid; error_log $work/nginx.log; events {} http { access_log off;"
    for each in client_body proxy fastcgi uwsgi scgi; do echo "${each}_temp_path $work/$each;"; done
    blocks nginx "Put a proxy in front" | sed "s|listen 443|listen 127.0.0.1:8443|; s|/etc/ssl/training|$work|"
    echo "}"
} > "$work/nginx.conf"
nginx -c "$work/nginx.conf" 2> "$work/out"
ready
say "  ready: $(cat "$work/ready")"

guide "Set up the school"
grep "^Added" "$work/out" | while read -r line; do say "  $line"; done
link=$(grep -o "https://$host/password/[^ ]*" "$work/out" | tr -d '\r')
say "  $(grep "entries: " "$work/out" | tr -d '\r' | sed 's/ ([0-9a-f-]*)//')"
password=$(openssl rand -hex 16)
form "$link" "password1=$password" "password2=$password" > "$work/address"
sign_in
before=$(ledger)
say "  ${before//$'\n'/; }"

guide "Back up"
say "  $(stat --format %s "../$day.backup") bytes outside the volume"
guide "Upgrade and go back"
ready
sign_in

say "  everything deleted: volumes, containers"
docker compose down --volumes > "$work/out" 2>&1
guide "Restore"
grep -E "students:|signed|WHOLE" "$work/out" | tr -d '\r' | while read -r line; do say "  $line"; done
ready
sign_in
[ "$(ledger)" = "$before" ]
say "the ledger is the same, and all blocks of the guide ran"
