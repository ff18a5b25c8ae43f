package audit

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
)

// config varies the clean program.
type config struct {
	weeks  int
	unit   plan.MassUnit
	status plan.Status
	easy   bool // ten repetitions, four in reserve, throughout
	half   bool // half the sets
	peak   bool // last week is a taper to a bench press on its Sunday
}

// entry is an exercise of a session of the clean program: one performance level that a
// credible intermediate of 80 kg has, in kilograms (of one hand for pairs).
type entry struct {
	id               string
	oneRM            int64 // kg
	sets, reps, rir  int32
	rest             plan.Seconds
	warm             bool
	swap             string
	stepKg, stepLb   int64 // thousandths
	firstKg, firstLb int64
}

var sessionA = []entry{
	{id: "back-squat", oneRM: 140, sets: 4, reps: 5, rir: 2, rest: 180, warm: true, swap: "leg-press", stepKg: 2500, stepLb: 5000, firstKg: 20_000, firstLb: 45_000},
	{id: "bench-press", oneRM: 100, sets: 4, reps: 5, rir: 2, rest: 180, warm: true, swap: "machine-chest-press", stepKg: 2500, stepLb: 5000, firstKg: 20_000, firstLb: 45_000},
	{id: "seated-cable-row", oneRM: 95, sets: 4, reps: 10, rir: 3, rest: 120, swap: "machine-row", stepKg: 2500, stepLb: 5000, firstKg: 5000, firstLb: 10_000},
	{id: "lying-leg-curl", oneRM: 70, sets: 3, reps: 10, rir: 3, rest: 90, swap: "seated-leg-curl", stepKg: 2500, stepLb: 5000, firstKg: 5000, firstLb: 10_000},
}

var sessionB = []entry{
	{id: "romanian-deadlift", oneRM: 130, sets: 3, reps: 8, rir: 3, rest: 150, warm: true, swap: "good-morning", stepKg: 2500, stepLb: 5000, firstKg: 20_000, firstLb: 45_000},
	{id: "lat-pulldown", oneRM: 90, sets: 4, reps: 10, rir: 3, rest: 120, swap: "pull-up", stepKg: 2500, stepLb: 5000, firstKg: 5000, firstLb: 10_000},
	{id: "incline-dumbbell-press", oneRM: 36, sets: 3, reps: 10, rir: 3, rest: 120, swap: "machine-chest-press", stepKg: 2500, stepLb: 5000, firstKg: 12_500, firstLb: 10_000},
	{id: "cable-curl", oneRM: 45, sets: 3, reps: 10, rir: 3, rest: 90, swap: "dumbbell-curl", stepKg: 2500, stepLb: 5000, firstKg: 2500, firstLb: 5000},
	{id: "cable-crunch", sets: 2, reps: 12, rir: 5, rest: 90, swap: "crunch"},
}

var sessionC = []entry{
	{id: "back-squat", oneRM: 140, sets: 4, reps: 8, rir: 3, rest: 150, warm: true, swap: "leg-press", stepKg: 2500, stepLb: 5000, firstKg: 20_000, firstLb: 45_000},
	{id: "bench-press", oneRM: 100, sets: 4, reps: 8, rir: 3, rest: 150, warm: true, swap: "machine-chest-press", stepKg: 2500, stepLb: 5000, firstKg: 20_000, firstLb: 45_000},
	{id: "machine-row", oneRM: 100, sets: 3, reps: 10, rir: 3, rest: 120, swap: "seated-cable-row", stepKg: 5000, stepLb: 10_000, firstKg: 5000, firstLb: 10_000},
	{id: "triceps-pushdown", oneRM: 45, sets: 2, reps: 12, rir: 3, rest: 90, swap: "overhead-triceps-extension", stepKg: 2500, stepLb: 5000, firstKg: 2500, firstLb: 5000},
}

func catalogue(t testing.TB) *exercise.Catalogue {
	t.Helper()
	c, err := exercise.Load()
	require.NoError(t, err)
	return c
}

// base is a clean program of three weeks in kilograms.
func base(t testing.TB) *plan.Program { return build(t, config{}) }

func build(t testing.TB, c config) *plan.Program {
	t.Helper()
	if c.weeks == 0 {
		c.weeks = 3
	}
	if c.unit == plan.UnitUnspecified {
		c.unit = plan.Kilogram
	}
	if c.status == plan.StatusUnspecified {
		c.status = plan.Intermediate
	}
	start, err := plan.ParseDate("2027-01-04") // a Monday
	require.NoError(t, err)
	p := &plan.Program{
		RequestDigest: "sha256:as-it-came",
		Request:       baseRequest(c, start),
		Assumptions:   []plan.Assumption{{Field: "athlete.current_weekly_sets", Says: "Twelve weekly sets for each muscle."}},
		Rules:         []plan.Rule{{ID: "coach.plan", Says: "As the coach wrote it.", Source: "common practice, no source"}},
	}
	for _, id := range standardCautions {
		p.Cautions = append(p.Cautions, plan.Caution{ID: id, Says: "Read this."})
	}
	done := map[string]bool{}
	for _, list := range [][]entry{sessionA, sessionB, sessionC} {
		for _, e := range list {
			if e.oneRM > 0 && !done[e.id] {
				done[e.id] = true
				p.Strengths = append(p.Strengths, strengthOf(t, c, e))
			}
		}
	}
	phase := plan.Phase{Name: "strength", Aim: "Raise squat and bench press."}
	for w := range c.weeks {
		week := plan.Week{Number: int32(w + 1), Kind: plan.WeekTraining, Dose: 1000, Start: plan.Some(start.AddDays(7 * w))}
		taper := c.peak && w == c.weeks-1
		if taper {
			week.Kind, week.Dose = plan.WeekTaper, 500
		}
		for i, list := range [][]entry{sessionA, sessionB, sessionC} {
			week.Sessions = append(week.Sessions, sessionOf(t, c, p, i, w, list, taper || c.half))
		}
		phase.Weeks = append(phase.Weeks, week)
	}
	p.Phases = []plan.Phase{phase}
	refresh(t, p)
	return p
}

func baseRequest(c config, start plan.Date) plan.Request {
	gym := exercise.ExpandPreset(plan.Place{ID: "gym", Preset: plan.PresetFullGym, Safeties: plan.Some(true)}, c.unit)
	other := gym
	other.ID = "gym-2"
	first := plan.Goal{Kind: plan.GoalRaise1RM, ExerciseID: "bench-press", Priority: 1}
	if c.peak {
		first.Kind, first.Date = plan.GoalPeak, plan.Some(start.AddDays(7*c.weeks-1))
	}
	day := func(w plan.Weekday) plan.Day { return plan.Day{Weekday: w, Minutes: 60, PlaceID: "gym"} }
	return plan.Request{
		Athlete: plan.Athlete{
			Sex: plan.Male, Age: plan.AgeAdult, BodyMass: plan.Some(plan.Kg(80_000)), Status: c.status,
			CurrentSetsEach: plan.Some(plan.HalfSets(24)), Supervision: plan.Partner, Spotter: plan.Some(true),
			Screening: plan.Some(plan.Screening{RegularExercise: plan.Some(true), KnownDisease: plan.Some(false), Symptoms: plan.Some(false)}),
			Performances: []plan.Performance{
				{ExerciseID: "cable-crunch", Load: plan.Some(plan.Kg(50_000)), Reps: 15, RIR: plan.Some(int32(2))},
			},
		},
		Goals: []plan.Goal{first, {Kind: plan.GoalRaise1RM, ExerciseID: "back-squat", Priority: 2}},
		Constraints: plan.Constraints{
			Unit: c.unit, Days: []plan.Day{day(plan.Monday), day(plan.WeekdayUnspecified), day(plan.Friday)},
			Places: []plan.Place{gym, other}, PreparedOn: plan.Some(start.AddDays(-7)), Start: plan.Some(start),
			Weeks: plan.Some(int32(c.weeks)),
		},
	}
}

func strengthOf(t testing.TB, c config, e entry) plan.Strength {
	x, ok := catalogue(t).ByID(e.id)
	require.True(t, ok, e.id)
	s := plan.Strength{ExerciseID: e.id, OneRMGrams: e.oneRM * 1000, SD: 50, Known: 2, Curve: string(x.Curve), Slope: 1000, Share: x.BodyMassShare}
	now := s.OneRMGrams
	for range c.weeks {
		s.Planned = append(s.Planned, now)
		now += now * 2 / 1000 // inside every status's cap
	}
	return s
}

func sessionOf(t testing.TB, c config, p *plan.Program, i, w int, list []entry, halved bool) plan.Session {
	start := p.Request.Constraints.Start.Value
	date := start.AddDays(7*w + 2*i)
	s := plan.Session{
		Kind: plan.SessionTraining, Group: string(rune('A' + i)), Day: int32(i), Weekday: date.Weekday(), Date: plan.Some(date),
		PlaceID: "gym", Limit: 3600, Warmup: plan.GeneralWarmup(3600),
	}
	for _, e := range list {
		if halved {
			e.sets = max(2, e.sets/2)
		}
		if c.easy && e.oneRM > 0 {
			e.reps, e.rir = 10, 4
		}
		s.Exercises = append(s.Exercises, exerciseOf(t, c, p, w, e))
	}
	return s
}

func exerciseOf(t testing.TB, c config, p *plan.Program, w int, e entry) plan.ProgramExercise {
	x, ok := catalogue(t).ByID(e.id)
	require.True(t, ok, e.id)
	out := plan.ProgramExercise{
		ExerciseID: e.id, Name: x.Name, Role: x.Role, Basis: []plan.Basis{{Number: plan.NumberLoad, Rule: "coach.plan"}},
		Contingencies: []plan.Contingency{
			{Case: plan.CaseRepsMissed, TextID: "missed", Says: "One step lighter next time."},
			{Case: plan.CaseEquipmentTaken, TextID: "taken", Says: "Do the other one.", Swap: []string{e.swap}},
		},
	}
	for i := range p.Request.Goals {
		if p.Request.Goals[i].ExerciseID == e.id {
			out.Role = plan.GoalLift
		}
	}
	set := plan.Set{Kind: plan.SetWorking, Reps: plan.Range{Min: e.reps, Max: e.reps}, Expected: e.reps, RIR: plan.Some(e.rir), Rest: e.rest}
	if e.oneRM == 0 {
		set.Load = plan.Some(plan.Load{Milli: 40_000, Unit: c.unit})
	} else {
		planned := plannedOf(t, p, e.id)[w]
		curve, err := load.CurveFor(string(x.Curve))
		require.NoError(t, err)
		target := planned * int64(curve.IntensityBP((e.reps+e.rir)*10)) / 10_000
		set.Load = plan.Some(nearest(c, e, target))
		set.Intensity = plan.Some(plan.Permille(set.Load.Value.Grams() * 1000 / planned))
		set.Plates = platesFor(x, set.Load.Value)
		if e.warm {
			for i, share := range []int64{450, 650} {
				v := nearest(c, e, target*share/1000)
				out.Sets = append(out.Sets, plan.Set{Kind: plan.SetWarmup, Reps: plan.Range{Min: int32(6 - 2*i), Max: int32(6 - 2*i)},
					Load: plan.Some(v), Plates: platesFor(x, v), Rest: 60})
			}
		}
	}
	for i := range e.sets {
		out.Sets = append(out.Sets, set)
		if i == e.sets-1 {
			out.Sets[len(out.Sets)-1].Rest = 0
		}
	}
	return out
}

func plannedOf(t testing.TB, p *plan.Program, id string) []int64 {
	for i := range p.Strengths {
		if p.Strengths[i].ExerciseID == id {
			return p.Strengths[i].Planned
		}
	}
	require.Fail(t, "no strength", id)
	return nil
}

// nearest gives the load nearest to a target in grams.
func nearest(c config, e entry, grams int64) plan.Load {
	first, step := e.firstKg, e.stepKg
	if c.unit == plan.Pound {
		first, step = e.firstLb, e.stepLb
	}
	l := plan.Load{Milli: first, Unit: c.unit}
	half := plan.Load{Milli: step / 2, Unit: c.unit}.Grams()
	for next := l; next.Grams() <= grams+half; next.Milli += step {
		l = next
	}
	return l
}

func platesFor(x *exercise.Exercise, l plan.Load) []plan.Load {
	if x.Loading != plan.LoadingBar {
		return nil
	}
	sizes, side := []int64{25_000, 20_000, 15_000, 10_000, 5000, 2500, 1250}, (l.Milli-20_000)/2
	if l.Unit == plan.Pound {
		sizes, side = []int64{45_000, 35_000, 25_000, 10_000, 5000, 2500}, (l.Milli-45_000)/2
	}
	var out []plan.Load
	for _, s := range sizes {
		for side >= s {
			out = append(out, plan.Load{Milli: s, Unit: l.Unit})
			side -= s
		}
	}
	return out
}

// refresh brings times, totals and digest in line with the sets, by plain arithmetic of
// its own, so that a fault in the sets is the only fault.
func refresh(t testing.TB, p *plan.Program) {
	cat := catalogue(t)
	for ph := range p.Phases {
		for w := range p.Phases[ph].Weeks {
			week := &p.Phases[ph].Weeks[w]
			retime(cat, week)
			retotal(cat, p, week)
		}
	}
	require.NoError(t, p.Seal())
}

func retime(cat *exercise.Catalogue, week *plan.Week) {
	for s := range week.Sessions {
		session := &week.Sessions[s]
		session.Seconds = 300 + 60
		for e := range session.Exercises {
			ex := &session.Exercises[e]
			seconds, sides := plan.Seconds(60), plan.Seconds(1)
			rep, each := plan.Seconds(4), plan.Seconds(15)
			if x, ok := cat.ByID(ex.ExerciseID); ok {
				seconds, rep, each = x.Setup, x.Rep, x.SetSetup
				if x.Unilateral {
					sides = 2
				}
			}
			for i, set := range ex.Sets {
				n := plan.Seconds(max(set.Expected, set.Reps.Max))
				if n == 0 {
					n = plan.Seconds(set.Hold.Max) / rep
				}
				seconds += n * rep * sides
				if set.Kind != plan.SetWarmup {
					seconds += each
				}
				if i < len(ex.Sets)-1 {
					seconds += max(set.Rest, 0)
				}
			}
			ex.Seconds = seconds
			session.Seconds += seconds
		}
	}
}

func retotal(cat *exercise.Catalogue, p *plan.Program, week *plan.Week) {
	var all, direct [plan.MuscleCount]plan.HalfSets
	lifts := map[string]*plan.LiftTotal{}
	week.Muscles, week.Lifts = nil, nil
	for s := range week.Sessions {
		for e := range week.Sessions[s].Exercises {
			ex := &week.Sessions[s].Exercises[e]
			x, ok := cat.ByID(ex.ExerciseID)
			if !ok {
				continue
			}
			for m := range all {
				n := x.SetCountsFor(plan.Muscle(m))
				all[m] += n * plan.HalfSets(ex.Working())
				if n == exercise.Prime {
					direct[m] += n * plan.HalfSets(ex.Working())
				}
			}
			for _, g := range p.Request.Goals {
				if g.ExerciseID != ex.ExerciseID {
					continue
				}
				l := lifts[g.ExerciseID]
				if l == nil {
					l = &plan.LiftTotal{ExerciseID: g.ExerciseID}
					lifts[g.ExerciseID] = l
				}
				l.Sets += ex.Working()
				for _, set := range ex.Sets {
					if !set.Kind.Counts() {
						continue
					}
					l.Reps += set.Expected
					l.Top = plan.Some(max(l.Top.Value, set.Intensity.Value))
					v := l.VolumeLoad.Or(plan.Load{Unit: set.Load.Value.Unit})
					v.Milli += set.Load.Value.Milli * int64(set.Expected)
					l.VolumeLoad = plan.Some(v)
				}
			}
		}
	}
	for m, n := range all {
		if n > 0 {
			week.Muscles = append(week.Muscles, plan.MuscleTotal{Muscle: plan.Muscle(m), Wanted: n, Sets: n, Direct: direct[m]})
		}
	}
	for _, g := range p.Request.Goals {
		if l := lifts[g.ExerciseID]; l != nil && !slices.ContainsFunc(week.Lifts, func(o plan.LiftTotal) bool { return o.ExerciseID == l.ExerciseID }) {
			l.Wanted = l.Sets
			week.Lifts = append(week.Lifts, *l)
		}
	}
}

// summary prints findings one a line, for messages that can be read.
func summary(list []plan.Finding) string {
	var b strings.Builder
	for _, f := range list {
		fmt.Fprintf(&b, "%s %s, week %d session %d %s: %s\n", f.Level, f.Rule, f.Week, f.Session, f.ExerciseID, f.Says)
	}
	return b.String()
}

func TestCleanProgramsDrawNothing(t *testing.T) {
	for name, c := range map[string]config{
		"base": {}, "pounds": {unit: plan.Pound}, "eight weeks": {weeks: 8}, "easy": {easy: true}, "advanced": {status: plan.Advanced},
		"easy novice": {status: plan.Novice, easy: true, half: true}, "peak": {weeks: 6, peak: true},
	} {
		t.Run(name, func(t *testing.T) {
			require.Equal(t, "", summary(Program(build(t, c), catalogue(t))))
		})
	}
}
