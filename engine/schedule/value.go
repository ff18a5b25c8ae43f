package schedule

import (
	"fmt"
	"slices"
)

// Value gives the levels of sets[c][d] for candidate c on day d, and whether they keep
// every hard limit and meet every minimum. It decides nothing and believes nobody: for
// checking an answer, whoever gave it. A malformed model, prior or list is an error.
func (m *Model) Value(sets [][]int32, prior *Assignment) (levels []int64, allowed bool, err error) {
	if err := m.Check(); err != nil {
		return nil, false, err
	}
	if err := m.checkPrior(prior); err != nil {
		return nil, false, err
	}
	if err := m.checkPrior(&Assignment{Sets: sets}); err != nil {
		return nil, false, err
	}
	pb := compile(m, prior)
	st := newState(pb)
	allowed = true
	for c := range sets {
		for d, v := range sets[c] {
			o := &m.Candidates[c].Options[d]
			if v == 0 {
				continue
			}
			if v < 0 || !o.Allowed {
				return nil, false, fmt.Errorf("%s has %d sets on day %d, where it may have none", m.Candidates[c].ID, v, d)
			}
			allowed = allowed && v >= o.Lo && v <= o.Hi
			st.set(c*pb.D+d, v)
		}
	}
	return append([]int64(nil), st.val[1:]...), allowed && st.feasible(), nil
}

// Clone gives a model that shares nothing with it.
func (m *Model) Clone() *Model {
	r := *m
	r.Days, r.Muscles, r.Lifts = slices.Clone(m.Days), slices.Clone(m.Muscles), slices.Clone(m.Lifts)
	r.Patterns, r.Clashes, r.Balances = slices.Clone(m.Patterns), slices.Clone(m.Clashes), slices.Clone(m.Balances)
	r.Candidates = slices.Clone(m.Candidates)
	for i := range r.Candidates {
		r.Candidates[i].Options = slices.Clone(m.Candidates[i].Options)
	}
	for i := range r.Patterns {
		r.Patterns[i].Any = slices.Clone(m.Patterns[i].Any)
	}
	for i := range r.Balances {
		r.Balances[i].Left, r.Balances[i].Right = slices.Clone(m.Balances[i].Left), slices.Clone(m.Balances[i].Right)
	}
	return &r
}

// Clone gives an assignment that shares nothing with it; nil of nil.
func (a *Assignment) Clone() *Assignment {
	if a == nil {
		return nil
	}
	r := *a
	r.Sets = slices.Clone(a.Sets)
	for c := range r.Sets {
		r.Sets[c] = slices.Clone(a.Sets[c])
	}
	r.Value, r.Bound, r.Proven = slices.Clone(a.Value), slices.Clone(a.Bound), slices.Clone(a.Proven)
	return &r
}
