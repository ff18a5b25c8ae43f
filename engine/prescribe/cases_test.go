package prescribe_test

import (
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/prescribe"
)

var rewrite = flag.Bool("rewrite", false, "rewrite the worked cases")

// TestWorkedCases prints cases that a coach can read and check; -rewrite renews them.
func TestWorkedCases(t *testing.T) {
	var b strings.Builder
	for _, c := range workedCases(t) {
		out, err := prescribe.Exercise(c.in)
		require.NoError(t, err, c.name)
		b.WriteString("== " + c.name + "\n" + show(c.in, out))
		for _, x := range out.Basis {
			if x.Number == plan.NumberLoad {
				b.WriteString("   " + string(x.Rule) + ": " + x.Input + "\n")
			}
		}
		for _, x := range prescribe.Contingencies(c.in, out)[:2] {
			b.WriteString("   if: " + x.Says + "\n")
		}
		b.WriteString("\n")
	}
	path := filepath.Join("testdata", "cases.txt")
	if *rewrite {
		require.NoError(t, os.WriteFile(path, []byte(b.String()), 0o600))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	wanted, got := strings.Split(string(want), "\n\n"), strings.Split(b.String(), "\n\n")
	require.Len(t, got, len(wanted))
	for i := range got {
		require.Equal(t, wanted[i], got[i])
	}
}

type worked struct {
	name string
	in   prescribe.Input
}

func workedCases(t *testing.T) []worked {
	goal := func(in prescribe.Input) prescribe.Input {
		in.Role = plan.GoalLift
		return in
	}
	with := func(in prescribe.Input, f func(*prescribe.Input)) prescribe.Input { f(&in); return in }
	ofRM := func(p plan.Permille, rm int32) plan.Effort {
		return plan.Effort{Intensity: plan.Some(p), Reference: plan.Reference{Kind: plan.RefRM, RM: rm}}
	}
	open := sets(1, 1, 6, ofRM(1000, 6), 180)
	open.OpenEnded, open.Effort.ToFailure = true, true
	adjusted := sets(1, 1, 6, plan.Effort{ToFailure: true, Reference: plan.Reference{Kind: plan.RefSetBefore}}, 180)
	adjusted.OpenEnded = true
	adjusted.Adjust = []plan.AdjustStep{{Reps: plan.Range{Min: 0, Max: 2}, From: -10_000, To: -5000, Unit: plan.Pound}}
	hold := plan.Scheme{Kind: plan.SetWorking, Sets: plan.FixedSets(3), Hold: plan.Range{Min: 20, Max: 40}, Rest: 60}
	oneKettlebell := load.HeldMenu([]plan.HeldStock{{Mass: plan.Kg(16_000), Count: 1}}, 1)

	return []worked{
		{"squat 1RM 140 kg, 5 x 5, RIR 2, rest 3:00", goal(request(t, "back-squat", 140_000, sets(5, 5, 5, rir(2), 180)))},
		{"the same in pounds, 1RM 315 lb", with(goal(request(t, "back-squat", 142_882, sets(5, 5, 5, rir(2), 180))), func(in *prescribe.Input) {
			in.Menu = menu(in.Exercise, gym(plan.Pound))
		})},
		{"squat 1RM 140 kg, 4 x 1-3 to failure, rest 3:00", goal(request(t, "back-squat", 140_000, sets(4, 1, 3, failure(), 180)))},
		{"the same, alone and without safeties", with(goal(request(t, "back-squat", 140_000, sets(4, 1, 3, failure(), 180))), func(in *prescribe.Input) {
			in.Limits = prescribe.Limits{MinRIR: 2}
		})},
		{"squat 1RM 140 kg, 3 x 3 RIR 2 and 1 x 10 RIR 1", goal(request(t, "back-squat", 140_000, sets(3, 3, 3, rir(2), 240), sets(1, 10, 10, rir(1), 180)))},
		{"bench press 1RM 100 kg, 4 x 8-12 to failure, rest 1:00", request(t, "bench-press", 100_000, sets(4, 8, 12, failure(), 60))},
		{"bench press 1RM 100 kg, 4 x 8-12, RIR 2, rest 2:00", request(t, "bench-press", 100_000, sets(4, 8, 12, rir(2), 120))},
		{"bench press 1RM 100 kg, 3 x 8 at 80 %, rest 3:00", request(t, "bench-press", 100_000, sets(3, 8, 8, share(800), 180))},
		{"bench press 1RM 100 kg, 3 x 3-5 RIR 1, no screening", with(request(t, "bench-press", 100_000, sets(3, 3, 5, rir(1), 180)), func(in *prescribe.Input) {
			in.Limits = prescribe.Limits{MinRIR: 2, MaxIntensity: 799}
		})},
		{"bench press, 10 at 50 %, 6 at 75 % of the 6RM, two sets to failure", request(t, "bench-press", 100_000,
			sets(1, 10, 10, ofRM(500, 6), 120), sets(1, 6, 6, ofRM(750, 6), 120), open, adjusted)},
		{"lateral raise 1RM 14 kg, dumbbells by 2.5 kg, 3 x 8-12", with(request(t, "lateral-raise", 14_000, sets(3, 8, 12, rir(2), 90)), func(in *prescribe.Input) {
			in.Menu = dumbbells(2500, 40_000, 2500)
		})},
		{"lateral raise 1RM 14 kg, dumbbells by 2.5 kg, 3 x 10-15", with(request(t, "lateral-raise", 14_000, sets(3, 10, 15, rir(2), 90)), func(in *prescribe.Input) {
			in.Menu = dumbbells(2500, 40_000, 2500)
		})},
		{"pull-up, 80 kg, 12 possible, 4 x 6-10", with(request(t, "pull-up", 0, sets(4, 6, 10, rir(2), 150)), func(in *prescribe.Input) { in.Athlete.FreeRepsTenths = 120 })},
		{"pull-up, 80 kg, 12 possible, 4 x 3-5", with(request(t, "pull-up", 0, sets(4, 3, 5, rir(2), 180)), func(in *prescribe.Input) { in.Athlete.FreeRepsTenths = 120 })},
		{"pull-up, 80 kg, 6 possible, 3 x 8-12", with(request(t, "pull-up", 0, sets(3, 8, 12, rir(2), 120)), func(in *prescribe.Input) { in.Athlete.FreeRepsTenths = 60 })},
		{"push-up, 18 possible, 3 x 8-20", with(request(t, "push-up", 0, sets(3, 8, 20, rir(2), 90)), func(in *prescribe.Input) { in.Athlete.FreeRepsTenths = 180 })},
		{"goblet squat 1RM 60 kg, one 16-kg bell", with(request(t, "kettlebell-goblet-squat", 60_000, sets(3, 8, 12, rir(2), 120)), func(in *prescribe.Input) { in.Menu = &oneKettlebell })},
		{"the same, repetitions may go to 30", with(request(t, "kettlebell-goblet-squat", 60_000, sets(3, 8, 12, rir(2), 120)), func(in *prescribe.Input) {
			in.Menu, in.Limits.Stretch = &oneKettlebell, 30
		})},
		{"squat of unknown strength, first week", with(goal(request(t, "back-squat", 0, sets(3, 8, 12, rir(2), 120))), func(in *prescribe.Input) { in.Calibrate = true })},
		{"and two weeks later, 3 x 6-8", with(goal(request(t, "back-squat", 0, sets(3, 6, 8, rir(2), 150))), func(in *prescribe.Input) {
			in.CalibratedTenths, in.GrowthPermille = 130, 1020
		})},
		{"split squat 1RM 40 kg a hand, 3 x 6-10", request(t, "split-squat", 40_000, sets(3, 6, 10, rir(3), 120))},
		{"band row, 3 x 12-15", request(t, "band-row", 0, sets(3, 12, 15, rir(2), 75))},
		{"side plank, 3 x 20-40 s", request(t, "side-plank", 0, hold)},
	}
}
