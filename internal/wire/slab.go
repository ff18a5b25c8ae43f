package wire

import (
	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/plan"
)

// slab hands out values from growing chunks: a program has thousands of small
// messages, and one allocation for each would cost more than filling them.
type slab[T any] struct{ free []T }

func (s *slab[T]) next() *T {
	if len(s.free) == 0 {
		s.free = make([]T, 128)
	}
	p := &s.free[0]
	s.free = s.free[1:]
	return p
}

// list gives a slice of n values that can't grow into its neighbour.
func (s *slab[T]) list(n int) []T {
	if n == 0 {
		return nil
	}
	if len(s.free) < n {
		s.free = make([]T, max(n, 256))
	}
	l := s.free[:n:n]
	s.free = s.free[n:]
	return l
}

// writer builds a program's message; what there are many of comes from slabs.
type writer struct {
	sets      slab[pb.Set]
	setLists  slab[*pb.Set]
	masses    slab[pb.Mass]
	massLists slab[*pb.Mass]
	kilograms slab[pb.Mass_Kilograms]
	pounds    slab[pb.Mass_Pounds]
	ranges    slab[pb.Range]
	doubles   slab[float64]
	ints      slab[int32]
	exercises slab[pb.ProgramExercise]
	bases     slab[pb.Basis]
	baseLists slab[*pb.Basis]
	cases     slab[pb.Contingency]
	caseLists slab[*pb.Contingency]
	muscles   slab[pb.MuscleTotal]
}

func (w *writer) mass(l plan.Load) *pb.Mass {
	m := w.masses.next()
	switch l.Unit {
	case plan.Kilogram:
		k := w.kilograms.next()
		k.Kilograms = unscale(l.Milli)
		m.Unit = k
	case plan.Pound:
		k := w.pounds.next()
		k.Pounds = unscale(l.Milli)
		m.Unit = k
	}
	return m
}

func (w *writer) massesOf(list []plan.Load) []*pb.Mass {
	out := w.massLists.list(len(list))
	for i := range list {
		out[i] = w.mass(list[i])
	}
	return out
}

func (w *writer) reps(r plan.Range) *pb.Range {
	if r.IsZero() {
		return nil
	}
	p := w.ranges.next()
	p.Min, p.Max = r.Min, r.Max
	return p
}

func (w *writer) percent(o plan.Opt[plan.Permille]) *float64 {
	if !o.Set {
		return nil
	}
	p := w.doubles.next()
	*p = percentTo(o.Value)
	return p
}

func (w *writer) int(o plan.Opt[int32]) *int32 {
	if !o.Set {
		return nil
	}
	p := w.ints.next()
	*p = o.Value
	return p
}
