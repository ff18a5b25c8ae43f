# The description of the REST API under the linters of others; sourced by run.

# openapi_lint DOCUMENT : fails on an error or a warning of either linter.
openapi_lint() {
  local status=0
  tools/node_modules/.bin/spectral lint --quiet -r tools/spectral.yaml --fail-severity warn "$1" || status=1
  REDOCLY_TELEMETRY=off REDOCLY_SUPPRESS_UPDATE_NOTICE=true \
    tools/node_modules/.bin/redocly lint --config tools/redocly.yaml --format json "$1" >"$scratch/redocly.json" 2>/dev/null || true
  node -e '
    const found = JSON.parse(require("fs").readFileSync(process.argv[1], "utf8"))
    for (const p of found.problems) console.log(p.severity, p.ruleId, p.location[0]?.pointer ?? "", p.message)
    process.exit(found.totals.errors + found.totals.warnings > 0 ? 1 : 0)' "$scratch/redocly.json" || status=1
  return "$status"
}

step_openapi() {
  tools/setup.sh
  local document=gen/openapi/phasewright.swagger.json
  openapi_lint "$document" || die "see above"
  echo "no error and no warning: spectral $(tools/node_modules/.bin/spectral --version), redocly $(tools/node_modules/.bin/redocly --version 2>/dev/null | tail -1)"

  # The check itself is checked: each linter finds a fault of its own.
  sed 's/"contact": {/"x-contact": {/' "$document" >"$scratch/contact.json"
  sed 's/"license": {/"x-license": {/' "$document" >"$scratch/license.json"
  ! openapi_lint "$scratch/contact.json" >"$scratch/found" || die "a missing contact went unnoticed"
  grep -q info-contact "$scratch/found" || die "refused for another reason: $(cat "$scratch/found")"
  ! openapi_lint "$scratch/license.json" >"$scratch/found" || die "a missing license went unnoticed"
  grep -q info-license "$scratch/found" || die "refused for another reason: $(cat "$scratch/found")"
}
