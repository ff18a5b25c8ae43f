package remote_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/strategies/remote/remotetest"
	"github.com/phasewright/phasewright/strategies/undulating"
)

// BenchmarkProgram makes 12 weeks of 4 days with a strategy of this process and with the
// same one behind a socket of this machine; BenchmarkOutline is the strategy's part alone.
func BenchmarkProgram(b *testing.B) {
	catalogue, err := exercise.Load()
	require.NoError(b, err)
	r := plan.Request{
		Athlete: plan.Athlete{Age: plan.AgeAdult, Status: plan.Intermediate},
		Constraints: plan.Constraints{
			Days:   []plan.Day{{Minutes: 60}, {Minutes: 60}, {Minutes: 60}, {Minutes: 60}},
			Weeks:  plan.Some(int32(12)),
			Places: []plan.Place{{Preset: plan.PresetFullGym}},
		},
		Plan: plan.Plan{Tracks: []plan.Track{{Segments: []plan.Segment{{Strategy: "undulating"}}}}},
	}
	for name, s := range both(b) {
		registry, err := engine.NewRegistry(s)
		require.NoError(b, err)
		e := engine.New(registry, catalogue)
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				_, err := e.Generate(b.Context(), r)
				require.NoError(b, err)
			}
		})
	}
}

func BenchmarkOutline(b *testing.B) {
	for name, s := range both(b) {
		in, err := s.Parse(nil)
		require.NoError(b, err)
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				_, err := in.Outline(b.Context(), twelve())
				require.NoError(b, err)
			}
		})
	}
}

func both(b *testing.B) map[string]engine.Strategy {
	local := undulating.Strategy{}
	return map[string]engine.Strategy{"here": local, "away": connect(b, (&remotetest.Plugin{Strategy: local}).Serve(b))}
}
