package engine_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

func pinnedEach(r *plan.Request, ids ...string) {
	for _, id := range ids {
		r.Constraints.Pinned = append(r.Constraints.Pinned, plan.Pin{ExerciseID: id, EverySession: true})
	}
}

// TestWaysOut: a coach reads why it can't be, and what each way out asks.
func TestWaysOut(t *testing.T) {
	three := []string{"bench-press", "bent-over-row", "overhead-press"}
	for name, c := range map[string]struct {
		change func(*plan.Request)
		says   string // the conflict
		way    string
		field  string
	}{
		"a short day": {
			func(r *plan.Request) { r.Constraints.Days[1].Minutes = 25; pinnedEach(r, three...) },
			"constraints.days[1].minutes: Thursday has 21 min for exercises [CONFLICT_DAY]",
			"more minutes on Thursday make it possible.", "constraints.days[1].minutes",
		},
		"recovery": {
			func(r *plan.Request) {
				r.Constraints.Recovery = []plan.Recovery{{Muscle: plan.Chest, Hours: 96}}
				pinnedEach(r, "bench-press")
			},
			"constraints.recovery[0]: chest may be trained directly on only one of Monday and Thursday [CONFLICT_RECOVERY]",
			"72 instead of 96 hours between hard work for chest make it possible.", "constraints.recovery[0].hours",
		},
		"no bench": {
			func(r *plan.Request) {
				r.Constraints.Places = []plan.Place{{ID: r.Constraints.Places[0].ID, Preset: plan.PresetFullGym, Absent: []plan.Equipment{plan.FlatBench}}}
				r.Goals = nil
				pinnedEach(r, "bench-press")
			},
			"lacks flat bench [EQUIPMENT]",
			"A flat bench at gym makes it possible.", "constraints.places[0].items",
		},
	} {
		t.Run(name, func(t *testing.T) {
			r := fit()
			c.change(&r)
			_, err := newEngine(t).Generate(context.Background(), r)
			f, ok := fault.As(err)
			require.True(t, ok)
			require.Equal(t, fault.Infeasible, f.Kind)
			require.Contains(t, err.Error(), c.says)
			require.NotEmpty(t, f.Ways)
			found := false
			for i, w := range f.Ways {
				require.True(t, i == 0 || w.Price >= f.Ways[i-1].Price, "the cheapest first")
				require.NotContains(t, w.Says, "  ")
				if len(w.Changes) == 1 && w.Changes[0].Field == c.field {
					found = true
					require.Contains(t, w.Says, c.way)
				}
			}
			require.True(t, found, "%v", f.Ways)
		})
	}
}

// TestRelaxationsGain: what is said to be gained is what the program made with the change
// has more, and a minute more is never told as a loss.
func TestRelaxationsGain(t *testing.T) {
	r := fit()
	for i := range r.Constraints.Days {
		r.Constraints.Days[i].Minutes = 40
	}
	e := newEngine(t)
	list, err := e.Relaxations(context.Background(), r)
	require.NoError(t, err)
	require.NotEmpty(t, list)
	made := func(r plan.Request) (sum plan.HalfSets) {
		p, err := e.Generate(context.Background(), r)
		require.NoError(t, err)
		for _, ph := range p.Phases {
			for _, w := range ph.Weeks {
				for _, m := range w.Muscles {
					sum += max(0, m.Wanted-m.Sets)
				}
				for _, l := range w.Lifts {
					sum += plan.HalfSets(2 * max(0, l.Wanted-l.Sets))
				}
			}
		}
		return sum
	}
	checked := 0
	for _, x := range list {
		sum := plan.HalfSets(0)
		for _, g := range x.Gains {
			sum += g.Sets
		}
		require.Positive(t, sum)
		if x.Changes[0].Field == "constraints.days[0].minutes" {
			longer := r
			longer.Constraints.Days = append([]plan.Day(nil), r.Constraints.Days...)
			longer.Constraints.Days[0].Minutes += x.Price
			require.Equal(t, sum, made(r)-made(longer))
			checked++
		}
		t.Log(x.Says)
	}
	require.Equal(t, 1, checked)
}

func TestRelaxationsEndWithTheContext(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err := newEngine(t).Relaxations(ctx, fit())
	f, ok := fault.As(err)
	require.True(t, ok)
	require.Equal(t, fault.Canceled, f.Kind)
}
