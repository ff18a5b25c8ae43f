// Package strategytest makes tests of the laws of engine.Strategy (package conform). Call
// Run from a test of the implementation, under the race detector:
//
//	func TestConformance(t *testing.T) {
//		strategytest.Run(t, func() engine.Strategy { return mine.New() })
//	}
package strategytest

import (
	"slices"
	"testing"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/conform"
)

// Except names a check that a strategy doesn't pass by design, and why.
type Except struct {
	Check string // a name of package conform
	Why   string
}

// Run runs every check as a subtest on a strategy made afresh for it.
func Run(t *testing.T, fresh func() engine.Strategy, excepts ...Except) {
	t.Helper()
	checks := conform.Checks()
	for _, e := range excepts {
		if e.Why == "" || !slices.ContainsFunc(checks, func(c conform.Check) bool { return c.Name == e.Check }) {
			t.Fatalf("exception %+v: a check of package conform and a reason are needed", e)
		}
	}
	for _, c := range checks {
		t.Run(c.Name, func(t *testing.T) {
			for _, e := range excepts {
				if e.Check == c.Name {
					t.Logf("excepted: %s", e.Why)
					return
				}
			}
			for _, f := range c.Run(t.Context(), fresh) {
				t.Error(f.Says)
			}
		})
	}
}
