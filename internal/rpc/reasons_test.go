package rpc

import (
	"encoding/json"
	"flag"
	"fmt"
	"go/ast"
	"go/parser"
	gotoken "go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"

	"github.com/phasewright/phasewright/engine/fault"
)

var rewrite = flag.Bool("rewrite", false, "write docs/errors.md anew")

// listed are the reasons of the registry by name.
func listed(t *testing.T) map[string]Reason {
	out := map[string]Reason{}
	form := regexp.MustCompile(`^[A-Z][A-Z0-9_]+[A-Z0-9]$`) // AIP-193, as are the 63 letters
	for _, g := range Reasons() {
		for _, r := range g.Reasons {
			require.Regexp(t, form, r.Name)
			require.LessOrEqual(t, len(r.Name), 63)
			require.NotContains(t, out, r.Name, "a reason has one meaning")
			require.NotEmpty(t, r.Kinds, r.Name)
			require.NotEmpty(t, r.Means, r.Name)
			require.NotEmpty(t, r.Do, r.Name)
			out[r.Name] = r
		}
	}
	return out
}

// withheld are words in the source that look like reasons and reach no caller.
var withheld = map[string][]string{
	"the kind is Internal, so a caller is told INTERNAL": {"ARMS_UNSETTLED", "AUDIT", "DESCRIPTION", "ENCODING", "MALFORMED_MODEL", "MALFORMED_PRIOR",
		"OUTLINE_BOUNDS", "OUTLINE_EFFORT", "OUTLINE_EMPTY", "OUTLINE_KIND", "OUTLINE_NAME", "OUTLINE_REFERENCE", "OUTLINE_ROLE", "OUTLINE_SESSIONS", "OUTLINE_WEEKS",
		"PANIC", "PLOT", "POSTERIOR_NOT_DEFINITE", "PRESCRIBE_INPUT", "RANDOM", "READ_ONLY", "RULES_BROKEN", "STORAGE", "TIME_BOUND", "TRIAL_KEY", "TRIAL_KEY_SEALED", "MATCH_PROOF"},
	"of the parts of a trial, whose input is checked before": {"ANALYSE_DATA", "ANALYSE_RULES", "MATCH_COST", "POWER_RANGE", "REPORT_INPUT", "SEQUENTIAL_ALPHA",
		"SEQUENTIAL_INPUT", "TRIAL_CLOSED", "TRIAL_ENROLLED", "TRIAL_UNKNOWN_UNIT"},
	"of the service, which waits": {"TRIAL_WAITING"},
	"of the engine's parts, whose input is checked before": {"LAYOFF_OUT_OF_BOUNDS", "LOAD_NOT_POSITIVE", "NO_EVIDENCE", "RATIO_OUT_OF_BOUNDS", "REPS_BEYOND_CURVE",
		"REPS_OUTSIDE_EQUATION", "SD_OUT_OF_BOUNDS", "SHIFT_OUT_OF_BOUNDS", "SLOPE_OUT_OF_BOUNDS", "UNKNOWN_CURVE", "UNKNOWN_EQUATION"},
	"why a performance says nothing, in an answer": {"FAR_FROM_OTHERS", "OLDER_THAN_NEEDED",
		"OTHER_LIFT"},
	"at the start, from files and settings": {"CATALOGUE_FILE_INVALID", "LOCKED", "ROLE", "SCHEMA",
		"STRATEGY_NAME", "STRATEGY_NIL", "STRATEGY_TWICE", "STRATEGY_VERSION", "URL"},
	"of the client": {"ADDRESS", "UNEXPECTED_STATUS", "UNREADABLE_ANSWER"},
	"no reasons": {"BEGIN", "COMMIT", "FULL", "MEMORY", "OFF", "OTEL_EXPORTER_OTLP_ENDPOINT", "OTEL_EXPORTER_OTLP_TRACES_ENDPOINT", "REPLAYED", "RIR", "ROLLBACK",
		"SERIALIZABLE", "WAL", "XX001", "XX002"},
}

// words are the texts in the source that look like a reason, with where they stand.
// Rules of the schema have their ids.
func words(t *testing.T) map[string]string {
	out := map[string]string{}
	look := regexp.MustCompile(`^[A-Z][A-Z0-9]*(_[A-Z0-9]+)*$`)
	for _, root := range []string{"engine", "strategies", "internal"} {
		require.NoError(t, filepath.WalkDir(filepath.Join("../..", root), func(path string, d fs.DirEntry, err error) error {
			switch {
			case err != nil:
				return err
			case d.IsDir() && strings.HasSuffix(path, "test"):
				return fs.SkipDir
			case filepath.Ext(path) != ".go" || strings.HasSuffix(path, "_test.go") || path == "../../internal/rpc/reasons.go":
				return nil
			}
			files := gotoken.NewFileSet()
			file, err := parser.ParseFile(files, path, nil, 0)
			if err != nil {
				return err
			}
			ast.Inspect(file, func(n ast.Node) bool {
				if l, ok := n.(*ast.BasicLit); ok && l.Kind == gotoken.STRING {
					if text, err := strconv.Unquote(l.Value); err == nil && len(text) > 2 && look.MatchString(text) {
						out[text] = files.Position(l.Pos()).String()
					}
				}
				return true
			})
			return nil
		}))
	}
	schema, err := filepath.Glob("../../proto/phasewright/v1/*.proto")
	require.NoError(t, err)
	for _, path := range schema {
		text, err := os.ReadFile(path)
		require.NoError(t, err)
		for _, id := range regexp.MustCompile(`\bid: "([a-z_.]+)"`).FindAllSubmatch(text, -1) {
			out[strings.ToUpper(strings.ReplaceAll(string(id[1]), ".", "_"))] = path
		}
	}
	return out
}

func TestEveryReasonIsListed(t *testing.T) {
	list, found := listed(t), words(t)
	require.Greater(t, len(found), 150)
	for why, names := range withheld {
		for _, name := range names {
			require.Contains(t, found, name, "%s: gone from the source", why)
			require.NotContains(t, list, name, why)
			delete(found, name)
		}
	}
	for name := range list {
		require.Contains(t, found, name, "listed, but nothing gives this reason")
		delete(found, name)
	}
	for name, where := range found {
		t.Errorf("%s at %s: say in reasons.go what it means, or here why no caller meets it", name, where)
	}
}

// The answers on record say each reason with a code that the list has.
func TestReasonsComeWithTheirCodes(t *testing.T) {
	list, seen := listed(t), map[string]bool{}
	require.NoError(t, filepath.WalkDir("../../testdata/badinput", func(path string, d fs.DirEntry, err error) error {
		if err != nil || filepath.Ext(path) != ".json" {
			return err
		}
		data, err := os.ReadFile(path)
		require.NoError(t, err)
		var answer any
		if json.Unmarshal(data, &answer) != nil {
			return nil // a body that is no JSON
		}
		statuses(answer, func(code codes.Code, reason string) {
			r, ok := list[reason]
			if !ok || !slices.Contains(r.Codes(), code) {
				t.Errorf("%s: %s with %s; the list has %v", path, reason, code, r.Codes())
			}
			seen[reason] = true
		})
		return nil
	}))
	require.Greater(t, len(seen), 20)
}

// statuses gives every google.rpc.Status in a document with the reason of its ErrorInfo
// and those of its violations.
func statuses(v any, to func(codes.Code, string)) {
	switch v := v.(type) {
	case []any:
		for _, x := range v {
			statuses(x, to)
		}
	case map[string]any:
		code, ok := v["code"].(float64)
		details, _ := v["details"].([]any)
		for _, d := range details {
			d, _ := d.(map[string]any)
			if reason, said := d["reason"].(string); ok && said {
				to(codes.Code(code), reason)
			}
			for list, key := range map[string]string{"fieldViolations": "reason", "violations": "type"} {
				violations, _ := d[list].([]any)
				for _, v := range violations {
					to(codes.Code(code), v.(map[string]any)[key].(string))
				}
			}
		}
		for _, x := range v {
			statuses(x, to)
		}
	}
}

func TestDocumentOfReasons(t *testing.T) {
	const path = "../../docs/errors.md"
	want := document()
	if *rewrite {
		require.NoError(t, os.WriteFile(path, []byte(want), 0o644))
	}
	got, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, want, string(got), "go test ./internal/rpc -run TestDocumentOfReasons -rewrite writes it anew")
}

const opening = `# When something is wrong
<!-- Written by go test ./internal/rpc -run TestDocumentOfReasons -rewrite from internal/rpc/reasons.go. -->

Every answer that is no success is a ` + "`google.rpc.Status`" + ` with exactly one ` + "`google.rpc.ErrorInfo`" + `: domain ` + "`" + Domain + "`" + `, a ` + "`reason`" + ` from this page, and in its metadata the ` + "`kind`" + ` and, where there is one, the first ` + "`field`" + `. Over REST it is the body. All violations stand beside it, each with field, reason and what would be right, in ` + "`BadRequest`" + ` or ` + "`PreconditionFailure`" + `; where they would be too long for a header, ` + "`violations`" + ` counts them and ` + "`shown`" + ` says how many there are.

Decide by ` + "`reason`" + `, else by code; texts are for people and may change. A reason keeps its meaning for good. Expect new ones, and treat those as their code says. With ` + "`RetryInfo`" + ` (` + "`Retry-After`" + ` over REST) the call can be made again after that time; a call that changes something is safe to make again with the same ` + "`request_id`" + `.

A plug-in's refusal is told with the violations and reasons that the plug-in gives; those are its own.

| kind | code | HTTP | what it says |
|---|---|---|---|
`

// says explains a kind.
var says = []struct {
	kind fault.Kind
	text string
}{
	{fault.Invalid, "the request is wrong in itself: mend it"},
	{fault.Infeasible, "each wish is valid, together they can't be: take one back"},
	{fault.Refused, "safety says no, or the server is not set up for it"},
	{fault.NotFound, "there is none, or it belongs to another tenant"},
	{fault.Exists, "it is there already"},
	{fault.Stale, "it was changed meanwhile: read it again"},
	{fault.Unauthenticated, "who calls is not known"},
	{fault.Denied, "the key may not do this"},
	{fault.Exhausted, "too often, or no room"},
	{fault.Unavailable, "not now: try again"},
	{fault.Canceled, "the caller went away, or the deadline passed (DEADLINE_EXCEEDED)"},
	{fault.Broken, "a plug-in answers wrongly"},
	{fault.Internal, "a fault of the server"},
}

func document() string {
	var b strings.Builder
	b.WriteString(opening)
	for _, s := range says {
		c := table[s.kind]
		fmt.Fprintf(&b, "| %s | %s | %d | %s |\n", kindName(s.kind), codeName(c), runtime.HTTPStatusFromCode(c), s.text)
	}
	for _, g := range Reasons() {
		fmt.Fprintf(&b, "\n## %s\n| reason | code | means | what to do |\n|---|---|---|---|\n", g.Title)
		sorted := slices.Clone(g.Reasons)
		slices.SortFunc(sorted, func(x, y Reason) int { return strings.Compare(x.Name, y.Name) })
		for _, r := range sorted {
			var names []string
			for _, c := range r.Codes() {
				names = append(names, codeName(c))
			}
			fmt.Fprintf(&b, "| `%s` | %s | %s | %s |\n", r.Name, strings.Join(names, ", "), r.Means, r.Do)
		}
	}
	b.WriteString("\nOver REST some answers have another HTTP status than their code: `TOO_LARGE` 413, `STORAGE_FULL` 507, and `STALE` 412 where `If-Match` was sent; `METHOD_NOT_ALLOWED` is 405 and `CONTENT_TYPE` and `CONTENT_ENCODING` are 415.\n")
	return b.String()
}

// codeName is that of the schema: INVALID_ARGUMENT.
func codeName(c codes.Code) string {
	return strings.ToUpper(regexp.MustCompile(`([a-z])([A-Z])`).ReplaceAllString(c.String(), "${1}_$2"))
}
