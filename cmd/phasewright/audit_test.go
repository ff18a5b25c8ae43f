package main

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestAuditOfWhatWasGenerated(t *testing.T) {
	made := demoJSON(t)
	got := run(t, made, "audit", "-f", "-")
	require.Equal(t, exitOK, got.code, got.out+got.err)
	require.Regexp(t, `^no violation, .* in 8 weeks\.\n`, got.out)
	require.Equal(t, got.out, run(t, "", "audit", "-f", file(t, "p.json", made)).out)
}

func TestAuditAsJSON(t *testing.T) {
	got := run(t, demoJSON(t), "audit", "-f", "-", "--json")
	require.Equal(t, exitOK, got.code, got.err)
	var answer struct {
		Intact   bool
		Findings []struct {
			RuleID string `json:"rule_id"`
		}
		Rules []struct{ ID string }
	}
	require.NoError(t, json.Unmarshal([]byte(got.out), &answer))
	require.True(t, answer.Intact)
	known := map[string]bool{}
	for _, r := range answer.Rules {
		known[r.ID] = true
	}
	for _, f := range answer.Findings {
		require.True(t, known[f.RuleID], f.RuleID)
	}
}

// A day of 15 minutes for the sessions as they are: a violation, and it shows.
func TestAuditFindsViolations(t *testing.T) {
	made := demoJSON(t)
	spoiled := strings.ReplaceAll(made, `"minutes": 75`, `"minutes": 15`)
	require.NotEqual(t, made, spoiled)
	got := run(t, spoiled, "audit", "-f", "-")
	require.Equal(t, exitViolations, got.code)
	require.Contains(t, got.out, "\nviolation  ")
	require.Empty(t, got.err)
	require.Equal(t, exitViolations, run(t, spoiled, "audit", "-f", "-", "--json").code)
}

func TestAuditRefusesWhatIsNoProgram(t *testing.T) {
	for _, in := range []string{"{", "- a\n- b\n", `{"phasis": []}`} {
		got := run(t, in, "audit", "-f", "-")
		require.Equal(t, exitInvalid, got.code, in)
		require.NotEmpty(t, got.err, in)
		require.Empty(t, got.out, in)
	}
	require.Contains(t, run(t, `{"phasis": []}`, "audit", "-f", "-").err, "phases")
}

func TestMany(t *testing.T) {
	require.Equal(t, "no unmet wish", many(0, "unmet wish"))
	require.Equal(t, "1 note", many(1, "note"))
	require.Equal(t, "2 unmet wishes", many(2, "unmet wish"))
	require.Equal(t, "3 departures from guidance", many(3, "departure from guidance"))
}
