// Package remotetest serves a strategy of this process as a plug-in, honest or with one
// fault, for the tests of whatever speaks to plug-ins.
package remotetest

import (
	"context"
	"net"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"

	sp "github.com/phasewright/phasewright/gen/phasewright/strategy/v1"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/wire"
)

// Plugin answers for a strategy. A hook, where set, changes an answer on its way out.
type Plugin struct {
	sp.UnimplementedStrategyPluginServiceServer
	Strategy engine.Strategy
	Name     string // in place of the strategy's own

	OnHandshake func(context.Context, *sp.HandshakeResponse) error
	OnDescribe  func(context.Context, *sp.DescribeResponse) error
	OnOutline   func(context.Context, *sp.OutlineRequest, *sp.OutlineResponse) error
}

// Describe gives the descriptor that the plug-in answers with.
func (p *Plugin) descriptor() plan.Descriptor {
	d := p.Strategy.Describe()
	if p.Name != "" {
		d.Name = p.Name
	}
	return d
}

// Handshake speaks version 1.
func (p *Plugin) Handshake(ctx context.Context, _ *sp.HandshakeRequest) (*sp.HandshakeResponse, error) {
	a := &sp.HandshakeResponse{ProtocolVersions: []int32{1}}
	if p.OnHandshake != nil {
		return a, p.OnHandshake(ctx, a)
	}
	return a, nil
}

// Describe answers with the strategy's descriptor.
func (p *Plugin) Describe(ctx context.Context, _ *sp.DescribeRequest) (*sp.DescribeResponse, error) {
	d := p.descriptor()
	a := &sp.DescribeResponse{Description: wire.DescriptionToProto(&d)}
	if p.OnDescribe != nil {
		return a, p.OnDescribe(ctx, a)
	}
	return a, nil
}

// Outline answers with the strategy's outline, or with its fault as refusals.
func (p *Plugin) Outline(ctx context.Context, q *sp.OutlineRequest) (*sp.OutlineResponse, error) {
	a := &sp.OutlineResponse{}
	d := p.descriptor()
	id, params, r, err := wire.OutlineRequestFromProto(q)
	if err == nil && id != d.ID() {
		err = fault.New(fault.Invalid, "OTHER_VERSION", "strategy", "is "+d.ID()+" by now")
	}
	var in engine.Instance
	if err == nil {
		in, err = p.Strategy.Parse(params)
	}
	if err == nil {
		var o plan.Outline
		if o, err = in.Outline(ctx, r); err == nil {
			o.Strategy = d.ID()
			a.Outline = wire.OutlineToProto(&o)
		}
	}
	if f, ok := fault.As(err); ok && f.Kind == fault.Invalid {
		a.Refusals, err = wire.RefusalsToProto(f.Violations), nil
	}
	if err != nil {
		return nil, err
	}
	if p.OnOutline != nil {
		return a, p.OnOutline(ctx, q, a)
	}
	return a, nil
}

// Serve answers on a port of this machine until the test ends, and gives the address.
func (p *Plugin) Serve(t testing.TB, options ...grpc.ServerOption) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	stop := p.On(l, options...)
	t.Cleanup(stop)
	return l.Addr().String()
}

// On answers on a listener; the function it gives ends that at once.
func (p *Plugin) On(l net.Listener, options ...grpc.ServerOption) func() {
	s := grpc.NewServer(options...)
	sp.RegisterStrategyPluginServiceServer(s, p)
	go func() { _ = s.Serve(l) }()
	return s.Stop
}
