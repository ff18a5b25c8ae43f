package remote_test

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"net"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protowire"

	sp "github.com/phasewright/phasewright/gen/phasewright/strategy/v1"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/strategies/constant"
	"github.com/phasewright/phasewright/strategies/remote"
	"github.com/phasewright/phasewright/strategies/remote/remotetest"
)

// patience is enough for a plug-in of a busy machine to make a hundred megabytes.
const patience = 20 * time.Second

func connectTo(t testing.TB, p *remotetest.Plugin) (*remote.Strategy, error) {
	return connectFor(t, p, patience)
}

func connectFor(t testing.TB, p *remotetest.Plugin, timeout time.Duration) (*remote.Strategy, error) {
	c, err := remote.New(remote.Config{Name: "constant", Address: p.Serve(t), Timeout: timeout})
	require.NoError(t, err)
	t.Cleanup(func() { _ = c.Close() })
	return c.Connect(t.Context())
}

func twelve() plan.OutlineRequest {
	r := plan.OutlineRequest{Weeks: 12, Status: plan.Intermediate, Strength: true, Size: true, Seed: 7}
	for range r.Weeks {
		r.Sessions = append(r.Sessions, 4)
	}
	return r
}

func firstScheme(a *sp.OutlineResponse) *sp.Outline_Scheme {
	return a.Outline.Phases[0].Weeks[0].Sessions[0].Targets[0].Schemes[0]
}

// hostile are answers that can't be, with the field that the fault has to name.
var hostile = []struct {
	name, field string
	spoil       func(*sp.OutlineResponse)
}{
	{"a million weeks", "strategy", func(a *sp.OutlineResponse) {
		a.Outline.Phases[0].Weeks = make([]*sp.Outline_Week, 1_000_000)
		for i := range a.Outline.Phases[0].Weeks {
			a.Outline.Phases[0].Weeks[i] = &sp.Outline_Week{}
		}
	}},
	{"200,000 empty weeks in less than a megabyte", "strategy", func(a *sp.OutlineResponse) {
		a.Outline.Phases[0].Weeks = make([]*sp.Outline_Week, 200_000)
		for i := range a.Outline.Phases[0].Weeks {
			a.Outline.Phases[0].Weeks[i] = &sp.Outline_Week{}
		}
	}},
	{"1,000 weeks", "outline.phases", func(a *sp.OutlineResponse) {
		w := a.Outline.Phases[0].Weeks[0]
		w.Sessions = nil
		for range 1000 {
			a.Outline.Phases[0].Weeks = append(a.Outline.Phases[0].Weeks, w)
		}
	}},
	{"100 MB", "strategy", func(a *sp.OutlineResponse) { a.Outline.Phases[0].Aim = strings.Repeat("a", 100<<20) }},
	{"not a number", "outline.phases[0].weeks[0].dose_percent", func(a *sp.OutlineResponse) { a.Outline.Phases[0].Weeks[0].DosePercent = math.NaN() }},
	{"infinity", "outline.phases[0].weeks[0].sessions[0].targets[0].schemes[0].effort.intensity_percent", func(a *sp.OutlineResponse) {
		v := math.Inf(1)
		firstScheme(a).Effort.IntensityPercent = &v
	}},
	{"too fine a number", "outline.phases[0].weeks[0].dose_percent", func(a *sp.OutlineResponse) { a.Outline.Phases[0].Weeks[0].DosePercent = 99.99 }},
	{"negative sets", "outline.phases[0].weeks[0].sessions[0].targets[0].schemes[0].sets", func(a *sp.OutlineResponse) {
		firstScheme(a).Sets = &sp.Outline_SetCount{Min: -3, Max: -3, Fixed: true}
	}},
	{"two billion repetitions", "outline.phases[0].weeks[0].sessions[0].targets[0].schemes[0].reps", func(a *sp.OutlineResponse) {
		firstScheme(a).Reps = &sp.WholeRange{Min: 1, Max: math.MaxInt32}
	}},
	{"an unknown kind", "outline.phases[0].weeks[0].kind", func(a *sp.OutlineResponse) { a.Outline.Phases[0].Weeks[0].Kind = 99 }},
	{"eight sessions", "outline.phases[0].weeks[0].sessions", func(a *sp.OutlineResponse) {
		w := a.Outline.Phases[0].Weeks[0]
		w.Sessions = append(w.Sessions, w.Sessions...)
	}},
	{"a hundred schemes", "outline.phases[0].weeks[0].sessions[0].targets[0].schemes", func(a *sp.OutlineResponse) {
		target := a.Outline.Phases[0].Weeks[0].Sessions[0].Targets[0]
		for range 100 {
			target.Schemes = append(target.Schemes, target.Schemes[0])
		}
	}},
	{"a name that moves the cursor", "outline.phases[0].name", func(a *sp.OutlineResponse) { a.Outline.Phases[0].Name = "\x1b[2J" }},
	{"a long label", "outline.phases[0].weeks[0].sessions[0].label", func(a *sp.OutlineResponse) {
		a.Outline.Phases[0].Weeks[0].Sessions[0].Label = strings.Repeat("l", 65)
	}},
	{"another strategy", "outline.strategy", func(a *sp.OutlineResponse) { a.Outline.Strategy = "linear@1" }},
	{"nothing", "outline", func(a *sp.OutlineResponse) { a.Outline = nil }},
	{"both", "refusals", func(a *sp.OutlineResponse) {
		a.Refusals = []*sp.Refusal{{Field: "weeks", Reason: "R", Description: "s"}}
	}},
	{"a refusal of what is not asked", "refusals[0].field", func(a *sp.OutlineResponse) {
		a.Outline, a.Refusals = nil, []*sp.Refusal{{Field: "athlete.age", Reason: "R", Description: "s"}}
	}},
	{"a refusal of a parameter that there is not", "refusals[0].field", func(a *sp.OutlineResponse) {
		a.Outline, a.Refusals = nil, []*sp.Refusal{{Field: "parameters.none", Reason: "R", Description: "s"}}
	}},
	{"a refusal without a word", "refusals[0].description", func(a *sp.OutlineResponse) {
		a.Outline, a.Refusals = nil, []*sp.Refusal{{Field: "weeks", Reason: "R"}}
	}},
	{"a thousand refusals", "refusals", func(a *sp.OutlineResponse) {
		a.Outline = nil
		for range 1000 {
			a.Refusals = append(a.Refusals, &sp.Refusal{Field: "weeks", Reason: "R", Description: "s"})
		}
	}},
}

// Hostile answers are refused within the deadline; the fault names plug-in and field.
// BenchmarkHostile measures the memory.
func TestHostileAnswersAreRefused(t *testing.T) {
	for _, h := range hostile {
		t.Run(h.name, func(t *testing.T) {
			p := &remotetest.Plugin{Strategy: constant.Strategy{}}
			p.OnOutline = func(_ context.Context, _ *sp.OutlineRequest, a *sp.OutlineResponse) error {
				h.spoil(a)
				return nil
			}
			s, err := connectTo(t, p)
			require.NoError(t, err)
			in, err := s.Parse(nil)
			require.NoError(t, err)
			begun := time.Now()
			_, err = in.Outline(t.Context(), twelve())
			took := time.Since(begun)
			f, ok := fault.As(err)
			require.True(t, ok, "%v", err)
			require.Equal(t, fault.Broken, f.Kind, f.Error())
			require.Equal(t, h.field, f.Violations[0].Field)
			require.Contains(t, f.Violations[0].Says, "the plug-in constant")
			require.Less(t, len(f.Error()), 20_000)
			t.Logf("%s; %s", took.Round(time.Millisecond), f.Violations[0].Says[:min(200, len(f.Violations[0].Says))])
		})
	}
}

// A plug-in that can't be spoken to, or that says nonsense of itself.
func TestHostileDescriptionsAreRefused(t *testing.T) {
	for field, spoil := range map[string]func(*remotetest.Plugin){
		"protocol_versions": func(p *remotetest.Plugin) {
			p.OnHandshake = func(_ context.Context, a *sp.HandshakeResponse) error { a.ProtocolVersions = nil; return nil }
		},
		"description": func(p *remotetest.Plugin) {
			p.OnDescribe = func(_ context.Context, a *sp.DescribeResponse) error { a.Description = nil; return nil }
		},
		"description.name": func(p *remotetest.Plugin) { p.Name = "other" },
		"description.max_weeks": func(p *remotetest.Plugin) {
			p.OnDescribe = func(_ context.Context, a *sp.DescribeResponse) error { a.Description.MaxWeeks = 1_000_000; return nil }
		},
		"description.parameters": func(p *remotetest.Plugin) {
			p.OnDescribe = func(_ context.Context, a *sp.DescribeResponse) error {
				for range 200 {
					a.Description.Parameters = append(a.Description.Parameters, &sp.ParameterDescription{Name: "a"})
				}
				return nil
			}
		},
		"description.parameters[0].min": func(p *remotetest.Plugin) {
			p.OnDescribe = func(_ context.Context, a *sp.DescribeResponse) error {
				a.Description.Parameters[0].Min = math.NaN()
				return nil
			}
		},
		"strategy": func(p *remotetest.Plugin) {
			p.OnDescribe = func(context.Context, *sp.DescribeResponse) error {
				return status.Error(codes.PermissionDenied, strings.Repeat("no\n", 1000))
			}
		},
	} {
		p := &remotetest.Plugin{Strategy: constant.Strategy{}}
		spoil(p)
		_, err := connectTo(t, p)
		f, ok := fault.As(err)
		require.True(t, ok, "%s: %v", field, err)
		require.Equal(t, fault.Broken, f.Kind, field)
		require.Equal(t, field, f.Violations[0].Field)
		require.NotContains(t, f.Violations[0].Says, "\n")
		require.Less(t, len(f.Violations[0].Says), 1000)
	}
}

// One that never ends its answer is given up at the deadline: of the plug-in as
// Unavailable, of the caller as theirs.
func TestSlowAnswersAreGivenUp(t *testing.T) {
	p := &remotetest.Plugin{Strategy: constant.Strategy{}}
	p.OnOutline = func(ctx context.Context, _ *sp.OutlineRequest, _ *sp.OutlineResponse) error {
		<-ctx.Done()
		return ctx.Err()
	}
	s, err := connectFor(t, p, time.Second)
	require.NoError(t, err)
	in, err := s.Parse(nil)
	require.NoError(t, err)
	_, err = in.Outline(t.Context(), twelve())
	f, ok := fault.As(err)
	require.True(t, ok)
	require.Equal(t, fault.Unavailable, f.Kind)
	require.Equal(t, remote.ReasonDeadline, f.Violations[0].Reason)

	ctx, cancel := context.WithCancel(t.Context())
	time.AfterFunc(50*time.Millisecond, cancel)
	_, err = in.Outline(ctx, twelve())
	f, ok = fault.As(err)
	require.True(t, ok)
	require.Equal(t, fault.Canceled, f.Kind)
	require.ErrorIs(t, err, context.Canceled)
}

// A listener that is no plug-in: it drips a byte at a time, or speaks of other things.
func TestSlowDrip(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			go func() {
				defer c.Close()
				for {
					if _, err := c.Write([]byte{0}); err != nil {
						return
					}
					time.Sleep(50 * time.Millisecond)
				}
			}()
		}
	}()
	p, err := remote.New(remote.Config{Address: l.Addr().String(), Timeout: time.Second})
	require.NoError(t, err)
	defer p.Close()
	_, err = p.Connect(t.Context())
	f, ok := fault.As(err)
	require.True(t, ok, "%v", err)
	require.Equal(t, fault.Unavailable, f.Kind)
}

// Calls that find nobody are made again, three times in all; others are made once.
func TestRetries(t *testing.T) {
	for code, want := range map[codes.Code]int32{codes.Unavailable: 3, codes.Internal: 1} {
		var calls atomic.Int32
		p := &remotetest.Plugin{Strategy: constant.Strategy{}}
		p.OnOutline = func(context.Context, *sp.OutlineRequest, *sp.OutlineResponse) error {
			calls.Add(1)
			return status.Error(code, "no")
		}
		s, err := connectTo(t, p)
		require.NoError(t, err)
		in, err := s.Parse(nil)
		require.NoError(t, err)
		_, err = in.Outline(t.Context(), twelve())
		require.Error(t, err)
		require.Equal(t, want, calls.Load(), code.String())
	}
	var calls atomic.Int32
	p := &remotetest.Plugin{Strategy: constant.Strategy{}}
	p.OnOutline = func(context.Context, *sp.OutlineRequest, *sp.OutlineResponse) error {
		if calls.Add(1) < 3 {
			return status.Error(codes.Unavailable, "not yet")
		}
		return nil
	}
	s, err := connectTo(t, p)
	require.NoError(t, err)
	in, err := s.Parse(nil)
	require.NoError(t, err)
	_, err = in.Outline(t.Context(), twelve())
	require.NoError(t, err)
}

// A newer version that answers in place of the one connected is Unavailable: it is asked
// who it is anew.
func TestAnotherVersionByNow(t *testing.T) {
	var newer atomic.Bool
	p := &remotetest.Plugin{Strategy: versioned{constant.Strategy{}, &newer}}
	s, err := connectTo(t, p)
	require.NoError(t, err)
	in, err := s.Parse(nil)
	require.NoError(t, err)
	newer.Store(true)
	_, err = in.Outline(t.Context(), twelve())
	f, ok := fault.As(err)
	require.True(t, ok)
	require.Equal(t, fault.Unavailable, f.Kind)
	require.Equal(t, remote.ReasonChanged, f.Violations[0].Reason)
}

type versioned struct {
	engine.Strategy
	newer *atomic.Bool
}

func (v versioned) Describe() plan.Descriptor {
	d := v.Strategy.Describe()
	if v.newer.Load() {
		d.Version = "2"
	}
	return d
}

// BenchmarkHostile measures what answers made to take memory take of it on this side:
// empty weeks, two bytes each.
func BenchmarkHostile(b *testing.B) {
	for _, weeks := range []int{99_990, 520_000} {
		b.Run(fmt.Sprintf("weeks=%d", weeks), func(b *testing.B) {
			raw := bytes.Repeat([]byte{3<<3 | 2, 0}, weeks)
			raw = nested(1, nested(2, raw))
			b.ReportAllocs()
			for b.Loop() {
				_ = remote.Decode(raw)
			}
		})
	}
}

// nested wraps an encoded message as a field of another.
func nested(field protowire.Number, raw []byte) []byte {
	return protowire.AppendBytes(protowire.AppendTag(nil, field, protowire.BytesType), raw)
}
