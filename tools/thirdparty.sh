#!/usr/bin/env bash
# Lays the imported .proto files of other projects into tools/thirdparty, which
# git ignores: no schema registry is needed. Go modules are checked by go.sum,
# the npm archive by the sum below.
set -euo pipefail
cd "$(dirname "$0")"

gax=google-gax@6.17.0
gax_sha256=8c025ab2d5147be4083ab939aff3a80271e08633349bdab1acfaa323b29e560e

# The stamp names everything the folder's content depends on.
stamp="$(cksum thirdparty.sh go.mod)"
if [[ -f thirdparty/.stamp && "$(<thirdparty/.stamp)" == "$stamp" ]]; then
  exit 0
fi

work="$(mktemp -d)"
trap 'rm -rf "$work"' EXIT
out="$work/out"

npm pack --silent --pack-destination "$work" "$gax" </dev/null >/dev/null
archive="$(echo "$work"/google-gax-*.tgz)"
got="$(node -e 'process.stdout.write(require("crypto").createHash("sha256").update(require("fs").readFileSync(process.argv[1])).digest("hex"))' "$archive")"
if [[ "$got" != "$gax_sha256" ]]; then
  echo "thirdparty: $gax has sha256 $got, want $gax_sha256" >&2
  exit 1
fi
tar -xzf "$archive" -C "$work"
for file in \
  google/api/annotations.proto google/api/http.proto google/api/httpbody.proto \
  google/api/client.proto google/api/launch_stage.proto \
  google/api/field_behavior.proto google/api/field_info.proto google/api/resource.proto \
  google/longrunning/operations.proto \
  google/rpc/code.proto google/rpc/status.proto google/rpc/error_details.proto; do
  mkdir -p "$out/$(dirname "$file")"
  cp "$work/package/build/protos/$file" "$out/$file"
done

# module_file MODULE FILE-IN-MODULE IMPORT-PATH
module_file() {
  local dir
  go mod download "$1"
  dir="$(go list -m -f '{{.Dir}}' "$1")"
  mkdir -p "$out/$(dirname "$3")"
  cp "$dir/$2" "$out/$3"
  chmod u+w "$out/$3"
}
module_file github.com/bufbuild/protovalidate \
  proto/protovalidate/buf/validate/validate.proto buf/validate/validate.proto
for file in annotations.proto openapiv2.proto; do
  module_file github.com/grpc-ecosystem/grpc-gateway/v2 \
    "protoc-gen-openapiv2/options/$file" "protoc-gen-openapiv2/options/$file"
done

printf '%s\n' "$stamp" >"$out/.stamp"
rm -rf thirdparty
mv "$out" thirdparty
