package app_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/app"
	"github.com/phasewright/phasewright/strategies"
)

// TestPropertyRework makes random programs again after random changes: what lies before
// the day stays to the byte, what is locked stays, what is swapped out is gone, and no
// answer is an internal error. PHASEWRIGHT_REWORKS sets how many.
func TestPropertyRework(t *testing.T) {
	total := 400
	if testing.Short() {
		total = 40
	}
	if n, err := strconv.Atoi(os.Getenv("PHASEWRIGHT_REWORKS")); err == nil {
		total = n
	}
	first := 1
	if n, err := strconv.Atoi(os.Getenv("PHASEWRIGHT_FIRST")); err == nil {
		first = n
	}
	e, err := app.NewEngine()
	require.NoError(t, err)
	e = e.WithBudget(budget)
	gen := requests(e.Catalogue(), strategies.Builtin())
	var mu sync.Mutex
	made, same, refused := 0, 0, 0
	bad := map[string]string{}
	const parts = 2
	t.Run("programs", func(t *testing.T) {
		for part := range parts {
			t.Run(fmt.Sprint(part), func(t *testing.T) {
				t.Parallel()
				for i := part; i < total; i += parts {
					seed := first + i
					base, err := e.Generate(context.Background(), gen.Example(seed))
					if err != nil {
						continue
					}
					outcome, problems := reworked(e, &base, seed)
					mu.Lock()
					switch outcome {
					case "made":
						made++
					case "same":
						same++
					default:
						refused++
					}
					for _, p := range problems {
						rule, _, _ := strings.Cut(p, " ")
						if bad[rule] == "" {
							bad[rule] = fmt.Sprintf("%d: %s", seed, p)
						}
					}
					mu.Unlock()
				}
			})
		}
	})
	t.Logf("%d made again, %d of them for the same request, %d refused", made+same, same, refused)
	for _, p := range bad {
		t.Error(p)
	}
	require.Greater(t, made, total/3)
}

// reworked changes a request at random and makes the program again from somewhere on.
func reworked(e *engine.Engine, base *plan.Program, seed int) (string, []string) {
	rng := rand.New(rand.NewPCG(uint64(seed), 17))
	r := base.Request
	weeks := base.WeekCount()
	how := plan.Rework{FromWeek: int32(rng.IntN(weeks + 1))}
	if start := r.Constraints.Start; start.Set && rng.IntN(2) == 0 {
		how.FromWeek, how.From = 0, plan.Some(start.Value.AddDays(rng.IntN(7*weeks)))
	}
	week, day := int(max(how.FromWeek, 1))-1, int32(0)
	if how.From.Set {
		days := int(how.From.Value - r.Constraints.Start.Value)
		week, day = days/7, int32(days%7)
	}
	var rest []*plan.Session // that are made again
	for i := range base.Phases {
		for j := range base.Phases[i].Weeks {
			w := &base.Phases[i].Weeks[j]
			for k := range w.Sessions {
				if s := &w.Sessions[k]; s.Kind == plan.SessionTraining && !before(&r, week, day, w, s) {
					rest = append(rest, s)
				}
			}
		}
	}
	changed := false
	if len(rest) > 0 {
		s := rest[rng.IntN(len(rest))]
		x := &s.Exercises[rng.IntN(len(s.Exercises))]
		switch rng.IntN(6) {
		case 0:
			r.Constraints.Days = slices.Clone(r.Constraints.Days)
			d := &r.Constraints.Days[rng.IntN(len(r.Constraints.Days))]
			d.Minutes = max(15, d.Minutes-int32(5*(1+rng.IntN(6))))
			changed = true
		case 1:
			r.Constraints.Excluded = append(slices.Clone(r.Constraints.Excluded), x.ExerciseID)
			changed = true
		case 2:
			r.Constraints.Days = slices.Clone(r.Constraints.Days)
			r.Constraints.Days[rng.IntN(len(r.Constraints.Days))].Minutes += 20
			changed = true
		case 3:
			for _, c := range x.Contingencies {
				if c.Case == plan.CasePain && len(c.Swap) > 0 {
					how.Swaps = append(how.Swaps, plan.Swap{ExerciseID: x.ExerciseID, With: c.Swap[0], Weekday: weekdayOf(s), Group: s.Group})
					changed = true
				}
			}
		}
		if rng.IntN(2) == 0 {
			y := &s.Exercises[rng.IntN(len(s.Exercises))]
			l := plan.Lock{ExerciseID: y.ExerciseID, Weekday: weekdayOf(s), Group: s.Group}
			if swapped := slices.ContainsFunc(how.Swaps, func(w plan.Swap) bool { return w.ExerciseID == y.ExerciseID }); !swapped && !slices.Contains(r.Constraints.Excluded, y.ExerciseID) {
				how.Locks = append(how.Locks, l)
			}
		}
	}
	p, err := e.Rework(context.Background(), base, r, how)
	if err != nil {
		f, ok := fault.As(err)
		if !ok || f.Kind != fault.Infeasible && f.Kind != fault.Invalid && f.Kind != fault.Refused {
			return "refused", []string{fmt.Sprintf("refusal %+v: %v", how, err)}
		}
		if !changed {
			return "refused", []string{fmt.Sprintf("unchanged %+v: %v", how, err)}
		}
		return "refused", nil
	}
	v := &reworkVerdict{}
	v.check(base, &p, week, day, how)
	if !changed && len(how.Locks) == 0 {
		return "same", v.bad
	}
	return "made", v.bad
}

// weekdayOf is what a lock names a session by that does not rotate.
func weekdayOf(s *plan.Session) plan.Weekday {
	if s.Group != "" {
		return plan.WeekdayUnspecified
	}
	return s.Weekday
}

func before(r *plan.Request, week int, day int32, w *plan.Week, s *plan.Session) bool {
	first := int32(plan.Monday)
	if r.Constraints.Start.Set {
		first = int32(r.Constraints.Start.Value.Weekday())
	}
	return int(w.Number)-1 < week || int(w.Number)-1 == week && (int32(s.Weekday)-first+7)%7 < day
}

type reworkVerdict struct{ bad []string }

func (v *reworkVerdict) wrong(format string, args ...any) {
	v.bad = append(v.bad, fmt.Sprintf(format, args...))
}

func (v *reworkVerdict) check(base, p *plan.Program, week int, day int32, how plan.Rework) {
	was, is := allWeeks(base), allWeeks(p)
	for i := range was {
		if i < week && canonical(was[i]) != canonical(is[i]) {
			v.wrong("past week %d is not what it was", i+1)
		}
		for k := range was[i].Sessions {
			s := &was[i].Sessions[k]
			if i == week && before(&base.Request, week, day, was[i], s) && (k >= len(is[i].Sessions) || canonical(*s) != canonical(is[i].Sessions[k])) {
				v.wrong("past session %d of week %d is not what it was", k+1, i+1)
			}
			if s.Kind != plan.SessionTraining || before(&base.Request, week, day, was[i], s) {
				continue
			}
			now := sameDay(is[i], s)
			for j := range s.Exercises {
				x := &s.Exercises[j]
				locked := slices.ContainsFunc(how.Locks, func(l plan.Lock) bool { return l.ExerciseID == x.ExerciseID && s.In(l.Weekday, l.Group) })
				if locked && (now == nil || setsIn(now, x.ExerciseID) != x.Working()) {
					v.wrong("lock: %s of week %d, %s, has other sets", x.ExerciseID, i+1, s.Weekday)
				}
				swap := slices.IndexFunc(how.Swaps, func(w plan.Swap) bool { return w.ExerciseID == x.ExerciseID && s.In(w.Weekday, w.Group) })
				if swap >= 0 && now != nil && (setsIn(now, x.ExerciseID) > 0 || setsIn(now, how.Swaps[swap].With) == 0) {
					v.wrong("swap: %s of week %d, %s, has not given way", x.ExerciseID, i+1, s.Weekday)
				}
			}
		}
	}
}

func sameDay(w *plan.Week, s *plan.Session) *plan.Session {
	for i := range w.Sessions {
		if n := &w.Sessions[i]; n.Kind == s.Kind && n.Weekday == s.Weekday {
			return n
		}
	}
	return nil
}

func setsIn(s *plan.Session, id string) int32 {
	for i := range s.Exercises {
		if s.Exercises[i].ExerciseID == id {
			return s.Exercises[i].Working()
		}
	}
	return 0
}

func allWeeks(p *plan.Program) []*plan.Week {
	var out []*plan.Week
	for i := range p.Phases {
		for j := range p.Phases[i].Weeks {
			out = append(out, &p.Phases[i].Weeks[j])
		}
	}
	return out
}

func canonical(x any) string {
	b, err := plan.Canonical(x)
	if err != nil {
		return err.Error()
	}
	return string(b)
}
