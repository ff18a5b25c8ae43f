# The guide for a strategy in another process, followed as it stands; sourced by run.

# guide MARKER : the first fenced block after the line <!-- MARKER --> of the guide.
guide() {
  awk -v marker="<!-- $1 -->" '
    index($0, marker) { seen = 1; next }
    seen && /^```/ { if (open) exit; open = 1; next }
    open { print }
  ' docs/strategy-plugin.md
}

# until_open PORT : waits for whoever is to listen there.
until_open() {
  local waited=0
  until (exec 3<>"/dev/tcp/127.0.0.1/$1") 2>/dev/null; do
    ((waited++ < 600)) || die "nobody listens on $1"
    sleep 0.1
  done
}

step_plugin() {
  installed curl curl
  fresh_clone "$scratch/plugin"
  cd "$scratch/plugin"
  guide build >"$scratch/build.sh"
  bash -euo pipefail "$scratch/build.sh" >"$scratch/build.log" 2>&1 || die "$(tail -40 "$scratch/build.log")"
  [[ -z "$(git -C "$scratch/plugin" status --porcelain -- examples 2>/dev/null)" || -n "$before" ]] || die "src/gen of the example is stale: npm run generate"
  guide start >"$scratch/start.sh"
  guide serve >"$scratch/serve.sh"
  setsid bash "$scratch/start.sh" >"$scratch/start.log" 2>&1 &
  local groups=("-$!")
  setsid node examples/strategy-plugin/dist/broken.js 7101 >"$scratch/broken.log" 2>&1 &
  groups+=("-$!")
  # shellcheck disable=SC2064
  trap "kill -TERM -- ${groups[*]} 2>/dev/null || true; finish" EXIT
  until_open 7100
  until_open 7101

  guide conform >"$scratch/conform.sh"
  bash -euo pipefail "$scratch/conform.sh" | tail -1
  local status=0
  sed 's/7100/7101/' "$scratch/conform.sh" | bash -euo pipefail >"$scratch/found" 2>/dev/null || status=$?
  ((status == 1)) || die "the broken strategy went unnoticed (exit $status): $(cat "$scratch/found")"
  grep -qxF "$(guide broken | head -1)" "$scratch/found" || die "found, but not as the guide shows: $(cat "$scratch/found")"
  grep -qF "$(guide broken | tail -1)" "$scratch/found" || die "found, but not as the guide shows: $(cat "$scratch/found")"

  setsid bash "$scratch/serve.sh" 2>"$scratch/serve.log" &
  groups+=("-$!")
  # shellcheck disable=SC2064
  trap "kill -TERM -- ${groups[*]} 2>/dev/null || true; finish" EXIT
  until_open 8080
  guide ask >"$scratch/ask.sh"
  bash -euo pipefail "$scratch/ask.sh" >"$scratch/asked" || die "nothing was answered: $(tail -3 "$scratch/serve.log")"
  guide answer | diff - "$scratch/asked" || die "the guide shows another answer (<)"
  kill -TERM -- "${groups[@]}" 2>/dev/null || true
  trap finish EXIT
  cd "$root"
}
