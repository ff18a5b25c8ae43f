package assign

import (
	"fmt"
	"math"
	"slices"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/trial/draw"
)

// Reference is the set of assignments that the scheme could have made of the same units,
// with their chances: what a randomisation test compares the one that happened with. It
// keeps what was fixed by design or drawn before arms: pairs, blocks and their sizes,
// totals; a rerandomisation keeps only balanced draws, a minimisation is run anew in
// the order of entry.
type Reference struct {
	design  Design
	units   []Unit
	groups  []group
	balance *balance // rerandomisation: further condition
}

// group are units whose arms are the first places of a shuffled list, independent of
// the other groups: a pair, a block, or one unit with a list in the ratio.
type group struct {
	units []int
	list  []int // arms, sorted; at least as many as units
}

// NewReference makes the reference set of an assignment. given are all units' arms, as
// Machine.Assigned lists them; others are an Invalid fault.
func NewReference(d Design, units []Unit, given []Assignment) (*Reference, error) {
	if err := d.Check(); err != nil {
		return nil, fault.Within("design", err)
	}
	if len(units) != len(given) {
		return nil, fault.New(fault.Invalid, ReasonUnit, "assigned", fmt.Sprintf("are %d of %d units; want all", len(given), len(units)))
	}
	for i, u := range units {
		if err := d.checkUnit(u); err != nil {
			return nil, fault.Within(fmt.Sprintf("units[%d]", i), err)
		}
		if given[i].Unit != u.ID || given[i].Arm < 0 || given[i].Arm >= len(d.Arms) {
			return nil, fault.New(fault.Invalid, ReasonUnit, fmt.Sprintf("assigned[%d]", i), "is not of the unit enrolled there, or of no arm")
		}
	}
	r := &Reference{design: d, units: units}
	switch d.Scheme {
	case FixedTotals, Rerandomisation:
		if len(units) == 0 {
			return r, nil
		}
		g := group{units: everyone(len(units))}
		for _, a := range given {
			g.list = append(g.list, a.Arm)
		}
		slices.Sort(g.list)
		r.groups = append(r.groups, g)
		if d.Scheme == Rerandomisation {
			b, err := newBalance(units)
			if err != nil {
				return nil, err
			}
			r.balance = b
		}
	case Minimisation:
	default:
		return r, r.group(given)
	}
	return r, nil
}

// group collects pairs, blocks and single units.
func (r *Reference) group(given []Assignment) error {
	at := map[string]int{}
	for i, a := range given {
		key, list := fmt.Sprint("unit ", i), r.design.list(r.design.ratios())
		switch {
		case a.Pair > 0:
			key, list = fmt.Sprint("pair ", a.Pair), []int{0, 1}
		case a.Block > 0:
			if a.Size < 1 || a.Size > MostBlock || a.Size%r.design.ratios() != 0 {
				return fault.New(fault.Invalid, ReasonUnit, fmt.Sprintf("assigned[%d].size", i), fmt.Sprintf("is %d; want a block's", a.Size))
			}
			key, list = fmt.Sprintf("block %s|%d", a.Stratum, a.Block), r.design.list(a.Size)
		}
		g, in := at[key]
		if !in {
			g = len(r.groups)
			at[key] = g
			r.groups = append(r.groups, group{list: list})
		}
		r.groups[g].units = append(r.groups[g].units, i)
		if len(r.groups[g].units) > len(r.groups[g].list) {
			return fault.New(fault.Invalid, ReasonUnit, fmt.Sprintf("assigned[%d]", i), "is one more than its pair or block has places")
		}
	}
	return nil
}

// Size is the number of assignments that Enumerate looks at; infinite for minimisation.
func (r *Reference) Size() float64 {
	if r.design.Scheme == Minimisation {
		return math.Inf(1)
	}
	size := 1.0
	for _, g := range r.groups {
		size *= g.ways()
	}
	return size
}

// ways counts the different beginnings of a group's list as long as its units are many.
func (g group) ways() float64 {
	arms := g.list[len(g.list)-1] + 1
	left := make([]int, arms)
	for _, a := range g.list {
		left[a]++
	}
	// By arm: how many orders of k places can be filled with up to left of each. The
	// exponential generating function's coefficient times k!.
	k := len(g.units)
	poly := make([]float64, k+1)
	poly[0] = 1
	for _, n := range left {
		next := make([]float64, k+1)
		for have, v := range poly {
			for take := 0; take <= n && have+take <= k; take++ {
				next[have+take] += float64(v * choose(have+take, take))
			}
		}
		poly = next
	}
	return poly[k]
}

func choose(n, k int) float64 {
	c := 1.0
	for i := range k {
		c = c * float64(n-i) / float64(i+1)
	}
	return math.Round(c)
}

// Enumerate shows every assignment of the set once, with its chance against the others
// (they add up to 1, or for a rerandomisation to the share accepted). arms is one slice
// used again and again. Minimisation has no list and is an Infeasible fault.
func (r *Reference) Enumerate(see func(arms []int, chance float64)) error {
	if r.design.Scheme == Minimisation {
		return fault.New(fault.Infeasible, ReasonDesign, "design.scheme", "minimisation is drawn, not listed")
	}
	arms := make([]int, len(r.units))
	var fill func(g, place int, left []int, chance float64)
	open := func(g int) []int {
		left := make([]int, len(r.design.Arms))
		if g < len(r.groups) {
			for _, a := range r.groups[g].list {
				left[a]++
			}
		}
		return left
	}
	fill = func(g, place int, left []int, chance float64) {
		if g == len(r.groups) {
			if r.balance == nil || r.balance.accepts(arms, r.design.Rerandomise) {
				see(arms, chance)
			}
			return
		}
		of := r.groups[g]
		if place == len(of.units) {
			fill(g+1, 0, open(g+1), chance)
			return
		}
		for a, n := range left {
			if n == 0 {
				continue
			}
			left[a]--
			arms[of.units[place]] = a
			fill(g, place+1, left, chance*float64(n)/float64(len(of.list)-place))
			left[a]++
		}
	}
	fill(0, 0, open(0), 1)
	return nil
}

// Even tells whether all assignments of the set are as likely as each other.
func (r *Reference) Even() bool {
	if r.design.Scheme == Minimisation {
		return false
	}
	for _, g := range r.groups {
		counts := make([]int, len(r.design.Arms))
		for _, a := range g.list {
			counts[a]++
		}
		// One place of a list: even where the arms are; all places: always.
		if len(g.units) < len(g.list) && (len(g.units) > 1 || slices.Min(counts) != slices.Max(counts)) {
			return false
		}
	}
	return true
}

// Draw makes one assignment of the set by its chance. A rerandomisation without any
// balanced draw is an Infeasible fault.
func (r *Reference) Draw(s draw.Source) ([]int, error) {
	if r.design.Scheme == Minimisation {
		return r.minimised(s)
	}
	arms := make([]int, len(r.units))
	var list [MostBlock]int
	for range mostTries {
		for _, g := range r.groups {
			l := append(list[:0], g.list...)
			draw.Shuffle(s, len(l), func(i, j int) { l[i], l[j] = l[j], l[i] })
			for i, at := range g.units {
				arms[at] = l[i]
			}
		}
		if r.balance == nil || r.balance.accepts(arms, r.design.Rerandomise) {
			return arms, nil
		}
	}
	return nil, fault.New(fault.Infeasible, ReasonBalance, "design.rerandomise.most_micro", "no draw was balanced enough")
}

func (r *Reference) minimised(s draw.Source) ([]int, error) {
	m, err := New(r.design, From(s))
	if err != nil {
		return nil, err
	}
	m.units = r.units
	m.got = make([]*Assignment, len(r.units))
	m.advance()
	arms := make([]int, len(r.units))
	for i, a := range m.got {
		arms[i] = a.Arm
	}
	return arms, nil
}
