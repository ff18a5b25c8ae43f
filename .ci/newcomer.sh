# The README's path for someone who integrates; sourced by run.

# block MARKER : the first fenced block after the line <!-- MARKER --> of README.md.
block() {
  awk -v marker="<!-- $1 -->" '
    index($0, marker) { seen = 1; next }
    seen && /^```/ { if (open) exit; open = 1; next }
    open { print }
  ' README.md
}

# installed COMMAND PACKAGE : installs a Debian package for a command that is missing.
installed() {
  command -v "$1" >/dev/null && return
  [[ "$(id -u)" == 0 ]] || die "$1 is missing: install $2"
  apt-get install -y -qq --no-install-recommends "$2" >/dev/null 2>&1 ||
    { apt-get update -qq && apt-get install -y -qq --no-install-recommends "$2"; } >/dev/null
}

step_newcomer() {
  installed curl curl
  installed jq jq
  fresh_clone "$scratch/newcomer"
  cd "$scratch/newcomer"
  block serve >"$scratch/serve.sh"
  setsid bash "$scratch/serve.sh" 2>"$scratch/serve.log" &
  local server=$! waited=0
  # shellcheck disable=SC2064
  trap "kill -TERM -- -$server 2>/dev/null || true; finish" EXIT
  until curl -fs http://127.0.0.1:8080/readyz >/dev/null; do
    kill -0 "$server" 2>/dev/null && ((waited++ < 1200)) || die "the server did not start: $(cat "$scratch/serve.log")"
    sleep 0.1
  done
  block curl >"$scratch/curl.sh"
  block answer >"$scratch/want"
  bash -euo pipefail "$scratch/curl.sh" >"$scratch/answer"
  [[ -s "$scratch/answer" ]] || die "curl printed nothing"
  diff "$scratch/want" "$scratch/answer" || die "the README shows another answer (<)"

  block estimate >"$scratch/estimate.sh"
  bash -euo pipefail "$scratch/estimate.sh" >"$scratch/estimate"
  grep -q '1RM about' "$scratch/estimate" || die "the README's estimate says nothing: $(cat "$scratch/estimate")"

  block grpcurl >"$scratch/grpcurl.sh"
  local over_grpc over_rest
  over_grpc="$(bash -euo pipefail "$scratch/grpcurl.sh")"
  [[ "$over_grpc" == sha256:* ]] || die "grpcurl printed no digest: $over_grpc"
  # The same body over REST, whole.
  over_rest="$(sed '/^  *jq/,$d; s/ |$//' "$scratch/curl.sh" | bash -euo pipefail | jq -r .program.digest)"
  [[ "$over_rest" == "$over_grpc" ]] || die "REST gave $over_rest, gRPC $over_grpc"
  echo "curl and grpcurl: $over_grpc"

  kill -TERM -- "-$server"
  while kill -0 -- "-$server" 2>/dev/null; do sleep 0.1; done # go run goes first
  grep -q '"msg":"drained"' "$scratch/serve.log" || die "the server did not drain: $(tail -5 "$scratch/serve.log")"
  trap finish EXIT
  cd "$root"
}
