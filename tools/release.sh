#!/usr/bin/env bash
# Builds what is released: release.sh DIR [GOOS/GOARCH...], into a new folder DIR.
# The same commit gives the same bytes wherever it lies; SHA256SUMS lists them.
# VERSION is stamped in; without it git says (tag, or tag and commit).
set -euo pipefail
root="$(cd "$(dirname "$0")/.." && pwd)"
(($# >= 1)) || { echo "release.sh DIR [GOOS/GOARCH...]" >&2; exit 2; }
mkdir -p "$1"
out="$(cd "$1" && pwd)"
shift
targets=("$@")
((${#targets[@]})) || targets=(linux/amd64 linux/arm64)

cd "$root"
version="${VERSION:-$(git describe --tags --always --dirty)}"
for target in "${targets[@]}"; do
  GOOS="${target%/*}" GOARCH="${target#*/}" GOAMD64=v1 CGO_ENABLED=0 GOFLAGS= GOEXPERIMENT= \
    go build -trimpath -buildvcs=false -ldflags "-s -w -buildid= -X main.released=$version" \
    -o "$out/phasewright-${target/\//-}" ./cmd/phasewright
done
cd "$out"
sha256sum phasewright-* >SHA256SUMS
