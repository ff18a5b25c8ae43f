package app_test

import (
	"fmt"
	"slices"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// Facts about a request and the catalogue, worked out anew.

func placeOf(r *plan.Request, id string) *plan.Place {
	for i := range r.Constraints.Places {
		if r.Constraints.Places[i].ID == id {
			return &r.Constraints.Places[i]
		}
	}
	return nil
}

// restricted reports an exercise that a restriction rules out: a marked stress of the
// joint always, a mild one where the joint is to be spared altogether.
func restricted(r *plan.Request, x *exercise.Exercise) bool {
	for _, b := range r.Athlete.Restrictions {
		stress := uint8(0)
		if b.Joint != 0 {
			stress = x.Stress[b.Joint]
		}
		if b.ExerciseID != "" && b.ExerciseID == x.ID || b.Pattern != 0 && b.Pattern == x.Pattern ||
			stress == 2 || stress == 1 && b.Severity != plan.SeverityMild {
			return true
		}
	}
	return false
}

// equipped reports that a place has all things of one way to do the exercise, and
// something to load it with.
func equipped(x *exercise.Exercise, p *plan.Place) bool {
	held := func(stock []plan.HeldStock, n int32) bool {
		have := map[plan.Load]int32{}
		for _, s := range stock {
			if have[s.Mass] += s.Count; have[s.Mass] >= n {
				return true
			}
		}
		return false
	}
	loads := true
	switch x.Loading {
	case plan.LoadingBar:
		loads = slices.ContainsFunc(p.Bars, func(b plan.Bar) bool { return b.Kind == x.Bar })
	case plan.LoadingPlateMachine:
		loads = slices.ContainsFunc(p.Plates, func(s plan.PlateStock) bool { return s.Count >= 2 })
	case plan.LoadingStack:
		loads = len(p.Stacks) > 0
	case plan.LoadingDumbbell:
		loads = held(p.Dumbbells, 1)
	case plan.LoadingDumbbellPair:
		loads = held(p.Dumbbells, 2)
	case plan.LoadingKettlebell:
		loads = held(p.Kettlebells, 1)
	case plan.LoadingKettlebellPair:
		loads = held(p.Kettlebells, 2)
	}
	if len(x.Equipment) == 0 {
		return loads
	}
	return loads && slices.ContainsFunc(x.Equipment, func(alt []plan.Equipment) bool {
		return !slices.ContainsFunc(alt, func(e plan.Equipment) bool { return !slices.Contains(p.Items, e) })
	})
}

// bounds are what safety lets a program do, by the table of contraindications,
// screening, age and experience.
type bounds struct {
	rir                int32
	cap                plan.Permille // below it, or at most it where exact
	leastRM            int32
	leastReps, topReps int32
	failure            bool
	flags              exercise.Flag
}

func (b *bounds) atMost(rir int32, cap plan.Permille) {
	b.rir = max(b.rir, rir)
	if cap > 0 && (b.cap == 0 || cap < b.cap) {
		b.cap = cap
	}
	if cap > 0 {
		b.failure = false
	}
}

const underVigorous plan.Permille = 799

// boundsOf reads a settled request.
func boundsOf(r *plan.Request) bounds {
	a := &r.Athlete
	b := bounds{failure: true}
	base := r.Constraints.PreparedOn
	if !base.Set {
		base = r.Constraints.Start
	}
	scope := plan.ScopeUnspecified
	if c := a.Clearance; c.Set && c.Value.Date.Set && base.Set && base.Value-c.Value.Date.Value <= 365 {
		scope = c.Value.Scope
	}
	q := a.Screening.Value
	answered := q.RegularExercise.Set && q.KnownDisease.Set && q.Symptoms.Set
	if !answered || !q.RegularExercise.Value || (q.KnownDisease.Value || q.Symptoms.Value) && scope != plan.ScopeVigorous {
		b.atMost(2, underVigorous)
	}
	for _, c := range q.Conditions {
		if scope == plan.ScopeModerate {
			b.atMost(2, underVigorous)
		}
		switch c {
		case plan.AdvancedRetinopathy, plan.HypertensionAbove160Over100, plan.LowCapacity, plan.StrainSensitive:
			b.atMost(3, underVigorous)
		}
	}
	switch {
	case a.Age.Minor() && a.Status == plan.Novice:
		b.atMost(3, 600)
	case a.Age.Minor():
		b.atMost(3, underVigorous)
	}
	if a.Age.Minor() {
		b.leastReps, b.topReps = 6, 15
	}
	if a.Pregnancy != plan.NotPregnant {
		b.atMost(3, underVigorous)
		b.flags |= exercise.Jump
	}
	if a.Pregnancy == plan.SecondTrimester || a.Pregnancy == plan.ThirdTrimester {
		b.flags |= exercise.Supine | exercise.Prone
	}
	if a.Status == plan.Novice {
		b.atMost(2, 0)
		b.leastRM, b.failure = 8, false
	}
	return b
}

// least is the smallest reserve an exercise may have at a place.
func (b *bounds) least(r *plan.Request, x *exercise.Exercise, p *plan.Place) int32 {
	n := b.rir
	if x.Is(exercise.UnderBar) && x.Loading == plan.LoadingBar && !r.Athlete.Spotter.Value && !p.Safeties.Value {
		n = max(n, 2)
	}
	if x.Pattern.Explosive() {
		n = max(n, 3)
	}
	return n
}

// Masses on the grid on which kg and lb are whole: 1e-11 kg.
func exactly(l plan.Load) int64 {
	if l.Unit == plan.Pound {
		return l.Milli * 45_359_237
	}
	return l.Milli * 100_000_000
}

// shelf is the loads that can be set at a place, by trying every choice of pieces.
type shelf struct {
	p     *plan.Place
	pairs map[int64]bool // of plates on both sides
	hung  map[int64]bool // of single plates
}

func newShelf(p *plan.Place) *shelf { return &shelf{p: p} }

// sums gives all sums of up to count pieces of each mass.
func sums(plates []plan.PlateStock, share int32, times, most int64) map[int64]bool {
	out := map[int64]bool{0: true}
	for _, s := range plates {
		next := map[int64]bool{}
		for v := range out {
			for k := int64(0); k <= int64(s.Count/share); k++ {
				if w := v + k*times*exactly(s.Mass); w <= most {
					next[w] = true
				}
			}
		}
		out = next
	}
	return out
}

const ton = int64(1000) * 100_000_000_000

// builds reports that a load can be set for an exercise; a total of both units is
// stated to the nearest thousandth.
func (s *shelf) builds(x *exercise.Exercise, l plan.Load) bool {
	if s.pairs == nil {
		s.pairs = sums(s.p.Plates, 2, 2, 600*ton/1000)
	}
	near := func(v int64) bool {
		per := int64(100_000_000)
		if l.Unit == plan.Pound {
			per = 45_359_237
		}
		off := v - exactly(l)
		return 2*off <= per && -2*off <= per
	}
	any := func(base int64, of map[int64]bool) bool {
		if of[exactly(l)-base] {
			return true
		}
		for v := range of {
			if near(base + v) {
				return true
			}
		}
		return false
	}
	held := func(stock []plan.HeldStock, n int32) bool {
		have := int32(0)
		for _, h := range stock {
			if h.Mass == l {
				have += h.Count
			}
		}
		return have >= n
	}
	switch x.Loading {
	case plan.LoadingBar:
		for _, b := range s.p.Bars {
			if b.Kind == x.Bar && b.Mass.Unit == l.Unit && any(exactly(b.Mass), s.pairs) {
				return true
			}
		}
	case plan.LoadingPlateMachine:
		return len(s.p.Plates) > 0 && any(0, s.pairs)
	case plan.LoadingStack, plan.LoadingAssisted:
		for _, k := range s.p.Stacks {
			if x.Loading == plan.LoadingAssisted && k.Kind != plan.EquipmentUnspecified && k.Kind != plan.AssistedPullUpMachine {
				continue
			}
			for v := exactly(k.First); v <= exactly(k.Last); v += exactly(k.Step) {
				if l.Unit == k.First.Unit && near(v) {
					return true
				}
			}
		}
	case plan.LoadingDumbbell:
		return held(s.p.Dumbbells, 1)
	case plan.LoadingDumbbellPair:
		return held(s.p.Dumbbells, 2)
	case plan.LoadingKettlebell:
		return held(s.p.Kettlebells, 1)
	case plan.LoadingKettlebellPair:
		return held(s.p.Kettlebells, 2)
	case plan.LoadingAdded:
		if l.Milli == 0 {
			return true
		}
		if s.hung == nil {
			s.hung = sums(s.p.Plates, 1, 1, 150*ton/1000)
		}
		for _, h := range s.p.Dumbbells {
			if h.Count > 0 && near(exactly(h.Mass)) {
				return true
			}
		}
		return any(0, s.hung)
	}
	return false
}

// units reports that a load is in a unit that something of the place is in.
func units(p *plan.Place) [3]bool {
	var u [3]bool
	for _, b := range p.Bars {
		u[b.Mass.Unit] = true
	}
	for _, s := range p.Plates {
		u[s.Mass.Unit] = true
	}
	for _, s := range slices.Concat(p.Dumbbells, p.Kettlebells) {
		u[s.Mass.Unit] = true
	}
	for _, s := range p.Stacks {
		u[s.First.Unit] = true
	}
	return u
}

// clock re-computes an exercise's time from the time model: setting up, repetitions,
// rests, both sides of one-sided work with half the rest. Tenths of a second.
func clock(x *exercise.Exercise, e *plan.ProgramExercise) int64 {
	sum := int64(x.Setup) * 10
	last := -1
	for i := range e.Sets {
		if e.Sets[i].Kind != plan.SetWarmup {
			last = i
		}
	}
	for i := range e.Sets {
		s := &e.Sets[i]
		rep := int64(x.Rep) * 10
		if !s.Tempo.IsZero() {
			rep = 10 * int64(s.Tempo.Down+s.Tempo.Hold+s.Tempo.Up)
		}
		work := int64(max(s.Reps.Max, s.Expected)) * rep
		if !s.Hold.IsZero() {
			work = int64(s.Hold.Max) * 10
		}
		rest := int64(s.Rest) * 10
		if x.Unilateral {
			work, rest = 2*work, rest/2
		}
		if s.Kind != plan.SetWarmup {
			work += int64(x.SetSetup) * 10
		}
		if i == last {
			rest = 0
		}
		sum += work + rest
	}
	return sum
}

// sessionTime gives a session's seconds, rounded up: general warm-up, exercises, the
// end.
func sessionTime(cat *exercise.Catalogue, s *plan.Session) plan.Seconds {
	least := plan.Seconds(300)
	if s.Limit <= 1800 {
		least = 180
	}
	sum := plan.Seconds(60) + max(least, s.Warmup)
	for i := range s.Exercises {
		if x, ok := cat.ByID(s.Exercises[i].ExerciseID); ok {
			sum += plan.Seconds((clock(x, &s.Exercises[i]) + 9) / 10)
		}
	}
	return sum
}

func at(w *plan.Week, s *plan.Session, id string) string {
	return fmt.Sprintf("week %d %s %s", w.Number, s.Weekday, id)
}
