package app_test

import (
	"context"
	"flag"
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/app"
	"github.com/phasewright/phasewright/strategies"
)

const (
	// budget is the solver's work for a window: less than usual, so that thousands of
	// programs are made in minutes. The properties hold for every budget.
	budget = 10_000

	// mostRefused is the share of this generator's requests that may be refused, in
	// permille. Its requests are valid, but safety, pins and limits are drawn blindly.
	mostRefused = 180

	// again is how often a program is made twice.
	again = 40
)

// tally counts what came of many requests.
type tally struct {
	sync.Mutex
	made, refused, broke, sets, fatigued, rirs, short, vague int
	composed, tests, referred                                int
	reasons                                                  map[string]int
	broken                                                   map[string]int
	first                                                    map[string]string
}

// TestPropertyRandomRequests makes programs from random valid requests and checks each
// anew. PHASEWRIGHT_LONG=1 makes it 100,000; -rapid.seed moves all of them.
func TestPropertyRandomRequests(t *testing.T) {
	total := 3_000
	switch {
	case os.Getenv("PHASEWRIGHT_LONG") != "":
		total = 100_000
	case testing.Short():
		total = 300
	}
	if n, err := strconv.Atoi(os.Getenv("PHASEWRIGHT_REQUESTS")); err == nil {
		total = n
	}
	e, err := app.NewEngine()
	require.NoError(t, err)
	e = e.WithBudget(budget)
	known := strategies.Builtin()
	gen := requests(e.Catalogue(), known)
	base, _ := strconv.Atoi(flag.Lookup("rapid.seed").Value.String())
	c := &tally{reasons: map[string]int{}, broken: map[string]int{}, first: map[string]string{}}
	const parts = 4
	t.Run("requests", func(t *testing.T) {
		for part := range parts {
			t.Run(fmt.Sprint(part), func(t *testing.T) {
				t.Parallel()
				for i := part; i < total; i += parts {
					seed := base + 1 + i
					r := gen.Example(seed)
					if bad := c.add(e, known, &r, i%again == 0); len(bad) > 0 {
						c.note(seed, bad)
					}
				}
			})
		}
	})
	c.report(t, total)
	if t.Failed() {
		t.Run("shrink", func(t *testing.T) { shrink(t, e, known) })
	}
}

// add makes the program of a request and counts what came of it.
func (c *tally) add(e *engine.Engine, known []engine.Strategy, r *plan.Request, twice bool) []string {
	p, err := e.Generate(context.Background(), *r)
	if err != nil {
		reason, bad := refusal(err)
		c.Lock()
		defer c.Unlock()
		c.reasons[reason]++
		if len(bad) > 0 {
			c.broke++
		} else {
			c.refused++
		}
		return bad
	}
	v := judge(e, known, r, &p)
	if twice {
		q, err := e.Generate(context.Background(), *r)
		if err != nil || q.Digest != p.Digest {
			v.wrong("repeat", "%s, then %s (%v)", p.Digest, q.Digest, err)
		}
	}
	c.Lock()
	defer c.Unlock()
	c.made++
	c.sets, c.fatigued, c.rirs = c.sets+v.seen.sets, c.fatigued+v.seen.fatigued, c.rirs+v.seen.rirs
	c.short, c.vague = c.short+v.seen.short, c.vague+v.seen.vague
	c.tests, c.referred = c.tests+v.seen.tests, c.referred+v.seen.referred
	if composed(r) {
		c.composed++
	}
	return v.bad
}

// composed reports a plan of more than segments and wrappers.
func composed(r *plan.Request) bool {
	p := &r.Plan
	return len(p.Tracks) > 1 || p.Recovery.Set || p.Retest.Set || p.SessionsPerWeek.Set || p.Shorten || len(p.Tracks) == 1 && len(p.Tracks[0].ExerciseIDs)+len(p.Tracks[0].Muscles) > 0
}

// refusal wants kind, reason, field and sentence of a refusal; the request was valid, so
// only safety and clashing wishes may stand in the way.
func refusal(err error) (string, []string) {
	f, ok := fault.As(err)
	if !ok {
		return "no fault", []string{"refusal: is no fault: " + err.Error()}
	}
	var bad []string
	var reasons []string
	for _, v := range f.Violations {
		if f.Kind != fault.Refused && f.Kind != fault.Infeasible {
			rule, _, _ := strings.Cut(v.Says, " ")
			if v.Reason != "AUDIT" {
				rule = v.Reason
			}
			if b := fmt.Sprintf("%s %s: %s %s", f.Kind, rule, v.Field, v.Says); !slices.ContainsFunc(bad, func(o string) bool { return strings.HasPrefix(o, f.Kind.String()+" "+rule+":") }) {
				bad = append(bad, b)
			}
		} else if v.Reason == "" || v.Field == "" || v.Says == "" {
			bad = append(bad, fmt.Sprintf("refusal: without reason, field or sentence: %+v", v))
		}
		if !slices.Contains(reasons, v.Reason) {
			reasons = append(reasons, v.Reason)
		}
	}
	return f.Kind.String() + " " + strings.Join(reasons, "+"), bad
}

func (c *tally) note(seed int, bad []string) {
	c.Lock()
	defer c.Unlock()
	for _, b := range bad {
		property, _, _ := strings.Cut(b, ":")
		c.broken[property]++
		if _, have := c.first[property]; !have {
			c.first[property] = fmt.Sprintf("seed %d: %s", seed, b)
		}
	}
}

func (c *tally) report(t *testing.T, total int) {
	t.Logf("%d programs, %d refusals, %d bugs; %d sets, %d of them after others of known cost, %d reserves held against the outline; %d doses short, %d of them for the schemes",
		c.made, c.refused, c.broke, c.sets, c.fatigued, c.rirs, c.short, c.vague)
	t.Logf("%d of the programs are of composed plans; %d lifts tested or attempted, %d sets that refer to a test", c.composed, c.tests, c.referred)
	var keys []string
	for k := range c.reasons {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(a, b string) int { return c.reasons[b] - c.reasons[a] })
	for _, k := range keys {
		t.Logf("%5.2f %% %s", 100*float64(c.reasons[k])/float64(total), k)
	}
	for property, first := range c.first {
		t.Errorf("%s: %d times, first with %s", property, c.broken[property], first)
	}
	require.Equal(t, total, c.made+c.refused+c.broke)
	require.LessOrEqual(t, 1000*c.refused, mostRefused*total, "refusals")
	require.Greater(t, c.fatigued, 10*total, "sets held against the curve")
	require.Greater(t, c.rirs, 50*total, "reserves held against the outline")
	require.Greater(t, 5*c.composed, total, "composed plans")
	require.Greater(t, 10*c.tests, total, "lifts tested")
	few := 5
	if testing.Short() {
		few = 8 // they come many to a program, so a short run may have fewer
	}
	require.Greater(t, few*c.referred, total, "sets that refer to a test")
}

// shrink finds a small request that breaks something.
func shrink(t *testing.T, e *engine.Engine, known []engine.Strategy) {
	require.NoError(t, flag.Set("rapid.nofailfile", "true"))
	gen := requests(e.Catalogue(), known)
	rapid.Check(t, func(t *rapid.T) {
		r := gen.Draw(t, "request")
		c := &tally{reasons: map[string]int{}}
		require.Empty(t, c.add(e, known, &r, false))
	})
}
