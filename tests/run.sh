#!/usr/bin/env bash
# Installs what the tests need on a fresh Debian machine, then checks form, lints and every test on both databases.
set -euo pipefail
cd "$(dirname "$0")/.."

# Debian packages: a C compiler for SQLite, PostgreSQL's server, and a browser with its driver.
missing=()
command -v cc >/dev/null || missing+=(gcc libc6-dev)
compgen -G '/usr/lib/postgresql/*/bin/initdb' >/dev/null || missing+=(postgresql)
command -v chromium >/dev/null || missing+=(chromium)
command -v chromedriver >/dev/null || missing+=(chromium-driver)
if [ "${#missing[@]}" -gt 0 ]; then
    as_root=()
    [ "$(id -u)" = 0 ] || as_root=(sudo)
    "${as_root[@]}" apt-get update -q
    "${as_root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -qy --no-install-recommends "${missing[@]}"
fi

cargo fmt --check
cargo clippy --locked --all-targets -- -D warnings
cargo test --locked
