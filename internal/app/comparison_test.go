package app

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/export"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/wire"
)

const comparisons = "../../testdata/comparisons"

// TestComparisons makes the comparisons on record and holds what they say against what a
// reader of their programs' JSON counts, who knows nothing of how they were made.
func TestComparisons(t *testing.T) {
	t.Parallel()
	e, err := NewEngine()
	require.NoError(t, err)
	files, err := filepath.Glob(filepath.Join(comparisons, "*", "comparison.yaml"))
	require.NoError(t, err)
	require.Len(t, files, 3)
	for _, file := range files {
		dir := filepath.Dir(file)
		t.Run(filepath.Base(dir), func(t *testing.T) {
			q := comparisonQuery(t, file)
			q.Programs = true
			got, err := service.New(e).CompareStrategies(context.Background(), q)
			require.NoError(t, err)
			require.Len(t, got.Comparison.Arms, 5)
			var text bytes.Buffer
			o := export.Options{Catalogue: e.Catalogue()}
			require.NoError(t, export.Comparison(&text, &got.Comparison, o))
			onRecord(t, filepath.Join(dir, "comparison.txt"), text.String())
			for i := range got.Comparison.Arms {
				p := &got.Comparison.Arms[i].Program
				for _, f := range e.Audit(p) {
					require.NotEqual(t, plan.LevelViolation, f.Level, f.Says)
				}
				if filepath.Base(dir) == "five-strategies" {
					var text bytes.Buffer
					require.NoError(t, export.Text(&text, p, o))
					onRecord(t, filepath.Join(dir, fmt.Sprintf("program-%d.txt", i+1)), text.String())
				}
			}
			counts := recount(t, e.Catalogue(), &got)
			claims(t, filepath.Base(dir), counts, &got.Comparison)
		})
	}
}

func comparisonQuery(t testing.TB, file string) plan.ComparisonQuery {
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	message, err := wire.ReadComparison(data)
	require.NoError(t, err)
	q, err := wire.ComparisonQueryFromProto(message)
	require.NoError(t, err)
	return q
}

// claims holds each comparison to what it is on record for.
func claims(t *testing.T, name string, counts []armCount, c *plan.Comparison) {
	for i := range counts {
		require.Equal(t, counts[0].days, counts[i].days, "arm %d has other exercises on some day", i+1)
	}
	same := true
	for i := range counts {
		same = same && fmt.Sprint(counts[i].sets) == fmt.Sprint(counts[0].sets)
	}
	var totals, volumes []float64
	for i := range counts {
		totals, volumes = append(totals, counts[i].total.HardSets), append(volumes, counts[i].total.volume())
	}
	spread := (slices.Max(volumes) - slices.Min(volumes)) / slices.Min(volumes)
	switch name {
	case "five-strategies":
		for i := range counts {
			require.Equal(t, counts[0].byWeek, counts[i].byWeek, "sets of every exercise on every day of every week")
		}
		require.True(t, same)
		require.Len(t, c.EqualWeeks, 12)
		require.Greater(t, spread, 0.01, "volume load is not equated here")
	case "five-strategies-own-deloads":
		require.True(t, same, "sets of every exercise over all weeks")
		require.NotEmpty(t, c.EqualWeeks)
		require.Less(t, len(c.EqualWeeks), 12)
		for _, w := range c.EqualWeeks {
			for i := range counts {
				require.Equal(t, counts[0].byWeek[w-1], counts[i].byWeek[w-1], "week %d", w)
			}
		}
	case "five-strategies-volume-load":
		require.LessOrEqual(t, spread, 0.01)
		require.Greater(t, slices.Max(totals), slices.Min(totals))
	default:
		t.Fatalf("what is %s on record for?", name)
	}
}

// figures as the answer's JSON has them.
type jsonFigures struct {
	Sessions    float64 `json:"sessions"`
	HardSets    float64 `json:"hard_sets"`
	Stated      float64 `json:"stated_rir_sets"`
	NearFailure float64 `json:"near_failure_sets"`
	Reps        float64 `json:"reps"`
	Low         float64 `json:"low_reps"`
	Middle      float64 `json:"middle_reps"`
	High        float64 `json:"high_reps"`
	Loaded      float64 `json:"loaded_sets"`
	Volume      struct {
		Kilograms float64 `json:"kilograms"`
	} `json:"volume_load"`
	Rated     float64 `json:"rated_reps"`
	Intensity float64 `json:"mean_intensity_percent"`
	Seconds   float64 `json:"total_seconds"`
	Muscles   []struct {
		Muscle string  `json:"muscle"`
		Sets   float64 `json:"sets"`
		Direct float64 `json:"direct_sets"`
	} `json:"muscles"`
}

func (f *jsonFigures) volume() float64 { return f.Volume.Kilograms }

type jsonComparison struct {
	Comparison struct {
		Arms []struct {
			Total  jsonFigures `json:"total"`
			Phases []struct {
				From    int         `json:"from_week"`
				To      int         `json:"to_week"`
				Figures jsonFigures `json:"figures"`
			} `json:"phases"`
			Weeks []struct {
				Figures jsonFigures `json:"figures"`
			} `json:"weeks"`
			Program jsonProgram `json:"program"`
		} `json:"arms"`
	} `json:"comparison"`
}

type jsonProgram struct {
	Phases []struct {
		Weeks []struct {
			Number   int `json:"number"`
			Sessions []struct {
				Kind      string  `json:"kind"`
				Date      string  `json:"date"`
				Seconds   float64 `json:"total_seconds"`
				Exercises []struct {
					ID   string    `json:"exercise_id"`
					Sets []jsonSet `json:"sets"`
				} `json:"exercises"`
			} `json:"sessions"`
		} `json:"weeks"`
	} `json:"phases"`
}

type jsonSet struct {
	Kind string `json:"kind"`
	Reps struct {
		Max float64 `json:"max"`
	} `json:"reps"`
	Expected  float64  `json:"expected_reps"`
	Intensity *float64 `json:"intensity_percent"`
	RIR       *float64 `json:"rir"`
	Failure   bool     `json:"to_failure"`
	Load      *struct {
		Kilograms float64 `json:"kilograms"`
	} `json:"load"`
}

// armCount is what the reader counts of a program.
type armCount struct {
	days   []string            // who is there on which date, in order
	sets   map[string]float64  // by exercise
	byWeek []map[string]string // sets by date and exercise
	total  jsonFigures
}

// answerJSON gives a comparison as the API sends it.
func answerJSON(t *testing.T, got *service.Compared) jsonComparison {
	data, err := wire.Marshal(wire.ComparisonToProto(&got.Comparison, got.Plots))
	require.NoError(t, err)
	var out jsonComparison
	require.NoError(t, json.Unmarshal(data, &out))
	return out
}
