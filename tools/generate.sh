#!/usr/bin/env bash
# Writes gen/ anew from proto/. Everything in gen/ comes from here.
set -euo pipefail
root="$(cd "$(dirname "$0")/.." && pwd)"

"$root/tools/setup.sh"
"$root/tools/thirdparty.sh"

cd "$root"
PATH="$root/tools/bin:$PATH" tools/node_modules/.bin/buf generate
