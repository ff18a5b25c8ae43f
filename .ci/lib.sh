# Shared by the scripts of this folder; sourced, not run.
set -euo pipefail
exec </dev/null
root="$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd -P)"
cd "$root"

scratch="$(mktemp -d)"
current=setup
finish() {
  local status=$?
  chmod -R u+w "$scratch" && rm -rf "$scratch"
  if ((status != 0)); then
    echo "FAILED in step $current (exit $status)" >&2
  fi
}
trap finish EXIT

die() {
  echo "$current: $*" >&2
  exit 1
}

# main STEP... : runs the named steps, or all of `steps`, in order.
main() {
  local began=$SECONDS wanted=("$@") name start
  ((${#wanted[@]})) || wanted=("${steps[@]}")
  for name in "${wanted[@]}"; do
    [[ " ${steps[*]} " == *" $name "* ]] || die "no step $name; there are: ${steps[*]}"
  done
  for name in "${wanted[@]}"; do
    current=$name
    start=$SECONDS
    echo "==> $name"
    "step_$name"
    echo "<== $name: $((SECONDS - start)) s"
  done
  echo "passed: ${wanted[*]} in $((SECONDS - began)) s"
}

# sources PATHSPEC... : what is or would be committed and exists.
sources() {
  local file
  git ls-files --cached --others --exclude-standard -- "$@" | sort -u | while IFS= read -r file; do
    if [[ -f "$file" ]]; then printf '%s\n' "$file"; fi
  done
}

# debian COMMAND PACKAGE : installs what has the command, where it is missing. Debian
# keeps PostgreSQL's commands out of the path.
debian() {
  if command -v "$1" >/dev/null || compgen -G "/usr/lib/postgresql/*/bin/$1" >/dev/null; then
    return
  fi
  [[ "$(id -u)" == 0 ]] || die "$1 is missing: install $2"
  apt-get install -y -qq --no-install-recommends "$2" >/dev/null 2>&1 ||
    { apt-get update -qq && apt-get install -y -qq --no-install-recommends "$2"; } >/dev/null
}

# packages_with REGEX : packages whose test files have a line that matches.
packages_with() {
  sources '*_test.go' | { xargs grep -lE "$1" || true; } | xargs -r -n1 dirname | sort -u | sed 's|^|./|'
}

# readme MARKER PATTERN : the first line that matches PATTERN in the first
# fenced block after the line <!-- MARKER --> of README.md.
readme() {
  [[ -f README.md ]] || die "README.md is missing"
  local line
  line="$(awk -v marker="<!-- $1 -->" -v pattern="$2" '
    index($0, marker) { seen = 1; next }
    seen && /^```/ { if (open) exit; open = 1; next }
    open && $0 ~ pattern { sub(/^\$ /, ""); print; exit }
  ' README.md)"
  [[ -n "$line" ]] || die "README.md has no fenced block after <!-- $1 --> with a line that matches: $2"
  printf '%s\n' "$line"
}

# fresh_clone DIR : what a stranger would get; uncommitted work goes along.
fresh_clone() {
  if [[ -z "$(git status --porcelain)" ]]; then
    git clone --quiet "$root" "$1"
  else
    echo "note: the working tree has changes; copying it instead of cloning"
    mkdir -p "$1"
    sources | tar -cf - -T - | tar -xf - -C "$1"
  fi
}

# shows_program FILE : it is a program only if it has set lines.
shows_program() {
  grep -qF ' × ' "$1" || die "the README's command printed no set lines:
$(head -20 "$1")"
  echo "$(wc -l <"$1") lines, $(grep -cF ' × ' "$1") with sets"
}

# fuzz TIME REGEX : runs the fuzz targets whose names, after Fuzz, match: one worker
# each, as many at once as there are processors.
fuzz() {
  local targets
  targets="$(sources '*_test.go' | xargs grep -HoE "^func Fuzz$2\(" | sed -E 's/func (Fuzz[A-Za-z0-9_]*)\(/\1/')"
  [[ -n "$targets" ]] || die "no fuzz target found"
  export -f fuzz_one
  # shellcheck disable=SC2016
  xargs -P "$(nproc)" -n 1 bash -c 'fuzz_one "$@"' _ "$1" "$scratch" <<<"$targets"
}

# fuzz_one TIME SCRATCH FILE:TARGET. The fuzzing coordinator now and then ends as failed
# when its time is up in the middle of an input; then there is no failing input, and the
# target runs once more.
fuzz_one() {
  local file="${3%%:*}" target="${3##*:}" try
  local log="$2/$target.fuzz"
  for try in 1 2; do
    if go test -run '^$' -fuzz "^$target\$" -fuzztime "$1" -fuzzminimizetime 2s -parallel 1 "./$(dirname "$file")" >"$log" 2>&1; then
      echo "$target in $(dirname "$file"): $(grep -E '^fuzz: elapsed' "$log" | tail -1)"
      return
    fi
    if grep -q 'Failing input written' "$log"; then
      break
    fi
    echo "$target, try $try: failed without an input"
    tail -20 "$log"
  done
  tail -60 "$log"
  return 1
}
