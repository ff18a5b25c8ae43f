package power

import (
	"context"
	"fmt"
	"math"
	"strconv"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/trial/analyse"
	"github.com/phasewright/phasewright/engine/trial/assign"
	"github.com/phasewright/phasewright/engine/trial/draw"
)

// Trial is a protocol as far as simulation needs it.
type Trial struct {
	Design   assign.Design
	Units    int // enrolled in all: athletes, or clusters
	World    World
	Alpha    float64 // two-sided; intervals have level 1-alpha
	Smallest float64 // smallest effect of interest, above 0
	Runs     int     // simulated trials, 100 to 1,000,000
	Seed     uint64
}

// Share is an estimated proportion or mean with its Monte Carlo standard error.
type Share struct{ Value, Error float64 }

// Outlook is what the trial would likely show of arm 1 against arm 0.
type Outlook struct {
	Runs, Units  int
	True         float64
	Power        Share // significant at alpha
	Exaggeration Share // type M: size of significant estimates over the true one; 0 without a true effect
	WrongSign    Share // type S: of the significant ones
	Width        Share // of the interval, from end to end
	Coverage     Share // intervals that hold the true effect
	Worth        Share // intervals that lie beyond the smallest effect of interest
	Alike        Share // equivalence shown
	Estimate     Share // mean estimate
	Measured     Share // units with an outcome
	Unanswered   int   // trials without an answer; they count as not significant
	Says         []string
}

// Check says what is wrong with a trial.
func (t *Trial) Check() error {
	c := fault.NewCollector(fault.Invalid)
	if t.Units < 4 || t.Units > 20_000 {
		c.Add(ReasonInput, "units", fmt.Sprintf("are %d; want 4 to 20000", t.Units))
	}
	if t.Runs < 100 || t.Runs > 1_000_000 {
		c.Add(ReasonInput, "runs", fmt.Sprintf("are %d; want 100 to 1000000", t.Runs))
	}
	if !(t.Alpha >= 1e-9 && t.Alpha < 0.5) {
		c.Add(ReasonInput, "alpha", fmt.Sprintf("is %v; want such as 0.05", t.Alpha))
	}
	if !(t.Smallest > 0) || math.IsInf(t.Smallest, 0) {
		c.Add(ReasonInput, "smallest", fmt.Sprintf("is %v; want the smallest effect that would matter, above 0", t.Smallest))
	}
	if c.Len() == 0 {
		work, most := t.Units*t.Runs, 200_000_000
		if t.Design.Scheme == assign.MatchedPairs || t.Design.Scheme == assign.SequentialPairs {
			work, most = t.Units*work, 500_000_000
		}
		if work > most {
			c.Add(ReasonInput, "runs", fmt.Sprintf("are %d, too many of %d units to be simulated in minutes; want at most %d", t.Runs, t.Units, max(100, t.Runs*(most/1000)/(work/1000))))
		}
	}
	if err := c.Err(); err != nil {
		return err
	}
	if err := t.Design.Check(); err != nil {
		return fault.Within("design", err)
	}
	return fault.Within("world", t.World.check(len(t.Design.Arms)))
}

// Simulate runs the trial Runs times. Run i draws from a stream of its own, athlete by
// athlete, so that trials of other sizes meet the same athletes first and differences
// between sizes are less noisy.
func Simulate(ctx context.Context, t Trial) (*Outlook, error) {
	if err := t.Check(); err != nil {
		return nil, err
	}
	s := newSums(&t)
	for i := range t.Runs {
		if ctx.Err() != nil {
			return nil, fault.Wrap(fault.Canceled, "CANCELED", context.Cause(ctx))
		}
		d, err := t.invent(uint64(i))
		if err != nil {
			return nil, err
		}
		s.add(d)
	}
	return s.outlook(), nil
}

// invent enrols, assigns and measures one trial.
func (t *Trial) invent(run uint64) (*analyse.Data, error) {
	z := draw.Normal{Source: draw.Fast(t.Seed, 2*run)}
	m, err := assign.New(t.Design, assign.From(draw.Fast(t.Seed, 2*run+1)))
	if err != nil {
		return nil, err
	}
	people := make([]person, t.Units)
	d := &analyse.Data{Design: t.Design, Baseline: make([]plan.Opt[float64], t.Units), Outcome: make([]plan.Opt[float64], t.Units)}
	for i := range people {
		u := t.World.unit(&z, &t.Design, &people[i])
		u.ID = strconv.Itoa(i)
		if err := m.Enrol(u); err != nil {
			return nil, err
		}
	}
	if err := m.Close(); err != nil {
		return nil, err
	}
	d.Units, d.Assigned = m.Units(), m.Assigned()
	for i, a := range d.Assigned {
		d.Baseline[i], d.Outcome[i] = t.World.measure(&people[i], a.Arm)
	}
	return d, nil
}

// person is a unit with all its chances drawn beforehand, so that its arm changes
// nothing else.
type person struct {
	before          []float64 // measured, by member
	level, response []float64 // true level; response in SDs
	error, leave    []float64
}

func (w *World) unit(z *draw.Normal, d *assign.Design, p *person) assign.Unit {
	var u assign.Unit
	shift := 0.0
	for k := range d.Factors {
		high := draw.Below(z.Source, 2) == 1
		u.Levels = append(u.Levels, map[bool]string{false: "low", true: "high"}[high])
		if s := float64(at(w.FactorShift, k) * w.Spread); high {
			shift += float64(s / 2)
		} else {
			shift -= float64(s / 2)
		}
	}
	n := max(1, w.ClusterSize)
	between, within := 0.0, 1.0
	if w.ClusterSize > 1 {
		between, within = math.Sqrt(w.ClusterICC), math.Sqrt(1-w.ClusterICC)
	}
	common, commonResponse := z.Next(), z.Next()
	var mean, trueLevel float64
	for range n {
		level := float64(w.Spread * (float64(between*common) + float64(within*z.Next())))
		response := float64(between*commonResponse) + float64(within*z.Next())
		p.level = append(p.level, level+shift)
		p.response = append(p.response, response)
		p.before = append(p.before, level+shift+float64(w.TypicalError*z.Next()))
		p.error = append(p.error, w.TypicalError*z.Next())
		p.leave = append(p.leave, draw.Uniform(z.Source))
		mean += p.before[len(p.before)-1] / float64(n)
		trueLevel += (level + shift) / float64(n)
	}
	scale := w.Spread + w.TypicalError
	for k := range d.Covariates {
		v := mean / scale
		if k > 0 {
			r := at(w.CovariateR, k-1)
			v = float64(z.Next() * math.Sqrt(1-float64(r*r)))
			if w.Spread > 0 {
				v += float64(r * trueLevel / w.Spread)
			}
		}
		u.Covariates = append(u.Covariates, int64(math.Round(1000*v)))
	}
	return u
}

// measure gives baseline and outcome of a unit in an arm: means over its members.
func (w *World) measure(p *person, arm int) (before, after plan.Opt[float64]) {
	sd := math.Sqrt(float64(w.TypicalError*w.TypicalError) + float64(at(w.Response, arm)*at(w.Response, arm)))
	var sum, base, n float64
	for i := range p.level {
		base += p.before[i] / float64(len(p.level))
		own := float64(at(w.Response, arm)*p.response[i]) + p.error[i]
		if p.leave[i] < w.leaving(arm, own, sd) {
			continue
		}
		sum += p.level[i] + w.Gain[arm] + own
		n++
	}
	before = plan.Some(base)
	if n > 0 {
		after = plan.Some(sum / n)
	}
	return before, after
}

// leaving is the chance to have no outcome, for a change that is own above the arm's gain.
func (w *World) leaving(arm int, own, sd float64) float64 {
	p := at(w.Dropout, arm)
	if p == 0 || w.DropoutSlope == 0 || sd == 0 {
		return p
	}
	l := math.Log(p/(1-p)) - w.DropoutSlope*own/sd
	return 1 / (1 + math.Exp(-l))
}
