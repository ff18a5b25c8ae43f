package app

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
)

// wholeProgram holds the lifts of a whole program against the table, set by set.
func (a *arm) wholeProgram(t *testing.T, e *engine.Engine) {
	p, err := e.Generate(t.Context(), a.request(t))
	require.NoError(t, err)
	for _, f := range append(e.Audit(&p), p.Findings...) {
		require.NotEqual(t, plan.LevelViolation, f.Level, f.Says)
	}
	for _, problem := range a.deviations(e.Catalogue(), &p) {
		t.Error(problem)
	}
}

// deviations lists where the sets of the lifts are not the table's.
func (a *arm) deviations(cat *exercise.Catalogue, p *plan.Program) []string {
	var bad []string
	number := int32(0)
	for i := range p.Phases {
		for j := range p.Phases[i].Weeks {
			w := &p.Phases[i].Weeks[j]
			number++
			var sessions []*plan.Session
			for k := range w.Sessions {
				if w.Sessions[k].Kind == plan.SessionTraining {
					sessions = append(sessions, &w.Sessions[k])
				}
			}
			row, err := a.row(number, plan.GoalLift)
			if err != nil {
				return append(bad, err.Error())
			}
			for k, s := range sessions {
				text, err := row.Goal.session(k, len(sessions))
				if err != nil {
					return append(bad, fmt.Sprintf("week %d: %v", number, err))
				}
				want, err := readSets(text)
				if err != nil {
					return append(bad, err.Error())
				}
				for _, lift := range a.Lifts {
					id, group, grouped := strings.Cut(lift, " ")
					if grouped && group != s.Group {
						continue
					}
					where := fmt.Sprintf("week %d, session %d, %s", number, k+1, id)
					at := slices.IndexFunc(s.Exercises, func(x plan.ProgramExercise) bool { return x.ExerciseID == id })
					if at < 0 {
						bad = append(bad, where+" is missing")
						continue
					}
					x, _ := cat.ByID(id)
					curve, err := load.CurveFor(string(x.Curve))
					if err != nil {
						return append(bad, err.Error())
					}
					for _, problem := range setsDeviate(curve, want, s.Exercises[at].Sets) {
						bad = append(bad, where+": "+problem)
					}
				}
			}
		}
	}
	if number != a.Weeks {
		bad = append(bad, fmt.Sprintf("the program has %d weeks, the arm %d", number, a.Weeks))
	}
	return bad
}

// plateStep is the least step of a bar in kg, in grams: a plate of 1.25 kg a side. A
// load may be one below the one nearest to what is asked.
const plateStep, plateOff = 2500, plateStep + plateStep/2

// plateReps is what such a step may leave in reserve where a repetition maximum is
// meant, beside the one of rounding down.
const plateReps = 2

// setsDeviate compares the sets of an exercise with a table's.
func setsDeviate(curve *load.Curve, want []one, sets []plan.Set) []string {
	var work []plan.Set
	for i := range sets {
		if sets[i].Kind != plan.SetWarmup {
			work = append(work, sets[i])
		}
	}
	least, most := 0, 0
	for _, w := range want {
		least, most = least+int(w.least), most+int(w.most)
	}
	if len(work) < least || len(work) > most {
		return []string{fmt.Sprintf("%d sets for %d to %d", len(work), least, most)}
	}
	var bad []string
	for i := range work {
		w, s := want[min(i, len(want)-1)], &work[i]
		fault := func(format string, args ...any) {
			bad = append(bad, fmt.Sprintf("set %d (%s) ", i+1, w)+fmt.Sprintf(format, args...))
		}
		if s.OpenEnded != w.open {
			fault("is open-ended: %t", s.OpenEnded)
		}
		if !w.open && (s.Reps.Min < w.reps.Min || s.Reps.Max > w.reps.Max || s.Expected > w.reps.Max) {
			fault("has %d–%d repetitions, %d expected", s.Reps.Min, s.Reps.Max, s.Expected)
		}
		if w.failure && s.RIR.Or(0) > plateReps {
			fault("leaves %d in reserve", s.RIR.Value)
		}
		if w.rest > 0 && i < len(work)-1 && s.Rest != w.rest {
			fault("rests %s", s.Rest)
		}
		if w.of.Kind == plan.RefSetBefore && s.Deferred.Value.Reference.Kind != plan.RefSetBefore {
			fault("does not follow the set before")
		}
		if w.share == 0 || w.of.Kind == plan.RefSetBefore {
			continue
		}
		share := int64(w.share)
		if w.of.Kind == plan.RefRM {
			share = share * int64(curve.IntensityBP(10*w.of.RM)) / 10_000
		}
		if !s.Load.Set || !s.Intensity.Set {
			fault("has no load")
			continue
		}
		if d := s.Deferred; w.tested > 0 && (d.Value.Reference.Kind != plan.RefEstimate || d.Value.Reference.Name != fmt.Sprintf("the test of week %d", w.tested)) {
			fault("is a share of %q", d.Value.Reference.Name)
		}
		if w.tested == 0 && s.Deferred.Set {
			fault("is fixed on the day only")
		}
		off := int64(s.Intensity.Value) - share
		grams := s.Load.Value.Grams()
		if w.of.Kind == plan.RefRM && i > 0 && want[i-1] == w {
			off = max(off, 0) // nobody does a repetition maximum twice: the load falls
		}
		if off = max(off, -off) * grams / int64(s.Intensity.Value); off > plateOff {
			fault("is at %s, %d g away", s.Intensity.Value, off)
		}
	}
	return bad
}

func TestSetsDeviateCatches(t *testing.T) {
	curve, err := load.CurveFor(string(exercise.CurveBench))
	require.NoError(t, err)
	table := func(text string) []one {
		want, err := readSets(text)
		require.NoError(t, err)
		return want
	}
	sets := func(change func([]plan.Set)) []plan.Set {
		set := plan.Set{
			Kind: plan.SetWorking, Reps: plan.Range{Min: 8, Max: 8}, Expected: 8, Intensity: plan.Some[plan.Permille](800),
			Load: plan.Some(plan.Kg(80_000)), RIR: plan.Some(int32(1)), Rest: 180,
		}
		out := []plan.Set{{Kind: plan.SetWarmup, Reps: plan.Range{Min: 5, Max: 5}}, set, set}
		change(out)
		return out
	}
	right := sets(func([]plan.Set) {})
	for _, text := range []string{"2x8@80%/180", "2x8RM", "1-3x8", "2x8@83%", "2x6-10"} {
		require.Empty(t, setsDeviate(curve, table(text), right), text)
	}
	for text, says := range map[string]string{
		"3x8": "2 sets for 3 to 3", "2x8 1x6": "2 sets for 3", "2x6": "has 8–8 repetitions", "2x9-10": "has 8–8 repetitions", "2x8@85%": "is at 80 %, 5000 g away",
		"2x8@75%": "5000 g away", "2x8/120": "rests 3:00", "8@80% max@80%": "is open-ended: false", "8@80% 8@before": "does not follow the set before",
		"2x8@80%T4": `is a share of ""`, "2x8@RM3": "g away", "8@RM8 8@RM15": "g away",
	} {
		require.Contains(t, strings.Join(setsDeviate(curve, table(text), right), "\n"), says, text)
	}
	for _, c := range []struct {
		text, says string
		change     func([]plan.Set)
	}{
		{"2x8RM", "leaves 3 in reserve", func(s []plan.Set) { s[2].RIR = plan.Some(int32(3)) }},
		{"2x8@80%", "has no load", func(s []plan.Set) { s[1].Load = plan.Opt[plan.Load]{} }},
		{"2x8@80%", "is fixed on the day only", func(s []plan.Set) { s[1].Deferred = plan.Some(plan.Deferred{Share: 800}) }},
		{"2x8@80%", "is open-ended: true", func(s []plan.Set) { s[1].OpenEnded = true }},
		{"2x8", "9 expected", func(s []plan.Set) { s[1].Expected = 9 }},
	} {
		require.Contains(t, strings.Join(setsDeviate(curve, table(c.text), sets(c.change)), "\n"), c.says)
	}
}
