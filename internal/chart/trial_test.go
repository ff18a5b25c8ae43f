package chart

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/trial/report"
	"github.com/phasewright/phasewright/engine/trial/report/reporttest"
)

func reports(t *testing.T) map[string]*report.Report {
	t.Helper()
	cases, err := reporttest.Cases()
	require.NoError(t, err)
	out := map[string]*report.Report{}
	for _, c := range cases {
		out[c.Name], err = report.Make(c.Input)
		require.NoError(t, err)
	}
	return out
}

// The same trial gives the same bytes; every arm is named in every drawing, no number is
// missing, and what has nothing to draw is left out.
func TestTrialsAreDrawn(t *testing.T) {
	for name, r := range reports(t) {
		plots, err := Trial(r)
		require.NoError(t, err, name)
		again, err := Trial(r)
		require.NoError(t, err)
		require.Equal(t, plots, again)
		ids := map[string]string{}
		for _, p := range plots {
			ids[p.ID] = texts(t, p.SVG)
			require.Contains(t, ids[p.ID], p.Title)
		}
		require.Contains(t, ids, report.PlotFlow)
		for _, a := range r.Arms {
			require.Contains(t, strings.Join(strings.Fields(ids[report.PlotFlow]), " "), a.Name, name)
			require.Contains(t, ids[report.PlotChanges+r.Outcomes[0].ID], a.Name, name)
		}
		_, drawn := ids[report.PlotEffect+r.Outcomes[0].ID]
		require.Equal(t, name != "left", drawn, name)
		for _, s := range ids {
			require.NotContains(t, strings.ToLower(s), "responder")
		}
	}
}

// The numbers drawn are those of the report.
func TestDrawingsShowTheNumbers(t *testing.T) {
	r := reports(t)["effect"]
	plots, err := Trial(r)
	require.NoError(t, err)
	says := map[string]string{}
	for _, p := range plots {
		says[p.ID] = texts(t, p.SVG)
	}
	e := r.Outcomes[0].Answers[0].Primary
	require.Contains(t, says["effect-thickness"], short(e.Value)+" ("+short(e.Low)+" to "+short(e.High)+")")
	for _, s := range []string{"considered: 75", "enrolled: 60", "not enrolled: 15", "dealt to it: 30", "withdrew: 3", "measured at the end and analysed: 27"} {
		require.Contains(t, says["flow"], s)
	}
	require.Contains(t, says["changes-thickness"], "strength first (28)")
}

// Long names are broken, not cut off; hostile ones stay text.
func TestNamesOfTrialsAreText(t *testing.T) {
	r := reports(t)["small"]
	long := strings.TrimSpace(strings.Repeat("a very long name ", 9))
	r.Arms[0].Name, r.Arms[1].Name = long, `<script>&"x"`
	r.Flow.Excluded = []report.Count{{Reason: long, N: 3}}
	plots, err := Trial(r)
	require.NoError(t, err)
	for _, p := range plots {
		require.NotContains(t, p.SVG, "<script")
	}
	require.Contains(t, strings.Join(strings.Fields(texts(t, plots[0].SVG)), " "), long)
}

// To be looked at: PHASEWRIGHT_PLOTS=directory writes reports of invented trials.
func TestReportsToLookAt(t *testing.T) {
	dir := os.Getenv("PHASEWRIGHT_PLOTS")
	if dir == "" {
		t.Skip("PHASEWRIGHT_PLOTS is not set")
	}
	for name, r := range reports(t) {
		plots, err := Trial(r)
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(filepath.Join(dir, name+".html"), []byte(r.HTML(plots)), 0o644))
		for _, p := range plots {
			require.NoError(t, os.WriteFile(filepath.Join(dir, name+"-"+p.ID+".svg"), []byte(p.SVG), 0o644))
		}
	}
}
