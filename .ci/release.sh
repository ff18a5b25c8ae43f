# What is released, built and used as by a stranger; sourced by run. Needs the functions
# of newcomer.sh.

# quickstart MARKER : the first fenced block after the line <!-- MARKER --> of the guide.
quickstart() {
  local text
  text="$(awk -v marker="<!-- $1 -->" '
    index($0, marker) { seen = 1; next }
    seen && /^```/ { if (open) exit; open = 1; next }
    open { print }
  ' "$root/docs/quickstart.md")"
  [[ -n "$text" ]] || die "docs/quickstart.md has no block after <!-- $1 -->"
  printf '%s\n' "$text"
}

step_release() {
  installed curl curl
  installed jq jq
  # Two clones in two places give the same bytes.
  local place
  for place in one/clone another/deeper/clone; do
    mkdir -p "$scratch/$(dirname "$place")"
    fresh_clone "$scratch/$place"
    VERSION=v0.0.0-ci "$scratch/$place/tools/release.sh" "$scratch/${place%%/*}/dist" linux/amd64
  done
  cmp "$scratch/one/dist/phasewright-linux-amd64" "$scratch/another/dist/phasewright-linux-amd64" || die "two builds of the same source differ"
  (cd "$scratch/one/dist" && sha256sum --check --quiet SHA256SUMS)
  ! ldd "$scratch/one/dist/phasewright-linux-amd64" >/dev/null 2>&1 || die "the binary is not static"
  cat "$scratch/one/dist/SHA256SUMS"

  # The quick start from the binary: every block of it, in order.
  mkdir "$scratch/start"
  cp "$scratch/one/dist/phasewright-linux-amd64" "$scratch/start/phasewright"
  cd "$scratch/start"
  ./phasewright version | grep -q '^phasewright v0.0.0-ci$' || die "the version is not stamped in: $(./phasewright version)"
  local began=$SECONDS
  quickstart serve >serve.sh
  setsid bash serve.sh >serve.log 2>&1 &
  local server=$!
  # shellcheck disable=SC2064
  trap "kill -TERM -- -$server 2>/dev/null || true; finish" EXIT
  quickstart ready | bash -euo pipefail >/dev/null || die "the server did not start: $(cat serve.log)"
  quickstart program | bash -euo pipefail >program.txt
  local took=$((SECONDS - began))
  quickstart answer | diff - program.txt || die "the quick start shows another answer (<)"
  ((took < 60)) || die "from the binary to the first program took $took s, want under 60"
  echo "from the binary to the first program, three commands: $took s"

  # The rest in one shell, as it is read: later blocks use what earlier ones found.
  local marker
  for marker in athlete kept log grpc wrong; do
    quickstart "$marker"
  done >rest.sh
  bash -euo pipefail rest.sh >rest.txt || die "the quick start breaks off: $(tail -5 rest.txt)"
  quickstart refusal | diff - <(tail -1 rest.txt) || die "the quick start shows another refusal (<)"
  local blocks
  blocks="$(grep -c '^```[a-z]' "$root/docs/quickstart.md")"
  ((blocks == 8)) || die "the quick start has $blocks blocks of commands; 8 are run here"
  kill -TERM -- "-$server" 2>/dev/null || true
  wait "$server" 2>/dev/null || true
  trap finish EXIT
  cd "$root"
}

# The unit is right in itself, and as closed as it says.
step_unit() {
  debian systemd-analyze systemd
  sed 's|/usr/local/bin/phasewright |/bin/true |' deploy/phasewright.service >"$scratch/phasewright.service"
  systemd-analyze verify "$scratch/phasewright.service" || die "systemd does not take the unit"
  systemd-analyze security --offline=true --threshold=20 "$scratch/phasewright.service" | tail -1
}
