#!/usr/bin/env bash
# Builds the code generators and linters into tools/bin, and fetches buf.
# Needs go, node and npm; does nothing twice.
set -euo pipefail
cd "$(dirname "$0")"

go build -o bin/ tool

if [[ ! -x node_modules/.bin/buf || package-lock.json -nt node_modules/.package-lock.json ]]; then
  npm ci --silent --ignore-scripts --no-audit --no-fund </dev/null
fi
