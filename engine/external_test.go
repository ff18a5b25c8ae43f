package engine_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/strategies"
	"github.com/phasewright/phasewright/strategies/linear"
)

// away is a strategy of another process: linear under another name, which counts what it
// is asked and fails on demand.
type away struct {
	engine.Strategy
	asked *int
	fails *error
}

func newAway() away {
	var fails error
	return away{linear.New(), new(int), &fails}
}

func (a away) Describe() plan.Descriptor {
	d := a.Strategy.Describe()
	d.Name, d.External = "away", true
	return d
}

func (a away) Parse(params []plan.Param) (engine.Instance, error) {
	in, err := a.Strategy.Parse(params)
	return awayInstance{a, in}, err
}

type awayInstance struct {
	away
	engine.Instance
}

func (a awayInstance) Outline(ctx context.Context, r plan.OutlineRequest) (plan.Outline, error) {
	*a.asked++
	if *a.fails != nil {
		return plan.Outline{}, *a.fails
	}
	o, err := a.Instance.Outline(ctx, r)
	o.Strategy = "away@1"
	return o, err
}

func engineWith(t *testing.T, registry engine.Registry) *engine.Engine {
	catalogue, err := exercise.Load()
	require.NoError(t, err)
	return engine.New(registry, catalogue)
}

func registryOf(t *testing.T, list ...engine.Strategy) engine.Registry {
	r, err := engine.NewRegistry(append(strategies.Builtin(), list...)...)
	require.NoError(t, err)
	return r
}

func awayRequest() plan.Request {
	r := fit()
	r.Plan.Deload = plan.Some(plan.Deload{EveryWeeks: 4, Keep: 500})
	r.Plan.Tracks = []plan.Track{{Segments: []plan.Segment{{Strategy: "away"}}}}
	return r
}

// The program keeps what the strategy answered, as it answered; with that it is made
// again, to the byte, when the strategy is gone.
func TestExternalOutlineStaysInTheProgram(t *testing.T) {
	ctx := context.Background()
	a := newAway()
	there := engineWith(t, registryOf(t, a))
	p, err := there.Generate(ctx, awayRequest())
	require.NoError(t, err)
	require.Equal(t, 1, *a.asked)
	require.Len(t, p.External, 1)
	require.Equal(t, "away@1", p.External[0].Descriptor.ID())
	require.Len(t, p.External[0].Outlines, 1)
	kept := &p.External[0].Outlines[0]
	require.NoError(t, engine.CheckOutline(&kept.Outline, kept.Asked))
	in, err := a.Strategy.Parse(kept.Params)
	require.NoError(t, err)
	fresh, err := in.Outline(ctx, kept.Asked)
	require.NoError(t, err)
	fresh.Strategy = "away@1"
	require.Equal(t, fresh, kept.Outline, "what wraps the strategy, as deload weeks, changes a copy")

	own, err := there.Generate(ctx, func() plan.Request { r := awayRequest(); r.Plan.Tracks[0].Segments[0].Strategy = "linear"; return r }())
	require.NoError(t, err)
	require.Nil(t, own.External)
	require.Equal(t, own.Phases, p.Phases, "where a strategy runs changes nothing")

	how := plan.Rework{FromWeek: 3, Locks: []plan.Lock{{Weekday: p.Phases[0].Weeks[0].Sessions[0].Weekday}}}
	want, err := there.Rework(ctx, &p, p.Request, how)
	require.NoError(t, err)
	require.Equal(t, 1, *a.asked, "nothing is asked twice")
	for name, gone := range map[string]engine.Registry{
		"unknown":         registryOf(t),
		"absent":          registryOf(t).WithAbsent("away", "is not reached"),
		"another version": registryOf(t, other{newAway()}),
	} {
		again, err := engineWith(t, gone).Rework(ctx, &p, p.Request, how)
		require.NoError(t, err, name)
		require.Equal(t, want.Digest, again.Digest, name)
		require.Equal(t, p.External, again.External, name)
	}
}

// other is a newer version.
type other struct{ away }

func (o other) Describe() plan.Descriptor {
	d := o.away.Describe()
	d.Version = "2"
	return d
}

// What was not planned has to be asked for, and another answer than the strategy's is none.
func TestExternalStrategyThatIsGone(t *testing.T) {
	ctx := context.Background()
	p, err := engineWith(t, registryOf(t, newAway())).Generate(ctx, awayRequest())
	require.NoError(t, err)
	longer := p.Request
	longer.Constraints.Weeks = plan.Some(longer.Constraints.Weeks.Value + 2)
	longer.Plan.Tracks = []plan.Track{{Segments: []plan.Segment{{Strategy: "away@1"}}}}
	gone := engineWith(t, registryOf(t).WithAbsent("away", "away is not reached"))
	_, err = gone.Rework(ctx, &p, longer, plan.Rework{})
	requireAbsent(t, err, "plan.tracks[0].segments[0].strategy")
	_, err = gone.Generate(ctx, awayRequest())
	requireAbsent(t, err, "plan.tracks[0].segments[0].strategy")
	_, err = gone.Strategy("away")
	requireAbsent(t, err, "strategy")
	for _, d := range gone.Strategies() {
		require.NotEqual(t, "away", d.Name)
	}
	r := awayRequest()
	r.Plan.Tracks[0].Segments[0].Strategy = "linear"
	_, err = gone.Generate(ctx, r)
	require.NoError(t, err)
}

func requireAbsent(t *testing.T, err error, field string) {
	t.Helper()
	f, ok := fault.As(err)
	require.True(t, ok, "%v", err)
	require.Equal(t, fault.Unavailable, f.Kind)
	require.Equal(t, field, f.Violations[0].Field)
	require.Equal(t, engine.ReasonStrategyAbsent, f.Violations[0].Reason)
	require.Contains(t, f.Violations[0].Says, "not reached")
}

// A base without its outlines, and a strategy that does not answer: the program made again
// would be another one than with it, so there is none.
func TestReworkEndsWhereAStrategyDoesNotAnswer(t *testing.T) {
	ctx := context.Background()
	a := newAway()
	e := engineWith(t, registryOf(t, a))
	p, err := e.Generate(ctx, awayRequest())
	require.NoError(t, err)
	p.External = nil
	r := p.Request
	r.Plan.Tracks = []plan.Track{{Segments: []plan.Segment{{Strategy: "linear"}}}}
	for _, kind := range []fault.Kind{fault.Unavailable, fault.Canceled} {
		*a.fails = fault.New(kind, "GONE", "", "gone")
		_, err = e.Rework(ctx, &p, r, plan.Rework{FromWeek: 2})
		f, ok := fault.As(err)
		require.True(t, ok)
		require.Equal(t, kind, f.Kind)
	}
}

func TestRecordedOutlinesAreChecked(t *testing.T) {
	ctx := context.Background()
	e := engineWith(t, registryOf(t, newAway()))
	for field, spoil := range map[string]func(*plan.External){
		"program.external_strategies[0].description.min_weeks": func(x *plan.External) { x.Descriptor.MinWeeks = 0 },
		"program.external_strategies[0].outlines[0].outline.phases[0].weeks[0].dose_percent": func(x *plan.External) {
			x.Outlines[0].Outline.Phases[0].Weeks[0].Dose = -1
		},
	} {
		p, err := e.Generate(ctx, awayRequest())
		require.NoError(t, err)
		spoil(&p.External[0])
		_, err = e.Rework(ctx, &p, p.Request, plan.Rework{})
		f, ok := fault.As(err)
		require.True(t, ok)
		require.Equal(t, fault.Invalid, f.Kind)
		require.Equal(t, field, f.Violations[0].Field)
	}
}

func TestBuiltinsPassAsDescriptions(t *testing.T) {
	for _, s := range strategies.Builtin() {
		d := s.Describe()
		require.NoError(t, engine.CheckDescriptor(&d), d.Name)
	}
}
