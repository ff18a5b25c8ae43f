package app_test

import (
	"context"
	"fmt"
	"os"
	"slices"
	"strconv"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/app"
	"github.com/phasewright/phasewright/strategies"
)

// contest is a random comparison.
type contest struct {
	request plan.Request
	arms    []plan.Arm
	rule    plan.Equating
}

// contests draws requests, what all arms share, and two to five arms with random
// parameters. Arms that rotate workouts differently, or have other sessions, are among
// them: those may be refused, and for nothing else.
func contests(cat *exercise.Catalogue, known []engine.Strategy) *rapid.Generator[contest] {
	return rapid.Custom(func(t *rapid.T) contest {
		d := &drawer{T: t, cat: cat}
		d.dates()
		d.places()
		d.days()
		d.athlete()
		d.performances()
		d.restrictions()
		d.goals()
		d.wishes()
		d.plan(known)
		d.compose(known) // what all arms share, and tracks that some have
		tracks := d.r.Plan.Tracks
		d.r.Plan.Tracks = nil
		c := contest{request: d.r, rule: plan.Equating(d.n(0, int32(plan.EquatingCount)-1, "rule"))}
		left := d.weeks - d.r.Plan.LeadIn.Value.Weeks
		for i := range d.n(2, 5, "arms") {
			a := plan.Arm{Label: fmt.Sprintf("arm %d", i+1)}
			if len(tracks) > 1 && d.chance(70, "tracks") {
				for _, tr := range tracks {
					tr.Segments = d.segments(known, left)
					a.Plan.Tracks = append(a.Plan.Tracks, tr)
				}
			} else if s, ok := d.segment(known, left); ok {
				a.Plan.Tracks = []plan.Track{{Segments: []plan.Segment{s}}}
			} else {
				a.Plan.Tracks = []plan.Track{{Segments: []plan.Segment{{Strategy: "constant"}}}}
			}
			c.arms = append(c.arms, a)
		}
		return c
	})
}

// TestPropertyArms compares random arms: all have the same exercises on the same days of
// every week, hard sets are the same where nothing says that they can't be, what is said
// of them is so, no program is in violation, and no answer is an internal error.
// PHASEWRIGHT_ARMS sets how many.
func TestPropertyArms(t *testing.T) {
	total := 200
	if testing.Short() {
		total = 30
	}
	if n, err := strconv.Atoi(os.Getenv("PHASEWRIGHT_ARMS")); err == nil {
		total = n
	}
	first := 1
	if n, err := strconv.Atoi(os.Getenv("PHASEWRIGHT_FIRST")); err == nil {
		first = n
	}
	e, err := app.NewEngine()
	require.NoError(t, err)
	e = e.WithBudget(budget)
	gen := contests(e.Catalogue(), strategies.Builtin())
	var mu sync.Mutex
	made, refused, equal, gaps := 0, map[string]int{}, 0, 0
	var bad []string
	const parts = 2
	t.Run("contests", func(t *testing.T) {
		for part := range parts {
			t.Run(fmt.Sprint(part), func(t *testing.T) {
				t.Parallel()
				for i := part; i < total; i += parts {
					seed := first + i
					c := gen.Example(seed)
					got, err := e.Arms(context.Background(), c.request, c.arms, c.rule)
					var problems []string
					if err != nil {
						f, ok := fault.As(err)
						if !ok || f.Kind == fault.Internal {
							problems = append(problems, err.Error())
						} else {
							mu.Lock()
							refused[f.Violations[len(f.Violations)-1].Reason]++
							mu.Unlock()
						}
					} else {
						problems = contrasted(e, &c, &got)
						mu.Lock()
						made++
						for _, b := range got.Balances {
							if b.Sought && b.Equal {
								equal++
							} else if b.Sought {
								gaps++
							}
						}
						mu.Unlock()
					}
					if len(problems) > 0 {
						mu.Lock()
						bad = append(bad, fmt.Sprintf("seed %d (%s): %v", seed, c.rule, problems[:min(3, len(problems))]))
						mu.Unlock()
					}
				}
			})
		}
	})
	t.Logf("%d comparisons made, refused: %v; sought and equal %d, not %d", made, refused, equal, gaps)
	slices.Sort(bad)
	for _, b := range bad[:min(20, len(bad))] {
		t.Error(b)
	}
	require.GreaterOrEqual(t, made, total/4, "too few comparisons made to say anything")
}

// contrasted says what is wrong with a comparison.
func contrasted(e *engine.Engine, c *contest, got *plan.Comparison) []string {
	var bad []string
	wrong := func(format string, args ...any) { bad = append(bad, fmt.Sprintf(format, args...)) }
	if len(got.Arms) != len(c.arms) {
		wrong("%d arms of %d", len(got.Arms), len(c.arms))
		return bad
	}
	lead := shape(&got.Arms[0].Program)
	for i := range got.Arms {
		a := &got.Arms[i]
		if other := shape(&a.Program); !slices.Equal(lead, other) {
			wrong("%s: %s", a.Label, differing(lead, other))
		}
		if ok, err := a.Program.Intact(); !ok || err != nil {
			wrong("%s: the digest is not that of the program", a.Label)
		}
		for _, f := range e.Audit(&a.Program) {
			if f.Level == plan.LevelViolation {
				wrong("%s: %s: %s", a.Label, f.Rule, f.Says)
			}
		}
		for w := range a.Program.WeekCount() {
			for s, x := range allWeeks(&a.Program)[w].Sessions {
				if x.Seconds > x.Limit {
					wrong("%s: session %d of week %d takes %s of %s", a.Label, s+1, w+1, x.Seconds, x.Limit)
				}
			}
		}
	}
	// Sets of each exercise, counted here.
	counts := make([]map[string]int64, len(got.Arms))
	for i := range got.Arms {
		counts[i] = map[string]int64{}
		for _, w := range allWeeks(&got.Arms[i].Program) {
			for k := range w.Sessions {
				for n := range w.Sessions[k].Exercises {
					x := &w.Sessions[k].Exercises[n]
					counts[i][x.ExerciseID] += int64(x.Working())
					counts[i][""] += int64(x.Working())
				}
			}
		}
	}
	for id := range counts[0] {
		values := make([]int64, len(counts))
		for i := range counts {
			values[i] = counts[i][id]
		}
		at := slices.IndexFunc(got.Balances, func(b plan.Balance) bool {
			return b.Measure == plan.MeasureHardSets && b.ExerciseID == id
		})
		switch same := slices.Min(values) == slices.Max(values); {
		case at >= 0 && !slices.Equal(got.Balances[at].Values, values):
			wrong("%q has %v sets, said are %v", id, values, got.Balances[at].Values)
		case at >= 0 && got.Balances[at].Equal != same, at < 0 && !same:
			wrong("%q with %v sets is called what it is not", id, values)
		}
	}
	// One of them can be made again from a week on. It is an arm no longer then: what it gave
	// up for the others may come back.
	a := &got.Arms[len(got.Arms)-1].Program
	if from := int32(1 + a.WeekCount()/2); a.WeekCount() > 1 {
		if _, err := e.Rework(context.Background(), a, a.Request, plan.Rework{FromWeek: from}); err != nil {
			wrong("made again from week %d: %v", from, err)
		}
	}
	if again, err := e.Arms(context.Background(), c.request, c.arms, c.rule); err != nil {
		wrong("a second time: %v", err)
	} else {
		for i := range again.Arms {
			if again.Arms[i].Program.Digest != got.Arms[i].Program.Digest {
				wrong("%s is another program the second time", got.Arms[i].Label)
			}
		}
	}
	return bad
}

// shape lists who does what when: weeks, sessions, exercises in order, without numbers.
func shape(p *plan.Program) []string {
	var out []string
	for _, w := range allWeeks(p) {
		for i := range w.Sessions {
			s := &w.Sessions[i]
			line := fmt.Sprintf("week %d, %s %s %s %s:", w.Number, s.Kind, s.Weekday, s.Group, s.PlaceID)
			for k := range s.Exercises {
				line += " " + s.Exercises[k].ExerciseID
			}
			out = append(out, line)
		}
	}
	return out
}

func differing(a, b []string) string {
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			return a[i] + " against " + b[i]
		}
	}
	return fmt.Sprintf("%d sessions against %d", len(a), len(b))
}
