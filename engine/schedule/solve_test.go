package schedule

import (
	"context"
	"encoding/json"
	"fmt"
	"runtime"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// large draws a week of the gym with random limits.
func large(t *rapid.T) *Model {
	i32 := func(lo, hi int32, label string) int32 { return rapid.Int32Range(lo, hi).Draw(t, label) }
	minutes := rapid.SliceOfN(rapid.Int32Range(15, 100), 1, 6).Draw(t, "minutes")
	m := week(i32(3, 12, "sets"), minutes...)
	if i32(0, 1, "goals") == 1 {
		strength(m, i32(2, 10, "lift sets"), i32(1, int32(len(minutes)), "lift days"))
	}
	m.Weeks = i32(1, 4, "weeks")
	for d := range m.Days {
		m.Days[d].Times = m.Weeks
		if i32(0, 4, "rotation") == 4 {
			m.Days[d].Times = i32(1, 2*m.Weeks, "times")
		}
		m.Days[d].MaxExercises, m.Days[d].MaxSets = i32(2, 8, "exercises"), i32(6, 25, "day sets")
	}
	for c := range m.Candidates {
		x := &m.Candidates[c]
		x.Path = fmt.Sprintf("constraints.pinned[%d]", c)
		x.MaxDays = i32(1, int32(len(minutes)), "max days")
		x.MinDays = min(x.MinDays, x.MaxDays)
		if i32(0, 19, "pin") == 19 {
			x.MinDays, x.MinSets = 1, 2
		}
		if i32(0, 9, "max sets") == 9 {
			x.MaxSets = max(x.MinSets, i32(2, 8, "most"))
		}
		for d := range x.Options {
			x.Options[d].Allowed = i32(0, 9, "not allowed") < 9
		}
	}
	for i := range m.Muscles {
		if i32(0, 3, "limit") == 3 {
			m.Muscles[i].MaxWeek = plan.HalfSets(i32(8, 30, "max week"))
		}
	}
	for i := range m.Clashes {
		m.Clashes[i].Hard, m.Clashes[i].Path = i32(0, 3, "hard") == 3, "constraints.recovery[0]"
	}
	return m
}

// TestFeasibleSharedDay: an exercise for a lift may have to be on a day that another one
// already makes a session, as one day can't hold its sets of the week.
func TestFeasibleSharedDay(t *testing.T) {
	option := Option{Allowed: true, Lo: 2, Hi: 4, PerSet: 1}
	day := Day{Path: "days", Times: 1, Capacity: 100, MaxExercises: 5, MaxSets: 50}
	m := &Model{
		Weeks: 2, Days: []Day{day, day},
		Candidates: []Candidate{
			{ID: "pinned", Path: "pin", MinDays: 1, MaxDays: 1, Options: []Option{option, option}},
			{ID: "other", MinSets: 4, MaxDays: 2, Options: []Option{option, option}},
		},
		Lifts: []Lift{{ID: "lift", Path: "goal", MinDays: 1}},
	}
	ok, proven := Feasible(context.Background(), m, 0)
	require.True(t, ok && proven)
}

// TestFeasibleLarge re-checks every hard limit and every level on models of real size.
func TestFeasibleLarge(t *testing.T) {
	drawn, solved, unsure := 0, 0, 0
	rapid.Check(t, func(t *rapid.T) {
		drawn++
		m := large(t)
		prior := randomPrior(t, m)
		a, err := Solve(context.Background(), m, prior, 20_000)
		if err != nil {
			f, ok := fault.As(err)
			require.True(t, ok)
			require.Equal(t, fault.Infeasible, f.Kind, "%v", err)
			if f.Violations[0].Reason == ReasonUnproven {
				unsure++
				return
			}
			ok, proven := Feasible(context.Background(), m, 0)
			require.True(t, !ok && proven)
			return
		}
		solved++
		require.Empty(t, broken(m, a.Sets))
		require.Equal(t, levels(m, a.Sets, prior), a.Value)
		for l := range a.Value {
			require.LessOrEqual(t, a.Bound[l], a.Value[l])
			require.True(t, !a.Proven[l] || a.Bound[l] == a.Value[l])
			require.True(t, l == 0 || !a.Proven[l] || a.Proven[l-1])
		}
	})
	t.Logf("%d solved, %d unproven", solved, unsure)
	require.Greater(t, 4*solved, drawn) // a third is infeasible by design; 20 draws vary
	require.Less(t, unsure, 3)
}

// TestBoundLarge: no assignment found with much work is below a bound proven with little.
func TestBoundLarge(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := large(t)
		a, err := Solve(context.Background(), m, nil, 20_000)
		if err != nil {
			return
		}
		b, err := Solve(context.Background(), m, nil, 120_000)
		require.NoError(t, err)
		require.LessOrEqual(t, a.Bound[0], b.Value[0])
		require.LessOrEqual(t, b.Bound[0], a.Value[0])
		if a.Proven[0] {
			require.LessOrEqual(t, a.Value[0], b.Value[0])
			require.True(t, a.Value[0] < b.Value[0] || a.Bound[1] <= b.Value[1])
		}
		if b.Proven[0] && a.Value[0] == b.Value[0] {
			require.LessOrEqual(t, b.Bound[1], a.Value[1])
		}
	})
}

// TestMoreMinutes: a longer day never makes the goals worse.
func TestMoreMinutes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := small(t, 3000)
		a, err := Solve(context.Background(), m, nil, 0)
		if err != nil {
			return
		}
		more := *m
		more.Days = slices.Clone(m.Days)
		d := rapid.IntRange(0, len(m.Days)-1).Draw(t, "day")
		more.Days[d].Capacity += rapid.Int32Range(1, 40).Draw(t, "ticks")
		b, err := Solve(context.Background(), &more, nil, 0)
		require.NoError(t, err)
		require.LessOrEqual(t, b.Value[0], a.Value[0])
	})
}

// TestPermutation: the order of days and of candidates means nothing to the values.
func TestPermutation(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := small(t, 3000)
		n := len(m.Days)
		days := rapid.Permutation(seq(n)).Draw(t, "days")
		cands := rapid.Permutation(seq(len(m.Candidates))).Draw(t, "candidates")
		p := *m
		p.Days, p.Candidates, p.Clashes = make([]Day, n), nil, slices.Clone(m.Clashes)
		for i, d := range days {
			p.Days[d] = m.Days[i]
		}
		for _, c := range cands {
			x := m.Candidates[c]
			x.Options = make([]Option, n)
			for i, d := range days {
				x.Options[d] = m.Candidates[c].Options[i]
			}
			p.Candidates = append(p.Candidates, x)
		}
		for i, k := range p.Clashes {
			p.Clashes[i].A, p.Clashes[i].B = int32(days[k.A]), int32(days[k.B])
		}
		a, errA := Solve(context.Background(), m, nil, 0)
		b, errB := Solve(context.Background(), &p, nil, 0)
		require.Equal(t, errA == nil, errB == nil)
		require.Equal(t, a.Value, b.Value)
	})
}

func seq(n int) []int {
	list := make([]int, n)
	for i := range list {
		list[i] = i
	}
	return list
}

// TestSeed: the seed never changes a value, only which of the equals is taken.
func TestSeed(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := small(t, 3000)
		a, errA := Solve(context.Background(), m, nil, 0)
		other := *m
		other.Seed = rapid.Uint32().Draw(t, "other seed")
		b, errB := Solve(context.Background(), &other, nil, 0)
		require.Equal(t, errA, errB)
		require.Equal(t, a.Value, b.Value)
	})
	days := map[int]bool{} // one exercise, two equal days: some seeds take the first, some the second
	for seed := range uint32(16) {
		m := &Model{Weeks: 1, Seed: seed, Days: []Day{{Times: 1, Capacity: 20, MaxExercises: 3, MaxSets: 9}, {Times: 1, Capacity: 20, MaxExercises: 3, MaxSets: 9}},
			Candidates: []Candidate{{ID: "x", MinDays: 1, MaxDays: 1, Lift: -1, Options: []Option{{Allowed: true, Lo: 2, Hi: 2, PerSet: 4}, {Allowed: true, Lo: 2, Hi: 2, PerSet: 4}}}}}
		a, err := Solve(context.Background(), m, nil, 0)
		require.NoError(t, err)
		days[slices.Index([]int32{a.Sets[0][0], a.Sets[0][1]}, 2)] = true
	}
	require.Len(t, days, 2)
}

// TestDeterminism: the same bytes on one processor and on more, again and again, and
// from several goroutines at once.
func TestDeterminism(t *testing.T) {
	models := []*Model{week(6, 40, 40), strength(week(8, 75, 75, 75, 75), 8, 2), week(8, 30, 60, 90)}
	solve := func(m *Model) string {
		a, err := Solve(context.Background(), m, nil, 60_000)
		if err != nil {
			return err.Error()
		}
		b, err := json.Marshal(a)
		if err != nil {
			return err.Error()
		}
		return string(b)
	}
	for _, m := range models {
		want := solve(m)
		for _, procs := range []int{1, 2} {
			was := runtime.GOMAXPROCS(procs)
			answers := make(chan string, 3)
			for range 3 {
				go func() { answers <- solve(m) }()
			}
			for range 3 {
				require.Equal(t, want, <-answers)
			}
			runtime.GOMAXPROCS(was)
		}
	}
}

// TestMoreWork: a second pass never makes an answer worse, nor takes a proof back.
func TestMoreWork(t *testing.T) {
	better := 0
	rapid.Check(t, func(t *rapid.T) {
		m := large(t)
		a, err := solve(context.Background(), m, nil, 5_000, 5_000)
		b, again := solve(context.Background(), m, nil, 5_000, 25_000)
		if again != nil {
			require.Error(t, err)
			return
		}
		if err != nil {
			return // the longer search found the first answer
		}
		for l := range LevelCount {
			if a.Value[l] != b.Value[l] {
				require.Less(t, b.Value[l], a.Value[l])
				require.False(t, a.Proven[l])
				better++
				break
			}
			require.GreaterOrEqual(t, b.Bound[l], a.Bound[l])
			require.True(t, b.Proven[l] || !a.Proven[l])
		}
	})
	require.Positive(t, better)
}

// afterContext ends after so many looks at it.
type afterContext struct {
	context.Context
	looks int
}

func (c *afterContext) Err() error {
	if c.looks--; c.looks < 0 {
		return context.Canceled
	}
	return nil
}

// TestCanceled: a context that ends, at whatever moment, gives an error and nothing else.
func TestCanceled(t *testing.T) {
	m := strength(week(8, 30, 60, 90), 8, 2)
	impossible := strength(week(8, 30, 30, 30), 8, 3)
	impossible.Days[1].Capacity = 10
	for _, m := range []*Model{m, impossible} {
		counted := &afterContext{Context: context.Background(), looks: 1 << 30}
		_, want := Solve(counted, m, nil, 50_000)
		looks := 1<<30 - counted.looks
		require.Greater(t, looks, 1)
		for n := 0; n < looks; n += 1 + looks/20 {
			a, err := Solve(&afterContext{Context: context.Background(), looks: n}, m, nil, 50_000)
			f, ok := fault.As(err)
			require.True(t, ok, "after %d looks", n)
			require.Equal(t, fault.Canceled, f.Kind)
			require.Empty(t, a.Sets)
		}
		_, err := Solve(&afterContext{Context: context.Background(), looks: looks + 1}, m, nil, 50_000)
		require.Equal(t, want, err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	ok, proven := Feasible(ctx, m, 0)
	require.False(t, ok || proven)
}

// TestPrior: solved again with its own answer as prior nothing moves, and after a cut
// of one day the others keep most of what they had.
func TestPrior(t *testing.T) {
	m := strength(week(6, 75, 75, 75, 75), 6, 2)
	a, err := Solve(context.Background(), m, nil, 0)
	require.NoError(t, err)
	require.Equal(t, []int64{0, 0, 0}, a.Value[:3])
	b, err := Solve(context.Background(), m, &a, 0)
	require.NoError(t, err)
	require.Equal(t, a.Sets, b.Sets)

	cut := strength(week(6, 75, 75, 75, 75), 6, 2)
	cut.Days[3].Capacity -= 60
	c, err := Solve(context.Background(), cut, &a, 0)
	require.NoError(t, err)
	require.Empty(t, broken(cut, c.Sets))
	require.Equal(t, []int64{0, 0}, c.Value[:2])
	fresh, err := Solve(context.Background(), cut, nil, 0)
	require.NoError(t, err)
	require.Less(t, c.Value[LevelStability], levels(cut, fresh.Sets, &a)[LevelStability]/2)
	t.Logf("stability %d; from scratch it would be %d", c.Value[LevelStability], levels(cut, fresh.Sets, &a)[LevelStability])
}

func TestConflictSentences(t *testing.T) {
	m := strength(week(4, 40, 20), 6, 2)
	m.Days[0].Name, m.Days[1].Name = "Monday", "Tuesday"
	m.Days[1].Capacity = 4 * 10
	_, err := Solve(context.Background(), m, nil, 0)
	require.EqualError(t, err,
		"constraints.days[1]: Tuesday has 10 min for exercises, at most 7 of them, at most 25 sets [CONFLICT_DAY]\n"+
			"goals[0]: back-squat has to be on Monday and Tuesday and takes 11 min at least each time [CONFLICT_PIN]")
}

// TestUnproven: where the work ends before it is known that 7 pins don't go into 6
// places, the answer says so and claims no conflict.
func TestUnproven(t *testing.T) {
	m := &Model{Weeks: 1}
	for d := range 3 {
		m.Days = append(m.Days, Day{Path: fmt.Sprintf("constraints.days[%d]", d), Times: 1, Capacity: int32(37 + d), MaxExercises: 9, MaxSets: 30})
	}
	for c := range 7 {
		x := Candidate{ID: fmt.Sprintf("x%d", c), Path: fmt.Sprintf("constraints.pinned[%d]", c), MinDays: 1, MaxDays: 1, Lift: -1}
		for range m.Days {
			x.Options = append(x.Options, Option{Allowed: true, Lo: 2, Hi: 4, Fixed: int32(-(c / 6)), PerSet: 7})
		}
		m.Candidates = append(m.Candidates, x)
	}
	_, err := Solve(context.Background(), m, nil, 100)
	f, ok := fault.As(err)
	require.True(t, ok)
	require.Equal(t, fault.Infeasible, f.Kind)
	require.Len(t, f.Violations, 1)
	require.Equal(t, ReasonUnproven, f.Violations[0].Reason)
	_, err = Solve(context.Background(), m, nil, 0)
	f, ok = fault.As(err)
	require.True(t, ok)
	require.Len(t, f.Violations, 10, "all pins and all days: %v", err)
}

// TestNoTime: where the saved rest outweighs all else an exercise takes no ticks, and
// it still fits a day that is full.
func TestNoTime(t *testing.T) {
	m := &Model{Weeks: 1, Days: []Day{{Path: "constraints.days[0]", Times: 1, Capacity: 8, MaxExercises: 3, MaxSets: 9}}}
	for i, fixed := range []int32{2, -6} {
		m.Candidates = append(m.Candidates, Candidate{ID: fmt.Sprintf("x%d", i), MinDays: 1, MaxDays: 1, Lift: -1,
			Options: []Option{{Allowed: true, Lo: 2, Hi: 2, Fixed: fixed, PerSet: 3}}})
	}
	ok, proven := Feasible(context.Background(), m, 0)
	require.True(t, ok && proven)
}

func TestCheck(t *testing.T) {
	spoil := map[string]func(m *Model){
		"weeks":          func(m *Model) { m.Weeks = 0 },
		"days":           func(m *Model) { m.Days = nil },
		"days[0]":        func(m *Model) { m.Days[0].Times = 0 },
		"days[1]":        func(m *Model) { m.Days[1].Capacity = -1 },
		"candidates[0]":  func(m *Model) { m.Candidates[0].MaxDays = 0 },
		"candidates[1]":  func(m *Model) { m.Candidates[1].Options = m.Candidates[1].Options[:1] },
		"candidates[2]":  func(m *Model) { m.Candidates[2].Options[0].Lo = 0 },
		"candidates[3]":  func(m *Model) { m.Candidates[3].Options[0].Fixed = -1000 },
		"candidates[4]":  func(m *Model) { m.Candidates[4].Lift = 7 },
		"candidates[5]":  func(m *Model) { m.Candidates[5].Involve[plan.Chest] = 3 },
		"candidates[6]":  func(m *Model) { m.Candidates[6].MinSets, m.Candidates[6].MaxSets = 4, 3 },
		"candidates[7]":  func(m *Model) { m.Candidates[7].Pattern = plan.PatternCount },
		"candidates[8]":  func(m *Model) { m.Candidates[8].Preference = 101 },
		"muscles[0]":     func(m *Model) { m.Muscles[0].Muscle = 0 },
		"muscles[1]":     func(m *Model) { m.Muscles[1].Muscle = m.Muscles[0].Muscle },
		"muscles[2]":     func(m *Model) { m.Muscles[2].Weight = 10 },
		"muscles[3]":     func(m *Model) { m.Muscles[3].Wanted = -1 },
		"lifts[0]":       func(m *Model) { m.Lifts[0].Weight = 0 },
		"clashes[0]":     func(m *Model) { m.Clashes[0].B = m.Clashes[0].A },
		"balances[0]":    func(m *Model) { m.Balances = []Balance{{Left: []plan.Pattern{200}}} },
		"candidates[10]": func(m *Model) { m.Candidates[10].Options[1].Hi = 1000 },
	}
	require.NoError(t, strength(week(4, 40, 40), 4, 1).Check())
	for field, f := range spoil {
		m := strength(week(4, 40, 40), 4, 1)
		f(m)
		_, err := Solve(context.Background(), m, nil, 1000)
		e, ok := fault.As(err)
		require.True(t, ok, field)
		require.Equal(t, fault.Internal, e.Kind)
		fields := []string{}
		for _, v := range e.Violations {
			fields = append(fields, v.Field)
		}
		require.Contains(t, fields, field)
	}
	_, err := Solve(context.Background(), week(4, 40, 40), &Assignment{}, 1000)
	require.ErrorContains(t, err, "MALFORMED_PRIOR")
}

// TestWeeks: a window of more weeks whose days come as often gives the same week.
func TestWeeks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := small(t, 3000)
		m.Weeks = 1
		three := *m
		three.Weeks, three.Days = 3, slices.Clone(m.Days)
		for d := range three.Days {
			three.Days[d].Times *= 3
		}
		a, errA := Solve(context.Background(), m, nil, 0)
		b, errB := Solve(context.Background(), &three, nil, 0)
		require.Equal(t, errA == nil, errB == nil)
		if errA != nil {
			return
		}
		require.Equal(t, 3*a.Value[0], b.Value[0])
		require.Equal(t, 3*a.Value[1], b.Value[1])
		require.Equal(t, a.Value[2:], b.Value[2:])
	})
}
