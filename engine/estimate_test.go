package engine_test

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

func done(id string, kg int64, reps, rir int32) plan.Performance {
	return plan.Performance{ExerciseID: id, Load: plan.Some(plan.Kg(kg * 1000)), Reps: reps, RIR: plan.Some(rir), ToFailure: rir == 0}
}

func query(list ...plan.Performance) plan.StrengthQuery {
	return plan.StrengthQuery{
		Athlete: plan.Athlete{Age: plan.AgeAdult, Status: plan.Intermediate, BodyMass: plan.Some(plan.Kg(80_000)), Performances: list},
		Date:    plan.Some(today), Unit: plan.Kilogram,
	}
}

func estimated(t *testing.T, q plan.StrengthQuery) plan.StrengthReport {
	t.Helper()
	r, err := newEngine(t).Estimate(context.Background(), q)
	require.NoError(t, err)
	return r
}

// What an estimate says is what a program starts from.
func TestEstimateIsWhatProgramsStartFrom(t *testing.T) {
	r := fit()
	r.Athlete.LayoffWeeks = plan.Some[int32](6)
	p, err := newEngine(t).Generate(context.Background(), r)
	require.NoError(t, err)
	report := estimated(t, plan.StrengthQuery{Athlete: r.Athlete, Date: r.Constraints.Start, Unit: plan.Kilogram})
	seen := 0
	for _, l := range report.Lifts {
		for _, s := range p.Strengths {
			if s.ExerciseID != l.ExerciseID {
				continue
			}
			seen++
			require.InDelta(t, s.OneRMGrams, l.Max.Value.Middle.Milli, 50)
			require.InDelta(t, s.Planned[0], l.Max.Value.Start.Milli, 50)
			require.Equal(t, s.SD, l.Max.Value.SD)
			require.Equal(t, s.Slope, l.Max.Value.Slope)
			require.Equal(t, s.Curve, l.Max.Value.Curve)
			require.Len(t, l.Used, int(s.Known))
		}
	}
	require.Equal(t, 2, seen)
	require.Equal(t, "athlete.layoff_weeks", report.Assumptions[len(report.Assumptions)-1].Field)
}

// The published equations, worked out by hand for 100 kg × 5 to failure: Epley
// 100(1 + 5/30), Brzycki 3600/32, Lander 10,000/(101.3 - 13.35615), O'Conner 100 × 1.125,
// Lombardi 100 × 5^0.1, Mayhew 10,000/(52.2 + 41.9 × 0.759572), Wathan
// 10,000/(48.8 + 53.8 × 0.687289), Adams 100/0.9, Kemmler 100 × 1.0802.
func TestEstimateShowsPublishedEquations(t *testing.T) {
	l := estimated(t, query(done("back-squat", 90, 5, 2), done("back-squat", 100, 5, 0))).Lifts[0]
	require.Equal(t, plan.BestSet{Performance: 1, Reps: 5}, l.Best.Value)
	got := map[string]string{}
	for _, e := range l.Equations {
		if e.Max.Set {
			got[e.Name] = e.Max.Value.String()
		} else {
			got[e.Name] = e.Reason
			require.NotEmpty(t, e.WhyNot)
		}
	}
	require.Equal(t, map[string]string{
		"Epley": "116.7 kg", "Brzycki": "112.5 kg", "Lander": "113.7 kg", "OConner": "112.5 kg", "Lombardi": "117.5 kg", "Mayhew": "119 kg",
		"Wathan": "116.6 kg", "Adams": "111.1 kg", "Kemmler": "108 kg",
		"ReynoldsChestPress": plan.ReasonOtherLift, "ReynoldsLegPress": plan.ReasonOtherLift, "KravitzBench": plan.ReasonOtherLift,
		"KravitzDeadlift": plan.ReasonOtherLift, "KravitzSquat": "REPS_OUTSIDE_EQUATION",
	}, got)
	// A reserve counts as repetitions to failure: 12 of them suit only three, and none but
	// the squat's own regression is bound to the lift.
	l = estimated(t, query(done("back-squat", 100, 10, 2))).Lifts[0]
	require.EqualValues(t, 12, l.Best.Value.Reps)
	var valid []string
	for _, e := range l.Equations {
		if e.Max.Set {
			valid = append(valid, e.Name)
		}
	}
	require.Equal(t, []string{"Mayhew", "Wathan", "Kemmler", "KravitzSquat"}, valid)
}

// What stands far from the others is named, and no number moves.
func TestEstimateSetsAside(t *testing.T) {
	kept := []plan.Performance{done("bench-press", 100, 5, 0), done("bench-press", 95, 6, 1), done("bench-press", 90, 8, 0), done("bench-press", 105, 3, 0)}
	for i := range kept {
		kept[i].Date = plan.Some(today - plan.Date(7*i+1))
	}
	want := estimated(t, query(kept...)).Lifts[0]
	slip := done("bench-press", 25, 5, 0)
	slip.Date = plan.Some(today - 3)
	many := done("bench-press", 40, 45, 0)
	got := estimated(t, query(append(append([]plan.Performance{}, kept...), slip, many)...)).Lifts[0]
	require.Len(t, got.Aside, 2)
	require.Equal(t, int32(4), got.Aside[0].Performance)
	require.Equal(t, "FAR_FROM_OTHERS", got.Aside[0].Reason)
	require.InDelta(t, 28_700, got.Aside[0].Means.Value.Milli, 500)
	require.Contains(t, got.Aside[0].Says, "1RM of about 29 kg")
	require.Equal(t, int32(5), got.Aside[1].Performance)
	require.Equal(t, "TOO_MANY_REPS", got.Aside[1].Reason)
	got.Aside = nil
	require.Equal(t, want, got)
}

func TestEstimateDefaults(t *testing.T) {
	q := query(done("bench-press", 80, 5, 1), done("back-squat", 120, 5, 1), done("bench-press", 85, 3, 1))
	q.Date, q.Unit, q.Athlete.Status = plan.Opt[plan.Date]{}, plan.UnitUnspecified, plan.StatusUnspecified
	q.Athlete.Performances[1].Date = plan.Some(today)
	r := estimated(t, q)
	require.Equal(t, []string{"bench-press", "back-squat"}, []string{r.Lifts[0].ExerciseID, r.Lifts[1].ExerciseID})
	require.Equal(t, plan.Some(today), r.Date)
	require.Equal(t, plan.Kilogram, r.Unit)
	var fields []string
	for _, a := range r.Assumptions {
		fields = append(fields, a.Field)
	}
	require.Equal(t, []string{"mass_unit", "date", "athlete.training_status"}, fields)
	require.Equal(t, "estimate-only", r.Cautions[0].ID)
	var reps []int32
	for _, l := range r.Lifts[0].Loads {
		reps = append(reps, l.Reps)
	}
	require.Equal(t, []int32{1, 2, 3, 5, 6, 8, 10, 12, 15, 20, 30}, reps)

	q.Reps, q.ExerciseIDs = []int32{8, 1, 8}, []string{"deadlift", "back-squat"}
	r = estimated(t, q)
	require.Equal(t, "deadlift", r.Lifts[0].ExerciseID)
	require.False(t, r.Lifts[0].Max.Set)
	require.Contains(t, r.Lifts[0].Missing, "No performance in Conventional deadlift is given")
	require.Len(t, r.Lifts[1].Loads, 2)
	require.Equal(t, r.Lifts[1].Max.Value.Middle, r.Lifts[1].Loads[0].Load)

	q.Athlete.Age = plan.AgeAdolescent
	r = estimated(t, q)
	require.Equal(t, "minor", r.Cautions[1].ID)
}

// A lift never shown is estimated from a related one, with more doubt and more care.
func TestEstimateBorrows(t *testing.T) {
	q := query(done("bench-press", 100, 3, 0))
	q.ExerciseIDs = []string{"bench-press", "overhead-press"}
	r := estimated(t, q)
	shown, lent := r.Lifts[0].Max.Value, r.Lifts[1].Max.Value
	require.Empty(t, shown.Borrowed)
	require.Equal(t, "bench-press", lent.Borrowed)
	require.Empty(t, r.Lifts[1].Used)
	require.Empty(t, r.Lifts[1].Equations)
	require.InDelta(t, 620, 1000*lent.Middle.Milli/shown.Middle.Milli, 5, "the catalogue's ratio")
	require.Greater(t, lent.SD, 4*shown.SD)
	require.Less(t, 1000*lent.Start.Milli/lent.Middle.Milli, int64(900))
	require.Len(t, r.Lifts[1].Loads, 11)
}

// In pounds nothing is a converted kilogram, and a hand's load is a hand's.
func TestEstimateInPounds(t *testing.T) {
	p := plan.Performance{ExerciseID: "dumbbell-bench-press", Load: plan.Some(plan.Lb(70_000)), Reps: 1, ToFailure: true}
	q := query(p)
	q.Unit = plan.UnitUnspecified
	r := estimated(t, q)
	require.Equal(t, plan.Pound, r.Unit)
	l := r.Lifts[0]
	require.True(t, l.PerHand)
	require.InDelta(t, 70_000, l.Max.Value.Middle.Milli, 300)
	for _, v := range []plan.Load{l.Max.Value.Low, l.Max.Value.High, l.Max.Value.Start, l.Loads[0].Load, l.Equations[0].Max.Value} {
		require.Equal(t, plan.Pound, v.Unit)
		require.Zero(t, v.Milli%100)
	}
	require.Equal(t, plan.Lb(70_000), l.Equations[0].Max.Value)
}

// With body mass all that is moved counts; what is said is what hangs on the belt.
func TestEstimateOfAddedLoad(t *testing.T) {
	l := estimated(t, query(done("pull-up", 20, 5, 0))).Lifts[0]
	require.Equal(t, plan.Kg(80_000), l.Carried)
	// Brzycki on 100 kg × 5 is 112.5 kg, less the body.
	require.Equal(t, plan.Kg(32_500), l.Equations[1].Max.Value)
	require.InDelta(t, 31_000, l.Max.Value.Middle.Milli, 3000)
	last := l.Loads[len(l.Loads)-1]
	require.Negative(t, last.Load.Milli, "30 pull-ups take help")

	l = estimated(t, query(plan.Performance{ExerciseID: "push-up", Reps: 30, ToFailure: true})).Lifts[0]
	require.False(t, l.Max.Set)
	require.Contains(t, l.Missing, "30 repetitions")
}

func TestEstimateRefuses(t *testing.T) {
	for name, c := range map[string]struct {
		change        func(*plan.StrengthQuery)
		field, reason string
	}{
		"nothing":      {func(q *plan.StrengthQuery) { q.Athlete.Performances = nil }, "athlete.performances", "REQUIRED"},
		"no age":       {func(q *plan.StrengthQuery) { q.Athlete.Age = 0 }, "athlete.age_band", "REQUIRED"},
		"unit":         {func(q *plan.StrengthQuery) { q.Unit = 7 }, "mass_unit", "UNKNOWN_UNIT"},
		"exercise":     {func(q *plan.StrengthQuery) { q.ExerciseIDs = []string{"bench-pres"} }, "exercise_ids[0]", "UNKNOWN_EXERCISE"},
		"twice":        {func(q *plan.StrengthQuery) { q.ExerciseIDs = []string{"bench-press", "bench-press"} }, "exercise_ids[1]", "DUPLICATE"},
		"many":         {func(q *plan.StrengthQuery) { q.ExerciseIDs = make([]string, 101) }, "exercise_ids", "TOO_MANY"},
		"reps":         {func(q *plan.StrengthQuery) { q.Reps = []int32{5, 31} }, "reps[1]", "OUT_OF_RANGE"},
		"reps many":    {func(q *plan.StrengthQuery) { q.Reps = make([]int32, 31) }, "reps", "TOO_MANY"},
		"year, no day": {func(q *plan.StrengthQuery) { q.Date.Set = false; q.Athlete.BirthYear = plan.Some[int32](1990) }, "date", "REQUIRED"},
		"body mass":    {func(q *plan.StrengthQuery) { q.Athlete.BodyMass = plan.Some(plan.Kg(900_000)) }, "athlete.body_mass", "OUT_OF_RANGE"},
		"joint":        {func(q *plan.StrengthQuery) { q.Athlete.Restrictions = []plan.Restriction{{Joint: 99}} }, "athlete.restrictions[0].joint", "UNKNOWN_JOINT"},
	} {
		q := query(done("bench-press", 80, 5, 1))
		c.change(&q)
		_, err := newEngine(t).Estimate(context.Background(), q)
		requireFault(t, err, name, c.field, c.reason)
	}
	ctx, stop := context.WithCancel(context.Background())
	stop()
	_, err := newEngine(t).Estimate(ctx, query(done("bench-press", 80, 5, 1)))
	f, ok := fault.As(err)
	require.True(t, ok)
	require.Equal(t, fault.Canceled, f.Kind)
}

func requireFault(t *testing.T, err error, name, field, reason string) {
	t.Helper()
	f, ok := fault.As(err)
	require.True(t, ok, "%s: %v", name, err)
	require.Equal(t, fault.Invalid, f.Kind, name)
	require.Len(t, f.Violations, 1, "%s: %v", name, err)
	require.Equal(t, field, f.Violations[0].Field, name)
	require.Equal(t, reason, f.Violations[0].Reason, name)
	require.NotEmpty(t, f.Violations[0].Says, name)
}

// What can't have been is refused by both calls alike, at its field.
func TestImpossiblePerformances(t *testing.T) {
	single := done("bench-press", 100, 1, 0)
	old := single
	old.Date = plan.Some(today - 400)
	recent := done("bench-press", 100, 22, 0)
	recent.Date = plan.Some(today - 10)
	load := func(p plan.Performance, l plan.Load) plan.Performance { p.Load = plan.Some(l); return p }
	for name, c := range map[string]struct {
		list          []plan.Performance
		field, reason string // without a field nothing is wrong
	}{
		"60 at a 1RM":           {[]plan.Performance{single, done("bench-press", 100, 60, 0)}, "athlete.performances[1].reps", "CONTRADICTION"},
		"60 before it":          {[]plan.Performance{done("bench-press", 100, 60, 0), single}, "athlete.performances[0].reps", "CONTRADICTION"},
		"25 above a 1RM":        {[]plan.Performance{single, done("bench-press", 105, 25, 0)}, "athlete.performances[1].reps", "CONTRADICTION"},
		"22 soon after":         {[]plan.Performance{single, recent}, "athlete.performances[1].reps", "CONTRADICTION"},
		"22 a year later":       {[]plan.Performance{old, recent}, "", ""},
		"3 at a 1RM":            {[]plan.Performance{single, done("bench-press", 100, 3, 0)}, "", ""},
		"60 with little":        {[]plan.Performance{single, done("bench-press", 20, 60, 0)}, "", ""},
		"of another exercise":   {[]plan.Performance{single, done("leg-press", 100, 60, 0)}, "", ""},
		"pull-ups":              {[]plan.Performance{done("pull-up", 0, 1, 0), done("pull-up", 0, 25, 0)}, "athlete.performances[1].reps", "CONTRADICTION"},
		"900 kg curl":           {[]plan.Performance{single, done("barbell-curl", 900, 1, 0)}, "athlete.performances[1].load", "IMPLAUSIBLE"},
		"curl of 110 kg for 20": {[]plan.Performance{single, done("barbell-curl", 110, 20, 0)}, "athlete.performances[1].load", "IMPLAUSIBLE_STRENGTH"},
		"in the future":         {[]plan.Performance{single, {ExerciseID: "bench-press", Load: single.Load, Reps: 3, ToFailure: true, Date: plan.Some(today + 1)}}, "athlete.performances[1].date", "OUT_OF_RANGE"},
		"RIR 40":                {[]plan.Performance{done("bench-press", 100, 5, 40)}, "athlete.performances[0].rir", "OUT_OF_RANGE"},
		"RIR below zero":        {[]plan.Performance{done("bench-press", 100, 5, -1)}, "athlete.performances[0].rir", "OUT_OF_RANGE"},
		"negative":              {[]plan.Performance{done("bench-press", -100, 5, 1)}, "athlete.performances[0].load", "OUT_OF_RANGE"},
		"no load":               {[]plan.Performance{done("bench-press", 0, 5, 1)}, "athlete.performances[0].load", "REQUIRED"},
		"no repetition":         {[]plan.Performance{done("bench-press", 100, 0, 1)}, "athlete.performances[0].reps", "OUT_OF_RANGE"},
		"201 repetitions":       {[]plan.Performance{done("bench-press", 20, 201, 1)}, "athlete.performances[0].reps", "OUT_OF_RANGE"},
		"loaded push-up":        {[]plan.Performance{done("push-up", 20, 10, 0)}, "athlete.performances[0].load", "OUT_OF_RANGE"},
		"kilograms as pounds":   {[]plan.Performance{load(single, plan.Lb(5_000_000))}, "athlete.performances[0].load", "IMPLAUSIBLE"},
	} {
		q := query(c.list...)
		_, estimate := newEngine(t).Estimate(context.Background(), q)
		r := fit()
		r.Athlete.Performances = c.list
		cat := newEngine(t).Catalogue()
		_, settle := engine.Settle(r, cat)
		for _, err := range []error{estimate, settle} {
			if c.field == "" {
				require.NoError(t, err, name)
			} else {
				requireFault(t, err, name, c.field, c.reason)
			}
		}
	}
}

// Whatever is written down: it is refused at fields of the athlete, or the numbers hang
// together.
func TestEstimateHangsTogether(t *testing.T) {
	e := newEngine(t)
	rapid.Check(t, func(t *rapid.T) {
		ids := []string{"back-squat", "bench-press", "barbell-curl", "pull-up", "dumbbell-bench-press", "leg-press", "push-up"}
		var list []plan.Performance
		for range rapid.IntRange(1, 8).Draw(t, "n") {
			p := plan.Performance{ExerciseID: rapid.SampledFrom(ids).Draw(t, "id"), Reps: rapid.Int32Range(1, 40).Draw(t, "reps"), RIR: plan.Some(rapid.Int32Range(0, 5).Draw(t, "rir"))}
			if p.ExerciseID != "push-up" {
				p.Load = plan.Some(plan.Kg(rapid.Int64Range(20, 300).Draw(t, "kg") * 500))
			}
			if rapid.Bool().Draw(t, "dated") {
				p.Date = plan.Some(today - plan.Date(rapid.Int32Range(0, 900).Draw(t, "age")))
			}
			list = append(list, p)
		}
		q := query(list...)
		q.Athlete.LayoffWeeks = plan.Some(rapid.Int32Range(0, 60).Draw(t, "layoff"))
		r, err := e.Estimate(context.Background(), q)
		if err != nil {
			f, ok := fault.As(err)
			require.True(t, ok)
			require.Equal(t, fault.Invalid, f.Kind)
			for _, v := range f.Violations {
				require.True(t, strings.HasPrefix(v.Field, "athlete.performances["), v.Field)
			}
			return
		}
		counted := 0
		for _, l := range r.Lifts {
			counted += len(l.Used) + len(l.Aside)
			if !l.Max.Set {
				require.NotEmpty(t, l.Missing)
				require.Empty(t, l.Loads)
				continue
			}
			m := l.Max.Value
			require.Less(t, m.Low.Milli, m.Start.Milli)
			require.LessOrEqual(t, m.Start.Milli, m.Middle.Milli)
			require.Less(t, m.Middle.Milli, m.High.Milli)
			for i, c := range l.Loads {
				require.True(t, c.Low.Milli <= c.Load.Milli && c.Load.Milli <= c.High.Milli, fmt.Sprint(c))
				require.True(t, i == 0 || c.Load.Milli <= l.Loads[i-1].Load.Milli, "more repetitions, no more load")
			}
		}
		for _, p := range list {
			if p.ExerciseID == "push-up" {
				counted++ // its repetitions stand in a sentence
			}
		}
		require.Equal(t, len(list), counted, "each performance is used or named")
	})
}
