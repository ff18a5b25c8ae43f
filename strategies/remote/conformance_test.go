package remote_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	sp "github.com/phasewright/phasewright/gen/phasewright/strategy/v1"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/strategytest"
	"github.com/phasewright/phasewright/strategies"
	"github.com/phasewright/phasewright/strategies/remote"
	"github.com/phasewright/phasewright/strategies/remote/remotetest"
)

func connect(t testing.TB, address string) *remote.Strategy {
	p, err := remote.New(remote.Config{Address: address})
	require.NoError(t, err)
	t.Cleanup(func() { _ = p.Close() })
	s, err := p.Connect(t.Context())
	require.NoError(t, err)
	return s
}

// TestConformance: what passes in this process passes from another one.
func TestConformance(t *testing.T) {
	for _, s := range strategies.Builtin() {
		t.Run(s.Describe().Name, func(t *testing.T) {
			if testing.Short() && s.Describe().Name != "undulating" {
				t.Skip("one is enough in short")
			}
			address := (&remotetest.Plugin{Strategy: s}).Serve(t)
			strategytest.Run(t, func() engine.Strategy { return connect(t, address) })
		})
	}
}

// A plug-in is asked about weeks, status and wishes: nothing that says who it is for.
func TestPluginsAreToldOfNobody(t *testing.T) {
	var told []string
	fields := (&sp.OutlineRequest{}).ProtoReflect().Descriptor().Fields()
	for i := range fields.Len() {
		told = append(told, string(fields.Get(i).Name()))
	}
	require.Equal(t, []string{"strategy", "parameters", "sessions", "status", "strength", "size", "seed"}, told)
}

// Nothing of a built-in strategy is lost on the way.
func TestNothingIsLost(t *testing.T) {
	for _, local := range strategies.Builtin() {
		there := connect(t, (&remotetest.Plugin{Strategy: local}).Serve(t))
		d := local.Describe()
		d.External = true
		require.Equal(t, d, there.Describe())
		var all []plan.Param
		for _, p := range d.Params {
			all = append(all, plan.Param{Name: p.Name, Value: p.Default})
		}
		for _, params := range [][]plan.Param{nil, all} {
			here, err := local.Parse(params)
			require.NoError(t, err)
			away, err := there.Parse(params)
			require.NoError(t, err)
			r := plan.OutlineRequest{Weeks: 12, Sessions: []int32{3, 3, 2, 4, 3, 3, 0, 3, 3, 7, 3, 1}, Status: plan.Advanced, Strength: true, Size: true, Seed: 4_294_967_295}
			want, err := here.Outline(t.Context(), r)
			require.NoError(t, err)
			got, err := away.Outline(t.Context(), r)
			require.NoError(t, err)
			require.Equal(t, want, got, d.Name)
		}
	}
}
