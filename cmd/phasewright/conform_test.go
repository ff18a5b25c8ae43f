package main

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	sp "github.com/phasewright/phasewright/gen/phasewright/strategy/v1"

	"github.com/phasewright/phasewright/strategies/constant"
	"github.com/phasewright/phasewright/strategies/remote/remotetest"
)

func TestConform(t *testing.T) {
	r := run(t, "", "conform", (&remotetest.Plugin{Strategy: constant.Strategy{}}).Serve(t))
	require.Equal(t, exitOK, r.code, r.out+r.err)
	require.Contains(t, r.out, "constant@1 at 127.0.0.1:")
	require.Contains(t, r.out, "kept    rotation     goes on with its rotation")
	require.Contains(t, r.out, "15 of 15 laws kept")
	require.NotContains(t, r.out, "BROKEN")
}

func TestConformNamesTheFault(t *testing.T) {
	short := &remotetest.Plugin{Strategy: constant.Strategy{}, OnOutline: func(_ context.Context, q *sp.OutlineRequest, a *sp.OutlineResponse) error {
		if ph := a.Outline.GetPhases(); len(q.GetSessions()) == 9 {
			ph[0].Weeks = ph[0].Weeks[1:]
		}
		return nil
	}}
	r := run(t, "", "conform", short.Serve(t))
	require.Equal(t, exitViolations, r.code, r.err)
	require.Contains(t, r.out, "BROKEN  weeks")
	require.Contains(t, r.out, "outline.phases: hold 8 weeks; 9 were asked for")
	require.Contains(t, r.out, "BROKEN  concurrent")
	require.Contains(t, r.out, "13 of 15 laws kept")

	n := int32(3)
	shifty := &remotetest.Plugin{Strategy: constant.Strategy{}, OnDescribe: func(_ context.Context, a *sp.DescribeResponse) error {
		n++
		a.Description.MaxWeeks = n
		return nil
	}}
	r = run(t, "", "conform", shifty.Serve(t))
	require.Equal(t, exitViolations, r.code, r.err)
	require.Contains(t, r.out, "description: differs from call to call")
}

func TestConformAddresses(t *testing.T) {
	for args, want := range map[string]string{"nowhere": "is not HOST:PORT", "strategies.example:7100": "tls://strategies.example:7100"} {
		r := run(t, "", "conform", args)
		require.Equal(t, exitInvalid, r.code)
		require.Contains(t, r.err, want)
	}
	r := run(t, "", "conform", "127.0.0.1:1", "--timeout", "2s")
	require.Equal(t, exitUnavailable, r.code)
	require.Contains(t, r.err, "does not answer")
}
