package load

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// The athlete's state in one exercise is a Gaussian over two numbers: m, the log of
// today's 1RM, and l, the log of the slope s, by which the family's curve C is
// stretched in repetitions (s 1.1: a tenth more beyond the first at one intensity).
//
// Performance i, with load w and n repetitions to failure, is read as
//
//	log w = m + log C(1 + (n-1)/e^l) + error
//	n = reps                          to failure; 1 for a test
//	n = reps + RIR + 0.95             reported (half of the 0.95 at a called 0)
//	n = reps + 1                      neither
//
// and made linear where m and l foretell the repetitions, at v (the noise is in the
// repetitions, so taking the curve where they were counted would bias the slope; v is
// n in the first round, and always within 2/3 n and 3/2 n): with k the fall of log C a
// repetition there,
//
//	log w - log C(1 + (v-1)/e^l0) + k(n - v) = m + h(l - l0) + error,  h = k(v-1).
//
// The errors are Gaussian with mean 0; those of i and j have the covariance R, the sum of
//
//	single effort   0.015² + k²(0.5² + (0.06 v)² + 1/12 + report²)       where i = j
//	day             0.020²                                               of one day
//	report, day     k k' report report'                                  of one day, both reported
//	person's bias   k k' 1.0² (less at a called 0)                       both reported
//	curve           c² |log C| |log C'| max(0, 1 - |v-v'|/8)             no tests
//	trend           t² a a'   (a age in weeks, at most 52)
//	walk            q² min(a, a')
//	layoff          half the loss × half the loss'
//
// where report is 0.5 + 0.25 RIR repetitions (1.5 in all without a report); a test has
// the 0.015 alone for its single effort. A layoff's loss (1 % a week from the third,
// 20 % at most) since the performance is taken off its load. Every number has its
// source, or the word judgement, in noise.go; the prior's in prior.go.
//
// With prior mean x0 = (m0, l0) and covariance P, rows H = (1, h) and y the left side
// less m0 and h(l0 - slope looked at), the posterior is the textbook one:
//
//	S = H P Hᵀ + R,   x = x0 + P Hᵀ S⁻¹ y,   V = P - P Hᵀ S⁻¹ H P.
//
// It is worked out eight times in all, each from m and l found before (Gauss and
// Newton). Performance i is compared with what all others foretell,
// (S⁻¹y)_i / √(S⁻¹)_ii in SD; the farthest beyond 4 is set aside and the rest done
// again, as long as more than half remain or the prior is as sure as a performance.
// Where what is kept scatters more than 3 SD over what S foretells, V is widened by
// the excess.

// Observation is one performance: the first hard set of the exercise on its day, as
// later ones carry fatigue, or several of a day that were fully rested.
type Observation struct {
	Grams   int64           // all that is moved: load plus the share of body mass carried
	Reps    int32           // done, at least 1
	RIR     plan.Opt[int32] // repetitions left, as reported
	Failure bool            // no further repetition was possible; RIR is then ignored
	Tested  bool            // a 1RM test; Reps is 1
	AgeDays int32           // since it was done; of one day when equal
}

// Posterior is what is known of an athlete's 1RM and slope in one exercise.
type Posterior struct {
	MeanGrams       int64 // today's 1RM: the middle of the distribution, which is even on the log scale
	SDPermille      int32 // of the log of the 1RM, so about of the 1RM
	SlopePermille   int32 // 1000: the family's curve; for Shifted within its bounds
	SlopeSDPermille int32 // of the log of the slope
	CorrPermille    int32 // correlation of both logs: negative where lifts of few repetitions are missing
	N               int   // performances used; with none it is the prior
}

// Limits of the posterior.
const (
	maxObservations = 120 // newest kept
	looks           = 8   // times the curve is looked at
	farSD           = 4
	mostSD          = 1000 // permille
	minSlope        = 500  // permille
	maxSlope        = 2000
	sureSD          = 100 // permille: a prior that may call a single performance wrong
	vagueSD         = 3.0 // of the log 1RM where the prior has no mean: a factor of twenty
)

// Posterior joins a prior and any number of performances through the unshifted curve;
// a shift of c is ignored. What can't be or stands far out is set aside with the reason
// and moves nothing. Without any usable performance it is the prior; where the prior
// has no mean it is then a NotFound fault. A prior that can't be is Invalid.
func (c *Curve) Posterior(prior Prior, obs []Observation) (Posterior, []SetAside, error) {
	if err := prior.check(); err != nil {
		return Posterior{}, nil, err
	}
	var aside []SetAside
	var seen []sighting
	for i := range obs {
		if why := c.impossible(&obs[i], &prior); why != AsideUnspecified {
			aside = append(aside, SetAside{i, 0, why})
			continue
		}
		seen = append(seen, read(&obs[i], i, &prior))
	}
	// One order whatever the caller's, so that sums round alike.
	slices.SortStableFunc(seen, func(a, b sighting) int {
		return cmp.Or(cmp.Compare(a.age, b.age), cmp.Compare(a.log, b.log), cmp.Compare(a.reps, b.reps), cmp.Compare(a.kind, b.kind), cmp.Compare(a.rir, b.rir))
	})
	if len(seen) > maxObservations {
		for _, s := range seen[maxObservations:] {
			aside = append(aside, SetAside{s.index, 0, AsideOld})
		}
		seen = seen[:maxObservations]
	}
	if len(seen) == 0 {
		sortAside(aside)
		if prior.MeanGrams == 0 {
			return Posterior{}, aside, fault.New(fault.NotFound, "NO_EVIDENCE", "observations", "no usable performance has been shown yet; find the load on the first day")
		}
		return Posterior{MeanGrams: prior.MeanGrams, SDPermille: prior.SDPermille, SlopePermille: prior.SlopePermille, SlopeSDPermille: prior.SlopeSDPermille}, aside, nil
	}
	e, far, ok := c.settle(&prior, seen)
	if !ok {
		return Posterior{}, nil, fault.New(fault.Internal, "POSTERIOR_NOT_DEFINITE", "observations", "the covariance of the performances can't be factorised")
	}
	aside = append(aside, far...)
	sortAside(aside)
	p := e.posterior()
	p.SlopeSDPermille = min(p.SlopeSDPermille, prior.SlopeSDPermille) // the population's spread bounds it
	return p, aside, nil
}

// settle fits, and sets aside what is far out as long as more than half remain.
func (c *Curve) settle(prior *Prior, seen []sighting) (*fit, []SetAside, bool) {
	all, ok := c.fit(prior, seen)
	if !ok {
		return nil, nil, false
	}
	var far []SetAside
	kept, now := slices.Clone(seen), all
	for {
		worst := now.farthest()
		if worst < 0 {
			return now, far, true
		}
		if sure := prior.MeanGrams > 0 && prior.SDPermille <= sureSD; !sure && 2*(len(kept)-1) <= len(seen) {
			// Nothing says who is wrong: keep all, and let the width say it.
			return all, nil, true
		}
		alone := kept[worst]
		alone.look(c, float64(prior.SlopePermille)/1000, shapePermille(c.family))
		far = append(far, SetAside{alone.index, max(1, wholeOf(expOf(alone.at))), AsideFar})
		kept = slices.Delete(kept, worst, worst+1)
		if now, ok = c.fit(prior, kept); !ok {
			return nil, nil, false
		}
	}
}

// fit is the posterior while it is worked out.
type fit struct {
	seen       []sighting
	m, l       float64 // means
	mm, ml, ll float64 // covariance
	pull       []float64
	ease       []float64 // diagonal of the inverse of S
	vague      bool
	chi        float64
}

func (c *Curve) fit(prior *Prior, in []sighting) (*fit, bool) {
	f := &fit{seen: slices.Clone(in), vague: prior.MeanGrams == 0}
	n := len(f.seen)
	shape := shapePermille(c.family)
	l0 := logOf(float64(prior.SlopePermille) / 1000)
	pm, pl := float64(prior.SDPermille)/1000, float64(prior.SlopeSDPermille)/1000
	m0 := 0.0
	if f.vague {
		pm = vagueSD
		for i := range f.seen {
			f.seen[i].look(c, expOf(l0), shape)
			m0 += f.seen[i].at / float64(n)
		}
	} else {
		m0 = logOf(float64(prior.MeanGrams))
	}
	pm, pl = float64(pm*pm), float64(pl*pl)
	low, high := logOf(float64(minSlope)/1000), logOf(float64(maxSlope)/1000)
	f.l = l0
	for round := range looks {
		from := max(low, min(high, f.l))
		for i := range f.seen {
			if round > 0 {
				f.seen[i].expect(c, f.m, expOf(from))
			}
			f.seen[i].look(c, expOf(from), shape)
		}
		s := make([][]float64, n)
		y, h := make([]float64, n), make([]float64, n)
		ones := make([]float64, n)
		for i := range f.seen {
			a := &f.seen[i]
			s[i] = make([]float64, i+1)
			for j := 0; j <= i; j++ {
				b := &f.seen[j]
				s[i][j] = pm + float64(pl*float64(a.slope*b.slope)) + a.with(b, prior.Status)
			}
			s[i][i] += a.own()
			ones[i], h[i] = 1, a.slope
			y[i] = a.at - m0 - float64(a.slope*(l0-from))
		}
		t, ok := factor(s)
		if !ok {
			return nil, false
		}
		f.pull = t.solve(y)
		f.m = m0 + float64(pm*dot(ones, f.pull))
		f.l = max(low, min(high, l0+float64(pl*dot(h, f.pull))))
		u, w := t.solve(ones), t.solve(h)
		f.mm = pm - float64(float64(pm*pm)*dot(ones, u))
		f.ml = -float64(float64(pm*pl) * dot(h, u))
		f.ll = pl - float64(float64(pl*pl)*dot(h, w))
		f.ease = t.inverseDiagonal()
		f.chi = dot(y, f.pull)
	}
	return f, true
}

// farthest gives the sighting that the others foretell worst, -1 if all are within.
func (f *fit) farthest() int {
	worst, most := -1, float64(farSD*farSD)
	for i, v := range f.pull {
		if z := float64(v*v) / f.ease[i]; z > most {
			worst, most = i, z
		}
	}
	return worst
}

// widening is the factor for V: 1 unless the scatter is more than S explains.
func (f *fit) widening() float64 {
	free := float64(len(f.seen))
	if f.vague {
		free--
	}
	if free < 1 {
		return 1
	}
	limit := free + float64(3*math.Sqrt(2*free))
	return max(1, f.chi/limit)
}

func (f *fit) posterior() Posterior {
	wide := f.widening()
	sd, slope := math.Sqrt(max(0, float64(f.mm*wide))), math.Sqrt(max(0, float64(f.ll*wide)))
	p := Posterior{
		MeanGrams: max(1, wholeOf(expOf(f.m))), SDPermille: int32(max(1, min(mostSD, wholeOf(1000*sd)))),
		SlopePermille: int32(wholeOf(1000 * expOf(f.l))), SlopeSDPermille: int32(wholeOf(1000 * slope)), N: len(f.seen),
	}
	if f.mm > 0 && f.ll > 0 {
		p.CorrPermille = int32(max(-1000, min(1000, wholeOf(1000*f.ml/math.Sqrt(float64(f.mm*f.ll))))))
	}
	return p
}

// quantiles of the normal distribution: share inside ± z, both in permille.
var quantiles = [...]Point{{0, 0}, {100, 126}, {200, 253}, {300, 385}, {400, 524}, {500, 674}, {600, 842}, {683, 1000},
	{700, 1036}, {750, 1150}, {800, 1282}, {850, 1440}, {900, 1645}, {925, 1780}, {950, 1960}, {970, 2170}, {980, 2326}, {990, 2576}, {995, 2807}, {999, 3291}}

// Interval gives the 1RM, in grams, between which the truth lies with a probability in
// permille, with as much above as below: 900 for nine in ten. Shares that the table of
// the normal distribution does not list are filled linearly; above 999 it is 999.
func (p Posterior) Interval(share plan.Permille) (low, high int64) {
	return interval(p.MeanGrams, p.SDPermille, share)
}

func interval(grams int64, sd int32, share plan.Permille) (low, high int64) {
	z := int64(lookup(quantiles[:], int32(share)))
	by := expOf(float64(z*int64(sd)) / 1e6)
	return wholeOf(float64(grams) / by), wholeOf(float64(float64(grams) * by))
}

// Quantile gives the 1RM under which the truth lies with a probability in permille,
// for a start on the safe side: 310 is half an SD under the mean.
func (p Posterior) Quantile(share plan.Permille) int64 {
	if share < 500 {
		low, _ := p.Interval(1000 - 2*share)
		return low
	}
	_, high := p.Interval(2*share - 1000)
	return high
}

// LoadFor gives the load in grams that can be lifted so many times fresh, in tenths,
// and its SD in permille: near the repetitions that were shown it is known better than
// the 1RM. c is the family's curve; its shift is ignored. Less than one repetition is
// one; more than 30, or than the curve has, is Invalid.
func (p Posterior) LoadFor(c *Curve, repsTenths int32) (int64, int32, error) {
	most := int32(oneRep + min(len(c.wide)-1, maxTenths-oneRep))
	if repsTenths > most {
		return 0, 0, fault.New(fault.Invalid, "REPS_BEYOND_CURVE", "reps", fmt.Sprintf("the curve ends at %d repetitions", most/10))
	}
	slope := float64(p.SlopePermille) / 1000
	n := float64(max(repsTenths, oneRep)) / 10
	s := sighting{reps: n, about: n}
	s.look(c, slope, shapePermille(c.family))
	m, l := float64(p.SDPermille)/1000, float64(p.SlopeSDPermille)/1000
	cov := float64(float64(m*l)*float64(p.CorrPermille)) / 1000
	hl := float64(s.slope * l)
	v := float64(m*m) + float64(2*float64(s.slope*cov)) + float64(hl*hl)
	return wholeOf(float64(p.MeanGrams) * expOf(-s.at)), int32(wholeOf(1000 * math.Sqrt(max(0, v)))), nil
}
