package reference

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math/rand/v2"

	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/schedule"
)

// Case is a model to check, with the prior that it was solved against.
type Case struct {
	Name  string
	Model *schedule.Model
	Prior *schedule.Assignment
}

// Hash names the content of a case: SHA-256 of its JSON without the texts that are only
// there for sentences, 16 digits of it.
func (c *Case) Hash() string {
	m := c.Model.Clone()
	for d := range m.Days {
		x := &m.Days[d]
		x.Path, x.Name, x.ExercisesPath, x.SetsPath = "", "", "", ""
	}
	for i := range m.Candidates {
		m.Candidates[i].Path, m.Candidates[i].Name = "", ""
	}
	for i := range m.Muscles {
		m.Muscles[i].Path, m.Muscles[i].SessionPath = "", ""
	}
	for i := range m.Lifts {
		m.Lifts[i].Path = ""
	}
	for i := range m.Clashes {
		m.Clashes[i].Path = ""
	}
	var prior [][]int32
	if c.Prior != nil {
		prior = c.Prior.Sets
	}
	data, err := json.Marshal(struct {
		Model *schedule.Model
		Prior [][]int32
	}{m, prior})
	if err != nil {
		panic(err) // integers and texts alone
	}
	h := sha256.Sum256(data)
	return hex.EncodeToString(h[:8])
}

// Classes of size, in rising order.
var Classes = [...]string{"small", "medium", "large"}

// Class gives the size class of a case.
func (c *Case) Class() string {
	days, n := len(c.Model.Days), len(c.Model.Candidates)
	switch {
	case days <= 3 && n <= 25:
		return Classes[0]
	case days <= 4 && n <= 45:
		return Classes[1]
	}
	return Classes[2]
}

// Draw makes the random case of a number: by turns small (2 or 3 days, 15 to 25
// candidates, 10 muscles), medium (3 or 4 days, 26 to 40, 14) and large (5 or 6 days, 41 to
// 60, 18), with times, involvement and wishes of the kind that training has. Two of three
// have too few minutes for what they want. Equal numbers give equal cases.
func Draw(number int) Case {
	r := rand.New(rand.NewPCG(uint64(number), 20261126))
	between := func(lo, hi int32) int32 { return lo + r.Int32N(hi-lo+1) }
	chance := func(percent int32) bool { return r.Int32N(100) < percent }
	size := number % 3
	days := []int32{between(2, 3), between(3, 4), between(5, 6)}[size]
	candidates := []int32{between(15, 25), between(26, 40), between(41, 60)}[size]
	muscles := min([]int32{10, 14, 18}[size], int32(plan.MuscleCount)-1)
	weeks := []int32{1, 1, 2, 4}[r.IntN(4)]
	m := &schedule.Model{Weeks: weeks, Seed: r.Uint32()}
	minutes := []int32{between(20, 45), between(25, 50), between(50, 90)}[r.IntN(3)]
	for d := range days {
		n := minutes
		if chance(50) { // unequal days are the hard ones
			n = max(15, minutes+between(-20, 20))
		}
		day := schedule.Day{Path: fmt.Sprintf("constraints.days[%d].minutes", d), Times: weeks, Capacity: 4 * n, MaxExercises: between(5, 8), MinExercises: 3, MaxSets: between(14, 28)}
		if weeks > 1 && chance(15) {
			day.Times = between(1, weeks)
		}
		m.Days = append(m.Days, day)
	}
	muscle := func() plan.Muscle { return plan.Muscle(1 + r.Int32N(muscles)) }
	for c := range candidates {
		multi := chance(55)
		x := schedule.Candidate{ID: fmt.Sprintf("x%02d", c), Pattern: plan.Pattern(1 + r.Int32N(int32(plan.PatternCount)-1)), MaxDays: min(days, 3), Lift: -1, Preference: between(20, 90)}
		o := schedule.Option{Allowed: true, Lo: 2, Hi: between(3, 5), Fixed: between(-6, 0), PerSet: between(8, 11)}
		primes, others := 1, between(0, 1)
		if multi {
			primes, others = int(between(1, 3)), between(1, 4)
			o.Hi, o.Fixed, o.PerSet = between(4, 6), between(0, 14), between(11, 17)
		}
		for range others {
			x.Involve[muscle()] = 1
		}
		for range primes {
			x.Involve[muscle()] = 2
		}
		if multi && chance(15) {
			x.Involve[plan.MuscleUnspecified] = 2
		}
		if chance(40) {
			x.Variant = fmt.Sprintf("v%d", r.Int32N(candidates/4))
		}
		if chance(8) {
			x.MaxSets = between(3, 8)
		}
		for range days {
			p := o
			p.Allowed = chance(92)
			x.Options = append(x.Options, p)
		}
		x.Options[r.IntN(int(days))].Allowed = true
		m.Candidates = append(m.Candidates, x)
	}
	for l := range r.Int32N(3) {
		path := fmt.Sprintf("goals[%d]", l)
		x := &m.Candidates[l]
		m.Lifts = append(m.Lifts, schedule.Lift{ID: x.ID, Path: path, Wanted: between(4, 10), Weight: between(3, 9), MinDays: between(0, 1)})
		x.Lift, x.Path, x.Preference, x.MaxDays = l, path, 100, days
	}
	if chance(25) {
		x := &m.Candidates[candidates-1]
		x.Path, x.MinDays = "constraints.pinned[0]", 1
	}
	for k := range muscles {
		w := schedule.Muscle{Muscle: plan.Muscle(k + 1), Wanted: plan.HalfSets(between(4, 24)), Weight: between(1, 5), MaxSession: 16}
		switch {
		case chance(20):
			w.PrioritySoft, w.Weight, w.DirectWanted = true, between(4, 9), w.Wanted/2
		case chance(30):
			w.Floor = min(8, w.Wanted)
		case chance(15):
			w.MaxWeek, w.Path = w.Wanted+plan.HalfSets(between(2, 8)), fmt.Sprintf("constraints.limits.muscle_sets_per_week[%d]", k)
		}
		m.Muscles = append(m.Muscles, w)
	}
	for d := int32(1); d < days; d++ {
		for range 2 {
			m.Clashes = append(m.Clashes, schedule.Clash{Muscle: plan.Muscle(r.Int32N(muscles + 1)), A: d - 1, B: d, Cap: 4, Hard: chance(10), Path: "constraints.recovery[0]"})
		}
	}
	for range 3 {
		first := between(1, int32(plan.PatternCount)-3)
		m.Patterns = append(m.Patterns, schedule.Pattern{Name: "drawn", Any: []plan.Pattern{plan.Pattern(first), plan.Pattern(first + 1)}, Wanted: 2, Weight: between(1, 3)})
	}
	m.Balances = []schedule.Balance{{Name: "drawn", Left: []plan.Pattern{1, 2, 3}, Right: []plan.Pattern{5, 6, 7}}}
	return Case{Name: fmt.Sprintf("drawn/%03d", number), Model: m}
}
