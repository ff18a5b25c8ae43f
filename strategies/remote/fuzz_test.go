package remote_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	sp "github.com/phasewright/phasewright/gen/phasewright/strategy/v1"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/wire"
	"github.com/phasewright/phasewright/strategies"
	"github.com/phasewright/phasewright/strategies/remote"
)

// answers is a strategy that answers with an outline.
type answers struct {
	d plan.Descriptor
	o plan.Outline
}

func (a answers) Describe() plan.Descriptor                   { return a.d }
func (a answers) Parse([]plan.Param) (engine.Instance, error) { return a, nil }
func (a answers) Outline(context.Context, plan.OutlineRequest) (plan.Outline, error) {
	return a.o, nil
}

// FuzzPluginAnswer: whatever comes back is a fault of a kind that a plug-in may cause, or an
// outline; and with that the engine makes a program without a violation, or refuses it for
// a reason of the athlete's.
func FuzzPluginAnswer(f *testing.F) {
	d := plan.Descriptor{Name: "fuzzed", Version: "1", Says: "s", Claims: "c", MinWeeks: 1, MaxWeeks: 52, External: true}
	asked := plan.OutlineRequest{Weeks: 2, Sessions: []int32{1, 1}, Status: plan.Intermediate, Strength: true, Size: true, Seed: 7}
	for _, s := range strategies.Builtin() {
		in, err := s.Parse(nil)
		require.NoError(f, err)
		long := asked
		long.Weeks, long.Sessions = max(2, s.Describe().MinWeeks), nil
		for range long.Weeks {
			long.Sessions = append(long.Sessions, 1)
		}
		o, err := in.Outline(f.Context(), long)
		require.NoError(f, err)
		o.Strategy = d.ID()
		for i := range o.Phases { // the first two weeks
			o.Phases[i].Weeks = o.Phases[i].Weeks[:min(2, len(o.Phases[i].Weeks))]
		}
		o.Phases = o.Phases[:1]
		raw, err := proto.Marshal(&sp.OutlineResponse{Outline: wire.OutlineToProto(&o)})
		require.NoError(f, err)
		f.Add(raw)
	}
	refusal, err := proto.Marshal(&sp.OutlineResponse{Refusals: []*sp.Refusal{{Field: "weeks", Reason: "R", Description: "s"}}})
	require.NoError(f, err)
	f.Add(refusal)
	catalogue, err := exercise.Load()
	require.NoError(f, err)
	request := plan.Request{
		Athlete: plan.Athlete{Age: plan.AgeAdult, Status: plan.Intermediate},
		Constraints: plan.Constraints{
			Days: []plan.Day{{Minutes: 25}}, Weeks: plan.Some(int32(2)),
			Places: []plan.Place{{Preset: plan.PresetFullGym}},
		},
		Plan: plan.Plan{Tracks: []plan.Track{{Segments: []plan.Segment{{Strategy: "fuzzed"}}}}},
	}
	f.Fuzz(func(t *testing.T, raw []byte) {
		o, err := remote.ReadAnswer(raw, d, asked)
		if err != nil {
			x, ok := fault.As(err)
			require.True(t, ok)
			require.Contains(t, []fault.Kind{fault.Broken, fault.Invalid, fault.Unavailable}, x.Kind)
			return
		}
		require.NoError(t, engine.CheckOutline(&o, asked))
		registry, err := engine.NewRegistry(answers{d, o})
		require.NoError(t, err)
		p, err := engine.New(registry, catalogue).WithBudget(100).Generate(t.Context(), request)
		if err != nil {
			x, ok := fault.As(err)
			require.True(t, ok)
			require.Contains(t, []fault.Kind{fault.Infeasible, fault.Invalid, fault.Refused}, x.Kind, "%s\n%s", err, wire.OutlineToProto(&o))
			return
		}
		for _, finding := range p.Findings {
			require.NotEqual(t, plan.LevelViolation, finding.Level, finding.Says)
		}
	})
}
