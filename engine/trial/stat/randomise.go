package stat

import (
	"fmt"
	"math"

	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/trial/draw"
)

// Assignments are those that a scheme could have made, as assign.Reference has them.
type Assignments interface {
	Size() float64 // how many Enumerate shows; infinite where they can't be listed
	Even() bool    // all as likely
	Enumerate(see func(arms []int, chance float64)) error
	Draw(s draw.Source) ([]int, error)
}

// Contrast is the adjusted difference of arm 1 and arm 0, as a statistic for many
// assignments of the same outcomes: least squares on the covariates and groups.
type Contrast struct {
	rows    []int // units that the outcomes are of
	y       []float64
	q       [][]float64 // orthonormal covariates within groups
	by      []int
	sizes   []float64
	scratch []float64
	scale   float64
	student bool
}

// NewContrast prepares the statistic. rows says of which unit each outcome is, so that
// units without one stay in the assignment. Arms beyond 1 are refused by Test. With
// student the statistic is over its own standard error, which keeps the test honest
// where arms differ in spread (Wu & Ding 2021, J Am Stat Assoc 116:1898-1913).
func NewContrast(rows []int, y []float64, covariates [][]float64, group []int, student bool) (*Contrast, error) {
	if len(rows) != len(y) {
		return nil, invalid("rows", "are %d for %d outcomes", len(rows), len(y))
	}
	if _, err := LeastSquares(Model{y, covariates, group}); err != nil {
		return nil, err // its checks of the input
	}
	c := &Contrast{rows: rows, student: student, scratch: make([]float64, len(y))}
	c.by, c.sizes = groups(group, len(y))
	c.y = within(y, c.by, c.sizes)
	c.scale = math.Sqrt(dot(c.y, c.y)/float64(max(1, len(y)))) + 1e-300
	clean := &Fit{Aliased: make([]bool, len(covariates))}
	q, _ := clean.orthogonal(covariates, c.by, c.sizes)
	for _, col := range q {
		if col != nil {
			c.q = append(c.q, col)
		}
	}
	c.project(c.y)
	return c, nil
}

func (c *Contrast) project(x []float64) {
	for _, q := range c.q {
		k := dot(q, x)
		for i := range x {
			x[i] -= float64(k * q[i])
		}
	}
}

// treat puts what the covariates leave of the arms into scratch.
func (c *Contrast) treat(arms []int) {
	for i, u := range c.rows {
		c.scratch[i] = float64(arms[u])
	}
	sums := make([]float64, len(c.sizes))
	for i, v := range c.scratch {
		sums[c.by[i]] += v
	}
	for i := range c.scratch {
		c.scratch[i] -= sums[c.by[i]] / c.sizes[c.by[i]]
	}
	c.project(c.scratch)
}

// Of is the statistic for one assignment; 0 where it leaves nothing to compare.
func (c *Contrast) Of(arms []int) float64 {
	c.treat(arms)
	ww := dot(c.scratch, c.scratch)
	if ww <= 1e-12 {
		return 0
	}
	tau := dot(c.scratch, c.y) / ww
	if !c.student {
		return tau
	}
	df := float64(len(c.y) - len(c.sizes) - len(c.q) - 1)
	rest := dot(c.y, c.y) - float64(tau*tau*ww)
	if df <= 0 || rest <= 1e-14*dot(c.y, c.y) {
		return math.Copysign(1e15, tau)
	}
	return tau * math.Sqrt(ww*df/rest)
}

// Randomisation is the test that compares the assignment that happened with all that
// could have: its p-value rests on the drawing alone, on no distribution of outcomes.
type Randomisation struct {
	Observed        float64
	Exact           bool    // all assignments looked at; else Draws of them
	Looked          float64 // assignments looked at
	Extreme         float64 // of these as far from 0 as what happened, it included
	ExtremeGreater  float64
	P, PGreater     float64 // two-sided; towards arm 1
	MonteCarloError float64 // standard error of P from drawing; 0 when exact
	// Effects that the test does not reject, at Level; an end is unset where there are too
	// few assignments to reject anything.
	Low, High plan.Opt[float64]
	Level     float64
}

// Limits of the test.
const (
	MostListed   = 1 << 20
	DefaultDraws = 9999
)

type point struct{ at, per, chance float64 }

// TestAssignment runs the test of no effect on any unit, and inverts it for an interval
// of constant effects. Up to MostListed assignments are all looked at; else draws of
// them are made from source, and p is (1+extreme)/(1+draws) (Phipson & Smyth 2010, Stat
// Appl Genet Mol Biol 9:39), never 0. The interval is that of the plain contrast, also
// with a studentised test.
func TestAssignment(ref Assignments, observed []int, c *Contrast, draws int, source draw.Source, level float64) (*Randomisation, error) {
	if err := checkLevel(level); err != nil {
		return nil, err
	}
	for i, a := range observed {
		if a != 0 && a != 1 {
			return nil, invalid(fmt.Sprintf("arms[%d]", i), "is %d; this test compares arms 0 and 1", a)
		}
	}
	c.treat(observed)
	if dot(c.scratch, c.scratch) <= 1e-12 {
		return nil, infeasible(ReasonAlias, "arms", "can't be compared within the strata and covariates: one arm is empty or tied to them")
	}
	plain := *c
	plain.student = false
	w := make([]float64, len(c.rows)) // the arms that happened, as an outcome
	copy(w, c.scratch)
	r := &Randomisation{Observed: c.Of(observed), Level: level}
	hit := &hits{eps: 1e-9 * max(math.Abs(r.Observed), c.noise()), observed: r.Observed}
	var points []point
	look := func(arms []int, chance float64) {
		t := c.Of(arms) // and leaves in scratch what the covariates leave of the arms
		hit.count(t, chance)
		ww := dot(c.scratch, c.scratch)
		if ww > 1e-12 {
			points = append(points, point{dot(c.scratch, c.y) / ww, dot(c.scratch, w) / ww, chance})
		} else {
			points = append(points, point{0, 0, chance})
		}
	}
	if ref.Size() <= MostListed {
		r.Exact = true
		if err := ref.Enumerate(look); err != nil {
			return nil, err
		}
		r.P, r.PGreater = hit.two/hit.all, hit.greater/hit.all
		if ref.Even() {
			r.P, r.PGreater = hit.n2/hit.n, hit.n1/hit.n
		}
		r.Looked, r.Extreme, r.ExtremeGreater = hit.n, hit.n2, hit.n1
	} else {
		look(observed, 1)
		for range draws {
			arms, err := ref.Draw(source)
			if err != nil {
				return nil, err
			}
			look(arms, 1)
		}
		r.P, r.PGreater = hit.n2/hit.n, hit.n1/hit.n
		r.Looked, r.Extreme, r.ExtremeGreater = hit.n, hit.n2, hit.n1
		r.MonteCarloError = math.Sqrt(r.P * (1 - r.P) / hit.n)
	}
	r.Low, r.High = invert(points, plain.Of(observed), c.scale, 1-level)
	return r, nil
}

// noise is the size that rounding gives a statistic of no effect.
func (c *Contrast) noise() float64 {
	if c.student {
		return 1
	}
	return c.scale
}

type hits struct {
	eps, observed     float64
	n, n1, n2         float64
	all, two, greater float64
}

func (h *hits) count(t, chance float64) {
	h.n++
	h.all += chance
	if math.Abs(t) >= math.Abs(h.observed)-h.eps {
		h.n2++
		h.two += chance
	}
	if t >= h.observed-h.eps {
		h.n1++
		h.greater += chance
	}
}

// invert finds the effects tau that |T(w) - tau b(w)| >= |T - tau| does not make rare.
func invert(points []point, estimate, scale, alpha float64) (low, high plan.Opt[float64]) {
	var all float64
	for _, p := range points {
		all += p.chance
	}
	kept := func(tau float64) bool {
		var sum float64
		bar := math.Abs(estimate-tau) - float64(1e-9*scale)
		for _, p := range points {
			if math.Abs(p.at-float64(tau*p.per)) >= bar {
				sum += p.chance
			}
		}
		return sum > alpha*all
	}
	end := func(sign float64) plan.Opt[float64] {
		in, out := estimate, estimate+sign*scale
		for step := scale; kept(out); step *= 2 {
			if step > 1e6*scale {
				return plan.Opt[float64]{}
			}
			in, out = out, out+sign*step
		}
		for range 60 {
			if m := float64((in + out) / 2); kept(m) {
				in = m
			} else {
				out = m
			}
		}
		return plan.Some((in + out) / 2)
	}
	return end(-1), end(1)
}
