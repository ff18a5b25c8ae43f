package prescribe_test

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/prescribe"
)

// anyScheme draws a scheme for an exercise.
func anyScheme(t *rapid.T, ex *exercise.Exercise) plan.Scheme {
	if ex.Is(exercise.Timed) {
		lo := rapid.Int32Range(10, 40).Draw(t, "hold")
		return plan.Scheme{Kind: plan.SetWorking, Sets: plan.FixedSets(rapid.Int32Range(1, 5).Draw(t, "sets")),
			Hold: plan.Range{Min: lo, Max: lo + rapid.Int32Range(0, 20).Draw(t, "wider")}, Rest: 60}
	}
	lo := rapid.Int32Range(1, 20).Draw(t, "lo")
	s := sets(rapid.Int32Range(1, 6).Draw(t, "sets"), lo, lo+rapid.Int32Range(0, 8).Draw(t, "width"), plan.Effort{},
		plan.Seconds(rapid.IntRange(30, 300).Draw(t, "rest")))
	switch rapid.IntRange(0, 5).Draw(t, "effort") {
	case 0:
		s.Effort = failure()
	case 1:
		s.Effort = share(plan.Permille(rapid.Int32Range(300, 1000).Draw(t, "share")))
		if rapid.Bool().Draw(t, "rm") {
			s.Effort.Reference = plan.Reference{Kind: plan.RefRM, RM: rapid.Int32Range(1, 12).Draw(t, "n")}
		}
		s.OpenEnded = rapid.IntRange(0, 3).Draw(t, "open") == 0
	case 2:
		s.Effort = share(plan.Permille(rapid.Int32Range(300, 1000).Draw(t, "share")))
		s.Effort.RIR = plan.Some(rapid.Int32Range(0, 4).Draw(t, "rir"))
	default:
		s.Effort = rir(rapid.Int32Range(0, 5).Draw(t, "rir"))
	}
	if rapid.IntRange(0, 9).Draw(t, "slow") == 0 {
		s.Tempo = plan.Tempo{Down: 3, Hold: 1, Up: 1}
	}
	return s
}

// anyInput draws an exercise of the catalogue, a gym and an athlete.
func anyInput(t *rapid.T) prescribe.Input {
	all := exercise.Builtin().All()
	ex := all[rapid.IntRange(0, len(all)-1).Draw(t, "exercise")]
	c, err := load.Shifted(curve(t, ex), rapid.Int32Range(load.MinShift, load.MaxShift).Draw(t, "shift"))
	require.NoError(t, err)
	place := gym(rapid.SampledFrom([]plan.MassUnit{plan.Kilogram, plan.Pound}).Draw(t, "unit"))
	in := prescribe.Input{
		Exercise: ex, Role: ex.Role, Menu: menu(ex, place), Warmup: rapid.Bool().Draw(t, "warm-up"),
		Athlete: prescribe.Athlete{Curve: c, Share: ex.BodyMassShare},
		Limits: prescribe.Limits{
			MinRIR: rapid.Int32Range(0, 3).Draw(t, "least RIR"), Failure: rapid.Bool().Draw(t, "failure"),
			RepsFloor: rapid.SampledFrom([]int32{0, ex.MinReps}).Draw(t, "floor"),
		},
		Deferred: rapid.Bool().Draw(t, "deferred"),
	}
	if ex.Role == plan.MultiJoint && rapid.Bool().Draw(t, "goal") {
		in.Role = plan.GoalLift
	}
	if rapid.IntRange(0, 3).Draw(t, "capped") == 0 {
		in.Limits.MaxIntensity = plan.Permille(rapid.Int32Range(600, 900).Draw(t, "cap"))
	}
	if rapid.IntRange(0, 3).Draw(t, "stretched") == 0 {
		in.Limits.Stretch = rapid.Int32Range(10, 30).Draw(t, "stretch")
	}
	if rapid.IntRange(0, 4).Draw(t, "body known") > 0 {
		in.Athlete.BodyGrams = rapid.Int64Range(45_000, 130_000).Draw(t, "body")
	}
	switch rapid.IntRange(0, 4).Draw(t, "strength") {
	case 0:
		in.Calibrate = true
	case 1:
		in.CalibratedTenths = rapid.Int32Range(80, 160).Draw(t, "calibrated")
		in.GrowthPermille = rapid.Int32Range(1000, 1100).Draw(t, "growth")
	default:
		in.Athlete.OneRMGrams = rapid.Int64Range(5000, 250_000).Draw(t, "1RM")
	}
	if ex.Loading == plan.LoadingAssisted {
		m := in.Menu.Help(in.Athlete.BodyGrams * int64(ex.BodyMassShare) / 1000)
		in.Menu = &m
	}
	if rapid.Bool().Draw(t, "free") {
		in.Athlete.FreeRepsTenths = rapid.Int32Range(10, 400).Draw(t, "free reps")
	}
	for range rapid.IntRange(1, 3).Draw(t, "schemes") {
		in.Schemes = append(in.Schemes, anyScheme(t, ex))
	}
	return in
}

// fresh gives the repetitions (tenths) that a set's load allows a rested athlete, from
// the set as printed alone; false where no strength stands behind it.
func fresh(in prescribe.Input, s *plan.Set) (int32, bool) {
	a := in.Athlete
	switch {
	case s.Load.Set && a.OneRMGrams > 0:
		return a.Curve.NearestTenths(int32((massOf(in, s)*10_000 + a.OneRMGrams/2) / a.OneRMGrams)), true
	case in.Exercise.Loading == plan.LoadingBodyweight && a.FreeRepsTenths > 0:
		return a.FreeRepsTenths, true
	}
	return 0, false
}

// massOf is what a set moves, in grams: a counterweight takes its load off.
func massOf(in prescribe.Input, s *plan.Set) int64 {
	body := in.Athlete.BodyGrams * int64(in.Athlete.Share) / 1000
	if in.Exercise.Loading == plan.LoadingAssisted {
		return body - s.Load.Value.Grams()
	}
	return body + s.Load.Value.Grams()
}

func TestLaws(t *testing.T) {
	fatigue := load.DefaultFatigue()
	rapid.Check(t, func(t *rapid.T) {
		in := anyInput(t)
		out, err := prescribe.Exercise(in)
		require.NoError(t, err)
		again, err := prescribe.Exercise(in)
		require.NoError(t, err)
		require.Equal(t, out, again)

		var wanted []plan.Scheme // of each working set
		for _, s := range in.Schemes {
			for range s.Sets.Min {
				wanted = append(wanted, s)
			}
		}
		warm := len(out.Sets) - len(wanted)
		require.GreaterOrEqual(t, warm, 0)
		checkWarmUp(t, in, out.Sets[:warm], out.Sets[warm:])

		var debt load.Debt
		known := true
		for i := range wanted {
			s, w := &out.Sets[warm+i], &wanted[i]
			require.NotEqual(t, plan.SetWarmup, s.Kind)
			checkSet(t, in, s, w, out.Off)
			can, ok := fresh(in, s)
			known = known && ok && s.Expected > 0
			if known {
				capacity := fatigue.Capacity(can, debt)
				if s.RIR.Set {
					// Expected repetitions and RIR are the capacity to half a repetition.
					require.LessOrEqual(t, abs(10*(s.Expected+s.RIR.Value)-capacity), int32(5), "set %d of %+v", i, out.Sets)
				} else {
					require.GreaterOrEqual(t, capacity, 10*s.Expected)
				}
				done := 10 * s.Expected
				if s.ToFailure {
					done = max(done, capacity)
				}
				debt = fatigue.Next(debt, can, load.Done{RepsTenths: done, Rest: w.Rest})
			}
			if i == len(wanted)-1 {
				require.Zero(t, s.Rest)
			} else {
				require.Equal(t, w.Rest, s.Rest)
			}
		}

		require.Equal(t, prescribe.Seconds(in.Exercise, out.Sets), out.Seconds)
		fixed, perSet := prescribe.Bound(in)
		require.LessOrEqual(t, int32(out.Seconds), int32(fixed)+int32(len(wanted))*int32(perSet))
		in.Athlete = prescribe.Athlete{}
		anyone, each := prescribe.Bound(in)
		require.LessOrEqual(t, int32(out.Seconds), int32(anyone)+int32(len(wanted))*int32(each), "for anyone")
		checkBasis(t, out, len(wanted))
	})
}

func checkWarmUp(t *rapid.T, in prescribe.Input, warm, work []plan.Set) {
	before := int64(-1 << 60)
	for i := range warm {
		s := &warm[i]
		require.Equal(t, plan.SetWarmup, s.Kind)
		require.GreaterOrEqual(t, s.Rest, plan.Seconds(45), "45 s in a ramp, from 60 s in a warm-up")
		require.LessOrEqual(t, s.Rest, plan.Seconds(75))
		if in.Calibrate && in.Athlete.OneRMGrams == 0 && in.Exercise.Loading != plan.LoadingAdded {
			require.False(t, s.Load.Set)
			continue
		}
		require.True(t, in.Warmup)
		if s.Load.Set {
			requireBuildable(t, in, s)
			require.Greater(t, massOf(in, s), before, "rising and distinct")
			before = massOf(in, s)
			first := work[0]
			for k := 1; !first.Load.Set; k++ {
				first = work[k]
			}
			require.Less(t, massOf(in, s), massOf(in, &first), "lighter than the work")
		}
	}
}

func requireBuildable(t *rapid.T, in prescribe.Input, s *plan.Set) {
	o, ok := in.Menu.Nearest(s.Load.Value, false)
	require.True(t, ok)
	require.Equal(t, o.Load, s.Load.Value, "can be set")
	require.Equal(t, o.PerSide, s.Plates)
}

func checkSet(t *rapid.T, in prescribe.Input, s *plan.Set, w *plan.Scheme, off string) {
	l := in.Limits
	if s.Load.Set {
		requireBuildable(t, in, s)
	}
	if s.RIR.Set {
		require.GreaterOrEqual(t, s.RIR.Value, l.MinRIR, "%+v", s)
	}
	if l.MaxIntensity > 0 && s.Intensity.Set {
		require.LessOrEqual(t, s.Intensity.Value, l.MaxIntensity)
	}
	if s.ToFailure {
		require.True(t, l.Failure && l.MinRIR == 0 && w.Effort.ToFailure)
		require.Zero(t, s.RIR.Value)
	}
	if s.Kind == plan.SetCalibration {
		require.GreaterOrEqual(t, s.RIR.Value, int32(3))
		return
	}
	want := w.Effort.Wanted()
	if want.Set && s.Hold.IsZero() {
		rir := max(want.Value, l.MinRIR)
		if w.Effort.ToFailure && !l.Failure {
			rir = max(rir, 1)
		}
		if off == "" {
			require.LessOrEqual(t, abs(s.RIR.Value-rir), int32(1), "RIR within 1 of what was wanted, or said: %+v", s)
		}
	}
	if s.Expected > 0 && !s.OpenEnded {
		require.GreaterOrEqual(t, s.Expected, s.Reps.Min)
		require.LessOrEqual(t, s.Expected, s.Reps.Max)
		require.LessOrEqual(t, s.Reps.Max, max(w.Reps.Max+max(l.RepsFloor-w.Reps.Min, 0), l.Stretch))
	}
	if off == "" && in.Exercise.Loading.Loadable() && in.Exercise.Loading != plan.LoadingAdded && in.Athlete.OneRMGrams > 0 && s.Hold.IsZero() {
		require.True(t, s.Load.Set, "a known strength gives a load, or it is said why not")
	}
	require.Equal(t, s.Load.Set && s.Load.Value.Milli < 0, false)
}

func checkBasis(t *rapid.T, out prescribe.Output, working int) {
	known := map[plan.RuleID]bool{}
	for _, r := range prescribe.Rules() {
		require.NotEmpty(t, r.Says)
		require.NotEmpty(t, r.Source)
		require.False(t, known[r.ID], "twice: %s", r.ID)
		known[r.ID] = true
	}
	explained := map[plan.Number]map[int32]bool{}
	for _, b := range out.Basis {
		require.True(t, known[b.Rule], "no such rule: %s", b.Rule)
		require.NotEmpty(t, b.Input)
		if explained[b.Number] == nil {
			explained[b.Number] = map[int32]bool{}
		}
		for _, s := range b.Sets {
			explained[b.Number][s] = true
		}
		if len(b.Sets) == 0 {
			for k := range working {
				explained[b.Number][int32(k+1)] = true
			}
		}
	}
	first := len(out.Sets) - working
	for k := range working {
		n, s := int32(k+1), &out.Sets[first+k]
		require.True(t, explained[plan.NumberReps][n])
		require.True(t, explained[plan.NumberRest][n])
		if s.Load.Set || s.Deferred.Set {
			require.True(t, explained[plan.NumberLoad][n], "load of set %d", n)
		}
	}
	if first > 0 {
		require.NotEmpty(t, explained[plan.NumberWarmup])
	}
}

// TestFindsTheLoad tries every load there is: where one of them keeps repetitions and
// reserve in every set, the answer has nothing to excuse.
func TestFindsTheLoad(t *testing.T) {
	fatigue := load.DefaultFatigue()
	rapid.Check(t, func(t *rapid.T) {
		id := rapid.SampledFrom([]string{"bench-press", "back-squat", "lateral-raise", "leg-extension", "kettlebell-goblet-squat", "goblet-squat", "leg-press"}).Draw(t, "exercise")
		want := rapid.Int32Range(0, 4).Draw(t, "rir")
		lo := rapid.Int32Range(1, 15).Draw(t, "lo")
		scheme := sets(rapid.Int32Range(1, 6).Draw(t, "sets"), lo, lo+rapid.Int32Range(0, 5).Draw(t, "width"), rir(want), plan.Seconds(30*rapid.IntRange(1, 10).Draw(t, "rest")))
		in := request(t, id, rapid.Int64Range(15_000, 220_000).Draw(t, "1RM"), scheme)
		in.Limits.MinRIR = rapid.Int32Range(0, 2).Draw(t, "least")
		want = max(want, in.Limits.MinRIR)
		if rapid.Bool().Draw(t, "capped") {
			in.Limits.MaxIntensity = plan.Permille(rapid.Int32Range(500, 900).Draw(t, "cap"))
		}
		out, err := prescribe.Exercise(in)
		require.NoError(t, err)
		if out.Off == "" {
			return
		}
		for _, l := range in.Menu.Loads() {
			if limit := in.Limits.MaxIntensity; limit > 0 && l.Grams()*1000 > int64(limit)*in.Athlete.OneRMGrams {
				break
			}
			can := in.Athlete.Curve.NearestTenths(int32((l.Grams()*10_000 + in.Athlete.OneRMGrams/2) / in.Athlete.OneRMGrams))
			fits, debt := true, load.Debt{}
			for range scheme.Sets.Min {
				capacity := fatigue.Capacity(can, debt)
				// The repetitions that leave the wanted reserve, kept in the range.
				reps := min(max((capacity-10*want+5)/10, scheme.Reps.Min), scheme.Reps.Max)
				left := capacity - 10*reps
				fits = fits && left >= 0 && (left+5)/10 >= in.Limits.MinRIR && abs((left+5)/10-want) <= 1
				debt = fatigue.Next(debt, can, load.Done{RepsTenths: 10 * reps, Rest: scheme.Rest})
			}
			require.False(t, fits, "%s would do, but: %s", l, out.Off)
		}
	})
}

func abs(v int32) int32 { return max(v, -v) }
