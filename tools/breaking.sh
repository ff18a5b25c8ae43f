#!/usr/bin/env bash
# Compares proto/ with what is already public: breaking.sh [REF].
# Without REF: the merge base with the main branch, or its parent when the
# checkout is that very commit. Exit 100 when something breaks.
set -euo pipefail
root="$(cd "$(dirname "$0")/.." && pwd)"
cd "$root"

base_ref() {
  local main base
  for main in origin/main main; do
    if base="$(git merge-base HEAD "$main" 2>/dev/null)"; then
      if [[ "$base" == "$(git rev-parse HEAD)" && -z "$(git status --porcelain -- proto)" ]]; then
        base="$(git rev-parse --verify --quiet 'HEAD^' || true)"
      fi
      echo "$base"
      return
    fi
  done
}

ref="${1:-$(base_ref)}"
if [[ -z "$ref" && "$(git rev-parse --is-shallow-repository)" == true ]]; then
  echo "breaking: needs the history: git fetch --unshallow" >&2
  exit 1
fi
if [[ -z "$ref" ]] || ! git cat-file -e "$ref:proto" 2>/dev/null; then
  echo "breaking: nothing to compare with: no proto/ in ${ref:-an earlier commit}"
  exit 0
fi

tools/setup.sh
tools/thirdparty.sh

# buf wants the imported files on both sides, and git has them on neither.
against="$(mktemp -d)"
trap 'rm -rf "$against"' EXIT
git archive "$ref" buf.yaml proto | tar -x -C "$against"
mkdir -p "$against/tools"
cp -R tools/thirdparty "$against/tools/thirdparty"

echo "breaking: against $(git rev-parse --short "$ref")"
tools/node_modules/.bin/buf breaking --against "$against"
