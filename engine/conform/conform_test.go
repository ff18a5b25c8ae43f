package conform_test

import (
	"context"
	"errors"
	"fmt"
	"runtime"
	"slices"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/conform"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/strategytest"
)

func TestHonestStrategyPasses(t *testing.T) {
	strategytest.Run(t, func() engine.Strategy { return &honest{} })
}

func TestExceptionsNeedAReason(t *testing.T) {
	ran := false
	strategytest.Run(t, func() engine.Strategy { ran = true; return &honest{} },
		strategytest.Except{Check: conform.Canceled, Why: "shown to be skipped by the test"})
	require.True(t, ran)
}

// Each broken strategy has one fault; wants are the checks that must find it, and no
// other may speak up.
func TestBrokenStrategiesAreFoundOut(t *testing.T) {
	cases := []struct {
		name  string
		make  func() engine.Strategy
		wants []string
		says  string
	}{
		{"no claims", describing(func(d *plan.Descriptor) { d.Claims = "" }), []string{conform.Descriptor}, "claims"},
		{"malformed name", describing(func(d *plan.Descriptor) { d.Name = "Honest Strategy" }), everyOutline(conform.Descriptor), "registry"},
		{"parameter without text", describing(func(d *plan.Descriptor) { d.Params[1].Says = "" }), []string{conform.Descriptor}, "list has no text"},
		{"parameter without source", describing(func(d *plan.Descriptor) { d.Params[1].Source = "" }), []string{conform.Descriptor}, "no source"},
		{"parameter without unit", describing(func(d *plan.Descriptor) { d.Params[3].Unit = "" }), []string{conform.Descriptor}, "no unit"},
		{"parameters out of order", describing(func(d *plan.Descriptor) { slices.Reverse(d.Params) }), []string{conform.Descriptor}, "out of order"},
		{"default of another kind", describing(func(d *plan.Descriptor) { d.Params[0].Default.Kind = plan.ValueNumber }),
			[]string{conform.Descriptor, conform.Defaults}, "default of its kind"},
		{"default out of bounds", describing(func(d *plan.Descriptor) { d.Params[5].Default.Milli = 9000 }),
			[]string{conform.Defaults}, "turns 9"},
		{"default that is no list of sets", describing(func(d *plan.Descriptor) { d.Params[4].Default.Text = "3y8" }),
			[]string{conform.Descriptor, conform.Defaults}, "no list of sets"},
		{"default not what is done", func() engine.Strategy {
			return &honest{answer: after(func(_ plan.OutlineRequest, v *engine.Values, o *plan.Outline) {
				if v.Given("reps") {
					everyWeek(o, func(w *plan.OutlineWeek) { w.Dose = 900 })
				}
			})}
		}, []string{conform.Defaults}, "not the same as none given"},
		{"variation that nothing tells of", describing(func(d *plan.Descriptor) { d.Params[3].Varies = "" }),
			[]string{conform.Defaults}, "novice"},
		{"describes itself in two ways", func() engine.Strategy {
			var n atomic.Int32
			return &honest{descriptor: func(d *plan.Descriptor) { d.Says = fmt.Sprint(n.Add(1)) }}
		}, []string{conform.Descriptor}, "two ways"},
		{"takes values out of bounds", func() engine.Strategy {
			return &honest{parse: without(func(i int, p []plan.Param) bool {
				return p[i].Name == "turns" && p[i].Value.Kind == plan.ValueNumber && p[i].Value.Milli > 3000
			})}
		}, []string{conform.Bounds}, "takes turns 4"},
		{"takes broken numbers", describing(func(d *plan.Descriptor) {}, func(h *honest) {
			h.parse = func(p []plan.Param) []plan.Param {
				p = slices.Clone(p)
				for i := range p {
					if p[i].Name == "turns" && p[i].Value.Kind == plan.ValueNumber && p[i].Value.Milli == 1001 {
						p[i].Value.Milli = 1000
					}
				}
				return p
			}
		}), []string{conform.Bounds}, "takes turns 1.001"},
		{"takes ranges upside down", func() engine.Strategy {
			return &honest{parse: without(func(i int, p []plan.Param) bool { return p[i].Name == "reps" && p[i].Value.Lo > p[i].Value.Hi })}
		}, []string{conform.Bounds}, "takes reps 20 to 4"},
		{"refuses a choice", func() engine.Strategy {
			return &honest{parse: func(p []plan.Param) []plan.Param {
				if len(p) == 1 && p[0].Value.Text == "failure" {
					return []plan.Param{{Name: "mode", Value: plan.Value{Kind: plan.ValueText, Text: "other"}}}
				}
				return p
			}}
		}, []string{conform.Bounds}, "within its bounds"},
		{"takes unknown names", func() engine.Strategy {
			return &honest{parse: without(func(i int, p []plan.Param) bool { return !known(p[i].Name) })}
		}, []string{conform.Unknown}, "takes zzzzzzzz"},
		{"takes a name twice", func() engine.Strategy {
			return &honest{parse: without(func(i int, p []plan.Param) bool { return i > 0 && p[i].Name == p[0].Name })}
		}, []string{conform.Unknown}, "takes flag false, flag false"},
		{"suggests nothing", func() engine.Strategy {
			return &honest{parseErr: func(err error) error {
				f, _ := fault.As(err)
				for i := range f.Violations {
					f.Violations[i].Says = "no"
				}
				return f
			}}
		}, []string{conform.Unknown}, "without suggesting"},
		{"names one fault of several", func() engine.Strategy {
			return &honest{parseErr: func(err error) error {
				f, _ := fault.As(err)
				f.Violations = f.Violations[:1]
				return f
			}}
		}, []string{conform.Unknown}, "without naming"},
		{"errors without a kind", func() engine.Strategy {
			return &honest{parseErr: func(err error) error { return errors.New(err.Error()) }}
		}, []string{conform.Bounds, conform.Unknown}, "no fault of kind invalid"},
		{"takes nothing as everything", func() engine.Strategy {
			return &honest{parseErr: func(error) error { return nil }}
		}, []string{conform.Bounds, conform.Unknown}, "takes"},
		{"a week short in long plans", answering(func(r plan.OutlineRequest, _ *engine.Values, o *plan.Outline) {
			if r.Weeks >= 17 {
				o.Phases[0].Weeks = o.Phases[0].Weeks[1:]
			}
		}), []string{conform.Weeks, conform.Defaults}, "were asked for"},
		{"plans beyond its bounds", func() engine.Strategy {
			return &honest{answer: func(ctx context.Context, r plan.OutlineRequest, v *engine.Values, o plan.Outline, err error) (plan.Outline, error) {
				if r.Weeks > 20 && len(r.Sessions) == int(r.Weeks) {
					return honestInstance{&honest{}, v}.unchecked(r), nil
				}
				return o, err
			}}
		}, []string{conform.Weeks}, "planned; a fault"},
		{"refuses a length for no reason", func() engine.Strategy {
			return &honest{answer: func(ctx context.Context, r plan.OutlineRequest, v *engine.Values, o plan.Outline, err error) (plan.Outline, error) {
				if r.Weeks == 19 {
					return plan.Outline{}, fault.New(fault.Invalid, "NO", "weeks", "no")
				}
				return o, err
			}}
		}, []string{conform.Weeks}, "19 weeks"},
		{"more sessions than there are", answering(func(r plan.OutlineRequest, _ *engine.Values, o *plan.Outline) {
			for i := range o.Phases[0].Weeks {
				if w := &o.Phases[0].Weeks[i]; r.Sessions[i] == 2 {
					w.Sessions = append(w.Sessions, w.Sessions[0])
				}
			}
		}), []string{conform.Sessions, conform.Rotation}, "available"},
		{"panics without a session", answering(func(r plan.OutlineRequest, _ *engine.Values, o *plan.Outline) {
			_ = o.Phases[0].Weeks[0].Sessions[0]
		}), []string{conform.Sessions, conform.Rotation}, "panics"},
		{"plans bad requests", func() engine.Strategy {
			return &honest{answer: func(ctx context.Context, r plan.OutlineRequest, v *engine.Values, o plan.Outline, err error) (plan.Outline, error) {
				if r.Status == plan.StatusUnspecified {
					return honestInstance{&honest{}, v}.unchecked(r), nil
				}
				return o, err
			}}
		}, []string{conform.BadRequests}, "status"},
		{"counts its calls", func() engine.Strategy {
			var n atomic.Int32
			return &honest{answer: after(func(_ plan.OutlineRequest, _ *engine.Values, o *plan.Outline) {
				o.Phases[0].Aim = fmt.Sprint("call ", n.Add(1))
			})}
		}, []string{conform.Same, conform.Defaults, conform.Ownership, conform.Concurrent}, "two ways"},
		{"changes the request", answering(func(r plan.OutlineRequest, _ *engine.Values, o *plan.Outline) {
			if r.Weeks == 8 && r.Strength && r.Size {
				r.Sessions[7] = 5
			}
		}), []string{conform.Ownership, conform.Defaults, conform.Sessions}, "changes the request"},
		{"hands out the same memory", func() engine.Strategy {
			var kept atomic.Pointer[plan.Outline]
			return &honest{answer: func(_ context.Context, r plan.OutlineRequest, _ *engine.Values, o plan.Outline, err error) (plan.Outline, error) {
				if err != nil || r.Weeks != 8 || r.Status != plan.Intermediate || !r.Strength || !r.Size || slices.ContainsFunc(r.Sessions, func(n int32) bool { return n != 3 }) {
					return o, err
				}
				kept.CompareAndSwap(nil, &o)
				return *kept.Load(), nil
			}}
		}, []string{conform.Ownership}, "same memory"},
		{"one scheme for two sessions", answering(func(_ plan.OutlineRequest, _ *engine.Values, o *plan.Outline) {
			w := &o.Phases[0].Weeks[0]
			for i := range w.Sessions {
				w.Sessions[i].Targets = w.Sessions[0].Targets
			}
		}), []string{conform.Ownership}, "two schemes"},
		{"one descriptor for all", func() engine.Strategy {
			d := (&honest{}).Describe()
			return &honest{shared: &d}
		}, []string{conform.Ownership}, "spoiled from outside"},
		{"depends on who else asks", func() engine.Strategy {
			var inside atomic.Int32
			return &honest{answer: after(func(_ plan.OutlineRequest, _ *engine.Values, o *plan.Outline) {
				defer inside.Add(-1)
				inside.Add(1)
				for range 200 {
					if inside.Load() > 1 {
						o.Phases[0].Aim = "crowded"
						// Others have to see this one too.
						runtime.Gosched()
					}
					runtime.Gosched()
				}
			})}
		}, []string{conform.Concurrent}, "while others asked"},
		{"starts its rotation anew each week", answering(func(_ plan.OutlineRequest, v *engine.Values, o *plan.Outline) {
			if v.Whole("turns") < 2 {
				return
			}
			everyWeek(o, func(w *plan.OutlineWeek) {
				for i := range w.Sessions {
					w.Sessions[i].Group = string(rune('A' + int32(i)%v.Whole("turns")))
				}
			})
		}), []string{conform.Rotation}, "breaks its rotation"},
		{"explosive work to failure", answering(func(_ plan.OutlineRequest, v *engine.Values, o *plan.Outline) {
			if v.Text("mode") == "failure" {
				everyScheme(o, plan.Explosive, func(s *plan.Scheme) { s.Effort = plan.Effort{ToFailure: true} })
			}
		}), []string{conform.Explosive, conform.Bounds}, "explosive work to failure"},
		{"triples of curls", answering(func(r plan.OutlineRequest, _ *engine.Values, o *plan.Outline) {
			if r.Weeks == 13 && r.Status == plan.Advanced {
				everyScheme(o, plan.SingleJoint, func(s *plan.Scheme) { s.Reps.Min = 3 })
			}
		}), []string{conform.Sessions, conform.Weeks}, "begin at 3"},
		{"does not look at the context", func() engine.Strategy {
			return &honest{answer: func(ctx context.Context, r plan.OutlineRequest, v *engine.Values, o plan.Outline, err error) (plan.Outline, error) {
				if errors.Is(err, context.Canceled) {
					return honestInstance{&honest{}, v}.unchecked(r), nil
				}
				return o, err
			}}
		}, []string{conform.Canceled}, "although"},
		{"hides why it stopped", func() engine.Strategy {
			return &honest{answer: func(_ context.Context, _ plan.OutlineRequest, _ *engine.Values, o plan.Outline, err error) (plan.Outline, error) {
				if errors.Is(err, context.Canceled) {
					return o, errors.New("stopped")
				}
				return o, err
			}}
		}, []string{conform.Canceled}, "ended context"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			var checks []string
			said := false
			for _, f := range conform.Findings(t.Context(), c.make) {
				if !slices.Contains(checks, f.Check) {
					checks = append(checks, f.Check)
				}
				said = said || strings.Contains(f.Says, c.says)
			}
			require.ElementsMatch(t, c.wants, checks)
			require.True(t, said, "no finding says %q", c.says)
		})
	}
}

// everyOutline are the checks that look at outlines, and one more.
func everyOutline(more string) []string {
	return []string{more, conform.Defaults, conform.Weeks, conform.Sessions, conform.Same, conform.Ownership, conform.Rotation}
}

func describing(change func(*plan.Descriptor), more ...func(*honest)) func() engine.Strategy {
	return func() engine.Strategy {
		h := &honest{descriptor: change}
		for _, m := range more {
			m(h)
		}
		return h
	}
}

func answering(change func(plan.OutlineRequest, *engine.Values, *plan.Outline)) func() engine.Strategy {
	return func() engine.Strategy { return &honest{answer: after(change)} }
}

func everyWeek(o *plan.Outline, f func(*plan.OutlineWeek)) {
	for i := range o.Phases {
		for j := range o.Phases[i].Weeks {
			f(&o.Phases[i].Weeks[j])
		}
	}
}

func everyScheme(o *plan.Outline, role plan.Role, f func(*plan.Scheme)) {
	everyWeek(o, func(w *plan.OutlineWeek) {
		for i := range w.Sessions {
			for j := range w.Sessions[i].Targets {
				if t := &w.Sessions[i].Targets[j]; t.Role == role {
					for k := range t.Schemes {
						f(&t.Schemes[k])
					}
				}
			}
		}
	})
}
