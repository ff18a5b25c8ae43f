package prescribe_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/prescribe"
)

// assisted is pull-ups of somebody of 80 kg on a counterweight of 5 to 70 kg.
func assisted(t require.TestingT, oneRM int64, schemes ...plan.Scheme) prescribe.Input {
	in := request(t, "assisted-pull-up", oneRM, schemes...)
	m := load.StackMenu(plan.Stack{Kind: plan.AssistedPullUpMachine, First: plan.Kg(5000), Step: plan.Kg(5000), Last: plan.Kg(100_000)}).Help(80_000)
	in.Menu = &m
	return in
}

// Less help is the heavier set: warm-up sets have more than the work, missed repetitions
// ask for more, repetitions beyond the range for less.
func TestHelpIsALoadThatFalls(t *testing.T) {
	in := assisted(t, 70_000, sets(3, 6, 8, rir(2), 150))
	require.Equal(t, plan.Kg(70_000), in.Menu.At(in.Menu.Len()-1).Load, "nine tenths of 80 kg are 72 kg")
	out, err := prescribe.Exercise(in)
	require.NoError(t, err)
	warm := int64(1 << 60)
	var first *plan.Set
	for i := range out.Sets {
		s := &out.Sets[i]
		require.True(t, s.Load.Set)
		require.Equal(t, plan.Permille(((80_000-s.Load.Value.Grams())*1000+35_000)/70_000), s.Intensity.Value)
		if s.Kind == plan.SetWarmup {
			require.Less(t, s.Load.Value.Milli, warm, "less help from set to set")
			warm = s.Load.Value.Milli
		} else if first == nil {
			first = s
		}
	}
	require.Greater(t, warm, first.Load.Value.Milli)
	require.Less(t, warm, int64(1<<60), "there is a warm-up")
	c := prescribe.Contingencies(in, out)
	require.Equal(t, prescribe.TextMissedHelp, c[0].TextID)
	require.Equal(t, plan.Some(plan.Kg(5000)), c[0].Change)
	require.Contains(t, c[0].Says, "set 5 kg more help, "+plan.Kg(first.Load.Value.Milli+5000).String())
	require.Equal(t, prescribe.TextAboveHelp, c[1].TextID)
	require.Equal(t, plan.Some(plan.Kg(-5000)), c[1].Change)
	require.Contains(t, c[1].Says, "set 5 kg less help, "+plan.Kg(first.Load.Value.Milli-5000).String())
}

// Where the least help is left, the free version is next.
func TestTheLeastHelpLeadsToNone(t *testing.T) {
	in := assisted(t, 110_000, sets(3, 5, 8, rir(2), 150))
	out, err := prescribe.Exercise(in)
	require.NoError(t, err)
	require.Equal(t, plan.Kg(5000), out.Sets[len(out.Sets)-1].Load.Value)
	require.Contains(t, out.Note, "do the exercise without help")
	require.Contains(t, out.Off, "body mass less 5 kg")
	require.Equal(t, prescribe.TextAboveLastHelp, prescribe.Contingencies(in, out)[1].TextID)
}

// Planned growth shows as repetitions, then as one step less help.
func TestHelpGoesOnStepByStep(t *testing.T) {
	s := sets(3, 6, 10, rir(2), 150)
	s.Progress.Kind = plan.ProgressRepsThenLoad
	in := assisted(t, 62_000, s)
	help := plan.Kg(80_000)
	for week := range 12 {
		out, err := prescribe.Exercise(in)
		require.NoError(t, err)
		now := out.Sets[len(out.Sets)-1].Load.Value
		require.LessOrEqual(t, now.Milli, help.Milli)
		if week > 0 {
			require.LessOrEqual(t, help.Milli-now.Milli, int64(5000))
		}
		help = now
		in.Before = out.Loads
		in.Athlete.OneRMGrams += in.Athlete.OneRMGrams / 66
	}
	require.LessOrEqual(t, help.Milli, int64(25_000))
	require.Positive(t, help.Milli)
}

// Of unknown strength the first session looks for the help from about half the body mass,
// and later sets are shares of what was moved then.
func TestHelpIsFound(t *testing.T) {
	in := assisted(t, 0, sets(3, 8, 10, rir(2), 120))
	in.Calibrate = true
	out, err := prescribe.Exercise(in)
	require.NoError(t, err)
	require.Contains(t, out.Note, "about 40 kg of help")
	require.NotContains(t, out.Note, "{")
	found := 0
	for _, s := range out.Sets {
		require.False(t, s.Load.Set, "nothing is invented")
		if s.Kind == plan.SetCalibration {
			found++
		}
	}
	require.Equal(t, 1, found)
	in.Calibrate, in.CalibratedTenths, in.GrowthPermille = false, 120, 1020
	out, err = prescribe.Exercise(in)
	require.NoError(t, err)
	for _, s := range out.Sets {
		require.Equal(t, plan.RefCalibration, s.Deferred.Value.Reference.Kind)
	}
}

// Without the body mass nobody knows what help leaves to lift.
func TestHelpNeedsTheBodyMass(t *testing.T) {
	in := assisted(t, 0, sets(3, 8, 10, rir(2), 120))
	in.Athlete.BodyGrams = 0
	out, err := prescribe.Exercise(in)
	require.NoError(t, err)
	require.Contains(t, out.Note, "less help is more load")
	require.False(t, out.Sets[0].Load.Set || out.Sets[0].Deferred.Set)
}
