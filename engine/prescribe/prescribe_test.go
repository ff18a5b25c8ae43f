package prescribe_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/prescribe"
)

func do(t *testing.T, in prescribe.Input) prescribe.Output {
	t.Helper()
	out, err := prescribe.Exercise(in)
	require.NoError(t, err)
	return out
}

// working gives the sets after the warm-up.
func working(out prescribe.Output) []plan.Set {
	for i := range out.Sets {
		if out.Sets[i].Kind != plan.SetWarmup {
			return out.Sets[i:]
		}
	}
	return nil
}

// Bench press curve: 90 % is 4.0 repetitions, 80 % 8.8, 70 % 14.1 (Nuzzo 2024).
func TestLoadsByHand(t *testing.T) {
	for _, c := range []struct {
		name     string
		oneRM    int64
		scheme   plan.Scheme
		load     int64 // thousandths of kg
		expected int32
		rir      int32
	}{
		// 3 + 1 = 4.0 repetitions: 90 % of 100 kg.
		{"exact", 100_000, sets(1, 3, 3, rir(1), 180), 90_000, 3, 1},
		// 90 % of 102 kg is 91.8: 92.5 is nearer, but 3 repetitions are rounded down.
		// 90 kg is 88.2 %: 4.8 repetitions, so 1.8 are left.
		{"down for few repetitions", 102_000, sets(1, 3, 3, rir(1), 180), 90_000, 3, 2},
		// 7 + 2 = 9.0 repetitions are a little under 80 %: 80 kg is nearest, allows 8.8,
		// and leaves 1.8.
		{"nearest", 100_000, sets(1, 7, 7, rir(2), 180), 80_000, 7, 2},
		// 8 + 1 = 9.0, a little under 80 %: nearest is 80, but RIR 1 is rounded down.
		{"down for small reserve", 100_000, sets(1, 8, 8, rir(1), 180), 77_500, 8, 2},
		// The middle of 10-14 at RIR 2 is 14.0 repetitions: 70 % allows 14.1.
		{"middle of the range", 100_000, sets(1, 10, 14, rir(2), 180), 70_000, 12, 2},
		// A given share stands: 70 % allows 14.1, 10 leave 4.1.
		{"share", 100_000, sets(1, 10, 10, share(700), 180), 70_000, 10, 4},
		// 80 % of 102 kg is 81.6: 82.5 is nearest, 80.9 %. It allows about 8.4.
		{"share, nearest", 102_000, sets(1, 6, 6, share(800), 180), 82_500, 6, 2},
		// 90 % allows 4.0 and 5 are asked: 87.5 kg allows 5.2 or so.
		{"share too heavy for the repetitions", 100_000, sets(1, 5, 5, share(900), 180), 87_500, 5, 0},
		// 100 % of the 4RM is 90 %.
		{"share of an RM", 100_000, sets(1, 3, 3, plan.Effort{Intensity: plan.Some(plan.Permille(1000)), Reference: plan.Reference{Kind: plan.RefRM, RM: 4}}, 180), 90_000, 3, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			out := do(t, request(t, "bench-press", c.oneRM, c.scheme))
			s := working(out)[0]
			require.Equal(t, plan.Kg(c.load), s.Load.Value)
			require.Equal(t, c.expected, s.Expected)
			require.Equal(t, c.rir, s.RIR.Value)
			require.Empty(t, out.Off)
			require.Equal(t, plan.Permille((c.load*1000+c.oneRM/2)/c.oneRM), s.Intensity.Value)
		})
	}
}

// Short rest near failure: one load cannot keep 8 to 12 in four sets, since a second
// set has hardly half of the first one's repetitions.
func TestLoadFallsAtShortRest(t *testing.T) {
	out := do(t, request(t, "bench-press", 100_000, sets(4, 8, 12, failure(), 60)))
	w := working(out)
	require.Empty(t, out.Off)
	for i := range w {
		require.True(t, w[i].ToFailure)
		require.GreaterOrEqual(t, w[i].Expected, int32(8))
		if i > 0 {
			require.Less(t, w[i].Load.Value.Milli, w[i-1].Load.Value.Milli)
		}
	}
	require.GreaterOrEqual(t, w[0].Expected, int32(11), "starts near the top")

	// With long rest and two in reserve one load does.
	for _, s := range working(do(t, request(t, "bench-press", 100_000, sets(4, 8, 12, rir(2), 180)))) {
		require.Equal(t, plan.Kg(72_500), s.Load.Value)
	}
}

func TestLimits(t *testing.T) {
	in := request(t, "bench-press", 100_000, sets(2, 8, 8, failure(), 180))
	in.Limits = prescribe.Limits{}
	s := working(do(t, in))[1]
	require.False(t, s.ToFailure)
	require.Contains(t, []int32{1, 2}, s.RIR.Value, "one, and what the step of the bar leaves over")
	require.Contains(t, do(t, in).Note, "stop with 1 in reserve")

	in.Limits = prescribe.Limits{Failure: true, MinRIR: 2}
	require.GreaterOrEqual(t, working(do(t, in))[1].RIR.Value, int32(2))

	// 1-3 raised to at least 5: 5-7, RIR kept.
	in = request(t, "barbell-curl", 50_000, sets(2, 1, 3, rir(1), 120))
	in.Limits.RepsFloor = 5
	out := do(t, in)
	require.Equal(t, plan.Range{Min: 5, Max: 7}, working(out)[0].Reps)
	require.InDelta(t, 1, working(out)[0].RIR.Value, 1)
	require.Contains(t, out.Note, "5–7 repetitions instead of 1–3")

	// 3-5 at RIR 1 would be about 88 %; the cap is under 80. The repetitions go to the
	// top of the range and what is left is said.
	in = request(t, "bench-press", 100_000, sets(2, 3, 5, rir(1), 180))
	in.Limits.MaxIntensity = 799
	out = do(t, in)
	require.Equal(t, plan.Kg(77_500), working(out)[0].Load.Value)
	require.Equal(t, int32(5), working(out)[0].Expected)
	require.Contains(t, out.Off, "79.9 %")

	// A bar that is itself above the cap is never prescribed.
	in = request(t, "bench-press", 22_000, sets(2, 5, 8, rir(2), 120))
	in.Limits.MaxIntensity = 800
	out = do(t, in)
	require.False(t, working(out)[0].Load.Set)
	require.Contains(t, out.Off, "the limit is 80 %")
}

func TestDeferredLoads(t *testing.T) {
	latest := plan.Effort{Intensity: plan.Some(plan.Permille(750)), Reference: plan.Reference{Kind: plan.RefLatest}}
	in := request(t, "back-squat", 160_000, sets(3, 8, 8, latest, 180))
	s := working(do(t, in))[0]
	require.Equal(t, plan.Deferred{Reference: latest.Reference, Share: 750}, s.Deferred.Value)
	require.Equal(t, plan.Kg(120_000), s.Load.Value, "75 % of 160")

	named := plan.Effort{Intensity: plan.Some(plan.Permille(800)), Reference: plan.Reference{Kind: plan.RefEstimate, Name: "week 8"}}
	in = request(t, "back-squat", 0, sets(3, 5, 5, named, 180))
	s = working(do(t, in))[0]
	require.Equal(t, plan.Deferred{Reference: named.Reference, Share: 800}, s.Deferred.Value)
	require.False(t, s.Load.Set)

	in = request(t, "bench-press", 100_000, sets(1, 3, 3, rir(1), 180))
	in.Deferred = true
	s = working(do(t, in))[0]
	require.Equal(t, plan.Deferred{Reference: plan.Reference{Kind: plan.RefLatest}, Share: 900}, s.Deferred.Value)
	require.Equal(t, plan.Kg(90_000), s.Load.Value)

	adjust := []plan.AdjustStep{{Reps: plan.Range{Min: 0, Max: 2}, From: -10_000, To: -5000, Unit: plan.Pound}}
	last := sets(1, 1, 6, plan.Effort{ToFailure: true, Reference: plan.Reference{Kind: plan.RefSetBefore}}, 180)
	last.OpenEnded, last.Adjust = true, adjust
	w := working(do(t, request(t, "bench-press", 100_000, sets(1, 5, 5, rir(2), 180), last)))
	require.False(t, w[1].Load.Set)
	require.Equal(t, plan.RefSetBefore, w[1].Deferred.Value.Reference.Kind)
	require.Equal(t, adjust, w[1].Adjust)
	require.True(t, w[1].OpenEnded)
}

func TestUnknownStrength(t *testing.T) {
	in := request(t, "bench-press", 0, sets(3, 8, 12, rir(2), 120))
	in.Calibrate = true
	reps, left, ok := prescribe.Calibration(in)
	require.True(t, ok)
	require.Equal(t, [2]int32{10, 3}, [2]int32{reps, left}, "the middle of 8-12, three in reserve")
	out := do(t, in)
	w := working(out)
	require.Equal(t, plan.SetCalibration, w[0].Kind)
	require.Equal(t, int32(10), w[0].Expected)
	require.Equal(t, int32(3), w[0].RIR.Value)
	require.Equal(t, plan.Deferred{Reference: plan.Reference{Kind: plan.RefCalibration}, Share: 1000}, w[1].Deferred.Value)
	require.Len(t, out.Sets, 3+3, "a ramp of three lighter sets")
	require.Contains(t, out.Note, "the empty bar")

	// Later: 10 + 3 = 13.0 repetitions then; 7 + 2 = 9.0 now, 1RM 2 % up.
	in = request(t, "bench-press", 0, sets(1, 7, 7, rir(2), 120))
	in.CalibratedTenths, in.GrowthPermille = 130, 1020
	s := working(do(t, in))[0]
	c := in.Athlete.Curve
	exact := int64(c.IntensityBP(90)) * 1020 / int64(c.IntensityBP(130))
	require.InDelta(t, exact, int64(s.Deferred.Value.Share), 5, "to the nearest percent")
	require.False(t, s.Load.Set)

	// The cap decides what a calibration may be: under 70 % are 14.1 repetitions and more.
	in.Calibrate, in.CalibratedTenths, in.Limits.MaxIntensity = true, 0, 700
	reps, left, ok = prescribe.Calibration(in)
	require.True(t, ok)
	require.GreaterOrEqual(t, reps+left, int32(15))
	in.Limits.MaxIntensity = 400
	_, _, ok = prescribe.Calibration(in)
	require.False(t, ok, "no set of a callable reserve is so light")
	require.Equal(t, plan.SetWorking, working(do(t, in))[0].Kind)
}

func TestBodyMass(t *testing.T) {
	in := request(t, "pull-up", 0, sets(1, 6, 10, rir(2), 150))
	in.Athlete.FreeRepsTenths = 100
	// 10 possible, middle of 6-10 and RIR 2 is 10: nothing added.
	s := working(do(t, in))[0]
	require.Equal(t, plan.Kg(0), s.Load.Value)
	require.Equal(t, int32(8), s.Expected)

	in.Athlete.FreeRepsTenths = 200
	require.Positive(t, working(do(t, in))[0].Load.Value.Milli, "20 possible: load is added")

	in.Athlete.FreeRepsTenths = 50
	out := do(t, in)
	require.Equal(t, int32(3), working(out)[0].Expected, "5 possible less 2")
	require.Equal(t, plan.Range{Min: 3, Max: 3}, working(out)[0].Reps)
	require.Empty(t, out.Off)
	require.Contains(t, out.Note, "Body mass alone is too heavy")

	in.Athlete.FreeRepsTenths = 25
	require.NotEmpty(t, do(t, in).Off, "not even three")

	in.Athlete.FreeRepsTenths = 0
	s = working(do(t, in))[0]
	require.Zero(t, s.Expected)
	require.Equal(t, plan.Range{Min: 6, Max: 10}, s.Reps)
	require.Equal(t, int32(2), s.RIR.Value)
}

func TestWarmUp(t *testing.T) {
	warm := func(in prescribe.Input) []string {
		var out []string
		for _, s := range do(t, in).Sets {
			if s.Kind == plan.SetWarmup {
				out = append(out, s.Load.Value.String()+" x "+string(rune('0'+s.Reps.Max)))
			}
		}
		return out
	}
	in := request(t, "back-squat", 100_000, sets(3, 3, 3, rir(1), 180))
	in.Role = plan.GoalLift
	require.Equal(t, []string{"45 kg x 8", "60 kg x 5", "72.5 kg x 3", "80 kg x 2"}, warm(in), "45, 60, 72, 80 % of 100 kg")
	in.Warmup = false
	require.Empty(t, warm(in))

	// Work at 27.5 kg: half of it is under the bar, which then comes first and once.
	in = request(t, "bench-press", 38_000, sets(3, 8, 12, rir(2), 120))
	in.Role = plan.GoalLift
	require.Equal(t, []string{"20 kg x 8"}, warm(in)[:1])
	for _, w := range warm(in) {
		require.NotEqual(t, "27.5 kg", strings.Split(w, " x")[0])
	}
	// Work with the empty bar has none.
	require.Empty(t, warm(request(t, "bench-press", 26_000, sets(3, 8, 12, rir(2), 120))))
}

// Worked by hand in the time model: set-up 60, 3 x 10, 3 s a repetition, 10 s a set,
// rest 120: 60 + 3·(30 + 10) + 2·120 = 420; one-sided: 60 + 3·(60 + 10) + 2·60 = 390.
func TestTime(t *testing.T) {
	ex := *find(t, "lat-pulldown")
	ex.Setup, ex.Rep, ex.SetSetup = 60, 3, 10
	in := prescribe.Input{Exercise: &ex, Role: plan.SingleJoint, Athlete: prescribe.Athlete{Curve: curve(t, &ex)}, Schemes: []plan.Scheme{sets(3, 10, 10, rir(2), 120)}}
	require.Equal(t, plan.Seconds(420), do(t, in).Seconds)
	fixed, perSet := prescribe.Bound(in)
	require.Equal(t, plan.Seconds(420), fixed+3*perSet, "exact without a warm-up")
	require.Equal(t, plan.Seconds(160), perSet)
	require.Equal(t, plan.Seconds(-60), fixed, "the last rest is longer than setting up")

	// Mixed: 3 x 3 at 300 s and 1 x 10 at 60 s; the fourth set costs 40 and not 319.
	in.Schemes = []plan.Scheme{sets(3, 3, 3, rir(2), 300), sets(1, 10, 10, rir(1), 60)}
	require.Equal(t, plan.Seconds(60+3*(9+10)+3*300+40), do(t, in).Seconds)
	fixed, perSet = prescribe.Bound(in)
	require.GreaterOrEqual(t, fixed+4*perSet, do(t, in).Seconds)
	require.LessOrEqual(t, fixed+4*perSet, do(t, in).Seconds+30, "tight")

	ex.Unilateral = true
	in.Schemes = []plan.Scheme{sets(3, 10, 10, rir(2), 120)}
	require.Equal(t, plan.Seconds(390), do(t, in).Seconds)
}

func TestBudget(t *testing.T) {
	in := request(t, "back-squat", 140_000, sets(3, 8, 8, rir(4), 120))
	in.Role = plan.GoalLift
	full := do(t, in)
	in.Budget = full.Seconds - 60
	cut := do(t, in)
	require.Less(t, len(cut.Sets), len(full.Sets))
	require.LessOrEqual(t, cut.Seconds, in.Budget)
	require.Empty(t, cut.Off)
	require.Contains(t, cut.Note, "Fewer warm-up sets")
	require.Equal(t, working(full), working(cut), "the work stays")

	in.Budget = 120
	short := do(t, in)
	require.Contains(t, short.Off, "2:00 are left")

	in = request(t, "back-squat", 140_000, sets(3, 3, 3, rir(1), 180))
	in.Role = plan.GoalLift
	full = do(t, in)
	in.Budget = full.Seconds - 60
	kept := do(t, in)
	require.Equal(t, full.Sets, kept.Sets, "heavy work keeps its warm-up")
	require.NotEmpty(t, kept.Off)
}

func TestSplit(t *testing.T) {
	scaled := func(lo, hi int32) plan.Scheme { return plan.Scheme{Sets: plan.ScaledSets(lo, hi)} }
	fixed := func(n int32) plan.Scheme { return plan.Scheme{Sets: plan.FixedSets(n)} }
	count := func(list []plan.Scheme) []int32 {
		var out []int32
		for _, s := range list {
			require.Equal(t, s.Sets.Min, s.Sets.Max)
			out = append(out, s.Sets.Min)
		}
		return out
	}
	require.Equal(t, []int32{3, 1}, count(prescribe.Split([]plan.Scheme{fixed(3), fixed(1)}, 4)))
	require.Equal(t, []int32{2, 3}, count(prescribe.Split([]plan.Scheme{scaled(1, 4), fixed(3)}, 5)), "fixed first, in place")
	require.Equal(t, []int32{3, 2}, count(prescribe.Split([]plan.Scheme{scaled(1, 4), scaled(1, 4)}, 5)), "in turn")
	require.Equal(t, []int32{4, 3}, count(prescribe.Split([]plan.Scheme{scaled(1, 4), scaled(2, 3)}, 9)), "not beyond Max")
	require.Equal(t, []int32{2}, count(prescribe.Split([]plan.Scheme{fixed(3), scaled(1, 2)}, 2)), "too few")
	require.Empty(t, prescribe.Split([]plan.Scheme{scaled(1, 4)}, 0))

	rapid.Check(t, func(t *rapid.T) {
		var list []plan.Scheme
		total := int32(0)
		for range rapid.IntRange(1, 4).Draw(t, "schemes") {
			if rapid.Bool().Draw(t, "fixed") {
				list = append(list, fixed(rapid.Int32Range(1, 5).Draw(t, "n")))
			} else {
				lo := rapid.Int32Range(0, 4).Draw(t, "lo")
				list = append(list, scaled(lo, lo+rapid.Int32Range(0, 4).Draw(t, "more")))
			}
			total += list[len(list)-1].Sets.Max
		}
		n := rapid.Int32Range(0, 20).Draw(t, "sets")
		sum := int32(0)
		for _, s := range prescribe.Split(list, n) {
			require.Positive(t, s.Sets.Min)
			sum += s.Sets.Min
		}
		require.Equal(t, min(n, total), sum)
	})
}

func TestContingencies(t *testing.T) {
	in := request(t, "bench-press", 100_000, sets(1, 3, 3, rir(1), 180)) // 90 kg
	list := prescribe.Contingencies(in, do(t, in))
	cases := map[plan.Case]plan.Contingency{}
	for _, c := range list {
		cases[c.Case] = c
		require.NotEmpty(t, c.Says)
		require.NotContains(t, c.Says, "{")
		require.NotEmpty(t, prescribe.Text(c.TextID))
	}
	require.Len(t, cases, 5, "one for each case")
	require.Equal(t, plan.Kg(-2500), cases[plan.CaseRepsMissed].Change.Value)
	require.Equal(t, plan.Kg(2500), cases[plan.CaseAboveRange].Change.Value)
	require.Contains(t, cases[plan.CaseAboveRange].Says, "to 92.5 kg")
	require.Empty(t, prescribe.Text("no such text"))

	// Nobody is sent above the cap.
	in = request(t, "bench-press", 100_000, sets(2, 3, 5, rir(1), 180))
	in.Limits.MaxIntensity = 799
	capped := prescribe.Contingencies(in, do(t, in))[1]
	require.Equal(t, prescribe.TextAboveCapped, capped.TextID)
	require.False(t, capped.Change.Set)

	// The step on a 10-kg dumbbell is 25 %: repetitions first.
	in = request(t, "lateral-raise", 14_000, sets(3, 8, 12, rir(2), 90))
	in.Menu = dumbbells(2500, 40_000, 2500)
	require.Equal(t, prescribe.TextAboveCoarse, prescribe.Contingencies(in, do(t, in))[1].TextID)

	rapid.Check(t, func(t *rapid.T) {
		in := anyInput(t)
		out, err := prescribe.Exercise(in)
		require.NoError(t, err)
		for _, c := range prescribe.Contingencies(in, out) {
			require.NotEmpty(t, c.Says)
			require.NotContains(t, c.Says, "{")
			require.NotContains(t, c.Says, "  ")
		}
		for _, said := range []string{out.Note, out.Off} {
			require.NotContains(t, said, "{")
			require.NotContains(t, said, "  ")
		}
	})
}

func TestRefusesWhatNoStageShouldSend(t *testing.T) {
	good := request(t, "bench-press", 100_000, sets(3, 5, 5, rir(2), 180))
	for name, spoil := range map[string]func(*prescribe.Input){
		"exercise":      func(in *prescribe.Input) { in.Exercise = nil },
		"athlete.curve": func(in *prescribe.Input) { in.Athlete.Curve = nil },
		"athlete":       func(in *prescribe.Input) { in.Athlete.OneRMGrams = -1 },
		"schemes.sets":  func(in *prescribe.Input) { in.Schemes[0].Sets = plan.ScaledSets(2, 4) },
		"schemes.reps":  func(in *prescribe.Input) { in.Schemes[0].Reps = plan.Range{Min: 8, Max: 5} },
	} {
		in := good
		in.Schemes = append([]plan.Scheme(nil), good.Schemes...)
		spoil(&in)
		_, err := prescribe.Exercise(in)
		f, ok := fault.As(err)
		require.True(t, ok, name)
		require.Equal(t, fault.Internal, f.Kind)
		require.Equal(t, name, f.Violations[0].Field)
	}
}

func BenchmarkExercise(b *testing.B) {
	ex, _ := exercise.Builtin().ByID("bench-press")
	c, err := load.CurveFor(string(ex.Curve))
	require.NoError(b, err)
	for _, bench := range []struct {
		name   string
		scheme plan.Scheme
	}{{"range", sets(4, 8, 12, rir(2), 120)}, {"falling", sets(4, 8, 12, failure(), 60)}} {
		b.Run(bench.name, func(b *testing.B) {
			in := prescribe.Input{
				Exercise: ex, Role: ex.Role, Schemes: []plan.Scheme{bench.scheme}, Menu: menu(ex, gym(plan.Kilogram)),
				Athlete: prescribe.Athlete{OneRMGrams: 100_000, Curve: c}, Limits: prescribe.Limits{Failure: true}, Warmup: true,
			}
			b.ReportAllocs()
			for b.Loop() {
				if _, err := prescribe.Exercise(in); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// A share of nothing is no load to look up on the day: the empty machine is the load.
func TestEmptyMachineIsNotDeferred(t *testing.T) {
	after := plan.Effort{RIR: plan.Some(int32(2)), Reference: plan.Reference{Kind: plan.RefEstimate, Name: "the test of week 4"}}
	in := request(t, "leg-press", 60_000, sets(2, 23, 28, after, 90))
	m := load.MenuFor(in.Exercise.Loading, in.Exercise.Bar, &plan.Place{ID: "gym", Plates: []plan.PlateStock{{Mass: plan.Kg(44_000), Count: 2}}})
	in.Menu = &m
	for _, s := range working(do(t, in)) {
		require.Equal(t, plan.Some(plan.Kg(0)), s.Load)
		require.False(t, s.Deferred.Set)
	}

	in.Athlete.OneRMGrams = 240_000 // twice 44 kg are a share
	for _, s := range working(do(t, in)) {
		require.Equal(t, plan.Some(plan.Kg(88_000)), s.Load)
		require.Equal(t, plan.Permille(367), s.Deferred.Value.Share)
	}
}

// A low cap asks for a large reserve where the load is chosen by it, but for none that
// can't be meant; a load that is a share keeps the cap without.
func TestUnknownStrengthUnderCap(t *testing.T) {
	open := sets(1, 6, 6, plan.Effort{Intensity: plan.Some(plan.Permille(850)), RIR: plan.Some(int32(3)), Reference: plan.Reference{Kind: plan.RefRM, RM: 6}}, 180)
	open.OpenEnded = true
	in := request(t, "hack-squat", 0, sets(1, 6, 6, rir(4), 120), open)
	in.Menu, in.Limits = nil, prescribe.Limits{MinRIR: 3, MaxIntensity: 600}
	w := working(do(t, in))
	require.Equal(t, int32(20), w[0].RIR.Value)
	require.Equal(t, int32(3), w[1].RIR.Value)
	require.Equal(t, plan.Permille(600), w[1].Deferred.Value.Share)
}
