package assign

import (
	"fmt"
	"slices"
	"strings"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/trial/draw"
	"github.com/phasewright/phasewright/engine/trial/match"
)

// Scheme is a way to assign.
type Scheme uint8

// Schemes.
const (
	SchemeUnspecified Scheme = iota
	Complete                 // each unit by itself; totals fall as they may
	FixedTotals              // all at once, with the totals of the ratio
	PermutedBlocks           // blocks within each stratum of the factors
	MatchedPairs             // all at once: optimal pairs, a coin for each
	SequentialPairs          // as they come: the nearest who waits, within a caliper
	Minimisation             // as they come: the arm that balances the factors is likelier
	Rerandomisation          // all at once: fixed totals, drawn again until covariates balance
)

var schemeNames = [...]string{"unspecified", "complete", "fixed totals", "permuted blocks", "matched pairs", "sequential pairs", "minimisation", "rerandomisation"}

// String gives a plain name.
func (s Scheme) String() string {
	if int(s) < len(schemeNames) {
		return schemeNames[s]
	}
	return fmt.Sprintf("scheme %d", s)
}

// Batch tells whether arms are known only once enrolment is closed.
func (s Scheme) Batch() bool {
	return s == FixedTotals || s == MatchedPairs || s == Rerandomisation
}

// Arm is one of those compared.
type Arm struct {
	ID    string
	Ratio int // share of units, 1 to 9, against the other arms' ratios
}

// Design is how a trial assigns. It is frozen before the first unit.
type Design struct {
	Trial      string
	Arms       []Arm
	Scheme     Scheme
	Factors    []string // strata, what pairs have alike, or what minimisation balances
	Covariates []string // what pairs and rerandomisation balance

	Blocks      []int // sizes, one drawn for each block; multiples of the ratios' sum
	Criterion   match.Criterion
	Sequential  Sequential
	Minimise    Minimise
	Rerandomise Rerandomise
}

// Sequential is how pairs are made while enrolment goes on.
type Sequential struct {
	// Spread is one SD of each covariate, in its units, stated beforehand: distances are
	// root sums of squared differences in SDs.
	Spread []int64 `json:"spread,omitempty"`
	// CaliperMilli is the largest distance within a pair, in thousandths of an SD.
	CaliperMilli int64 `json:"caliper_milli,omitempty"`
	// Together holds the first of a pair until its partner has enrolled, so neither arm
	// tells of the other; those left at Close are matched as MatchedPairs are. Without it
	// the first is drawn at once and the second follows from it.
	Together bool `json:"together,omitempty"`
}

// Minimise is the rule of a minimisation (Pocock & Simon 1975, Biometrics 31:103-115).
type Minimise struct {
	Measure Measure `json:"measure,omitempty"`
	// BestPermille is the chance that the balancing arm is taken, in thousandths: 700 to
	// 900 are usual. 1000 is refused, as arms would then follow from the enrolments.
	BestPermille int     `json:"best_permille,omitempty"`
	Weights      []int64 `json:"weights,omitempty"` // of the factors; none means 1 each
}

// Rerandomise is when a draw is accepted (Morgan & Rubin 2012, Ann Stat 40:1263-1282).
type Rerandomise struct {
	// MostMicro is the largest Mahalanobis distance M between the arms' covariate means,
	// in millionths.
	MostMicro int64 `json:"most_micro,omitempty"`
}

// Unit is one to be assigned.
type Unit struct {
	ID         string
	Levels     []string // one for each factor
	Covariates []int64  // one for each covariate, whole numbers of any unit
}

// Limits of a design.
const (
	MostArms    = 6
	MostBlock   = 60
	mostUnits   = 100_000
	mostTries   = 100_000
	mostFactors = 20
)

// Reasons of faults.
const (
	ReasonDesign   = "TRIAL_DESIGN"
	ReasonUnit     = "TRIAL_UNIT"
	ReasonEnrolled = "TRIAL_ENROLLED"
	ReasonClosed   = "TRIAL_CLOSED"
	ReasonWaiting  = "TRIAL_WAITING"
	ReasonUnknown  = "TRIAL_UNKNOWN_UNIT"
	ReasonBalance  = "TRIAL_BALANCE"
	ReasonReplay   = "TRIAL_REPLAY"
)

// Check says what is wrong with a design, all at once, as an Invalid fault.
func (d *Design) Check() error {
	c := fault.NewCollector(fault.Invalid)
	add := func(field, format string, args ...any) {
		c.Add(ReasonDesign, field, fmt.Sprintf(format, args...))
	}
	if d.Trial == "" || strings.ContainsRune(d.Trial, '|') {
		add("trial", "is %q; want an id without |", d.Trial)
	}
	if n := len(d.Arms); n < 2 || n > MostArms {
		add("arms", "are %d; want 2 to %d", n, MostArms)
	}
	for i, a := range d.Arms {
		if a.Ratio < 1 || a.Ratio > 9 {
			add(fmt.Sprintf("arms[%d].ratio", i), "is %d; want 1 to 9", a.Ratio)
		}
		if a.ID == "" || slices.IndexFunc(d.Arms, func(b Arm) bool { return b.ID == a.ID }) < i {
			add(fmt.Sprintf("arms[%d].id", i), "is %q; want one of its own", a.ID)
		}
	}
	if len(d.Factors) > mostFactors || len(d.Covariates) > mostFactors {
		add("factors", "and covariates are %d and %d; want at most %d of each", len(d.Factors), len(d.Covariates), mostFactors)
	}
	d.checkScheme(add)
	return c.Err()
}

func (d *Design) checkScheme(add func(field, format string, args ...any)) {
	two := len(d.Arms) == 2 && d.Arms[0].Ratio == d.Arms[1].Ratio
	switch d.Scheme {
	case Complete, FixedTotals:
	case PermutedBlocks:
		if len(d.Blocks) == 0 {
			add("blocks", "are none; want sizes such as %d and %d", 2*d.ratios(), 3*d.ratios())
		}
		for i, b := range d.Blocks {
			if r := d.ratios(); b < 2 || b > MostBlock || r == 0 || b%r != 0 {
				add(fmt.Sprintf("blocks[%d]", i), "is %d; want a multiple of the ratios' sum %d up to %d", b, r, MostBlock)
			}
		}
	case MatchedPairs, SequentialPairs:
		if !two {
			add("arms", "of pairs are two in equal shares")
		}
		if len(d.Covariates) == 0 {
			add("covariates", "are none; pairs need at least one")
		}
		if d.Scheme == SequentialPairs {
			d.checkSequential(add)
		}
	case Minimisation:
		d.checkMinimise(add)
	case Rerandomisation:
		if len(d.Arms) != 2 {
			add("arms", "of a rerandomisation are two")
		}
		if len(d.Covariates) == 0 {
			add("covariates", "are none; rerandomisation needs at least one")
		}
		if d.Rerandomise.MostMicro <= 0 {
			add("rerandomise.most_micro", "is %d; want more than 0, for one draw in ten accepted the tenth part of chi-squared with as many degrees of freedom as covariates", d.Rerandomise.MostMicro)
		}
	default:
		add("scheme", "is %s; want a known one", d.Scheme)
	}
}

func (d *Design) checkSequential(add func(field, format string, args ...any)) {
	if len(d.Sequential.Spread) != len(d.Covariates) {
		add("sequential.spread", "has %d SDs; want one for each of %d covariates", len(d.Sequential.Spread), len(d.Covariates))
	}
	for i, s := range d.Sequential.Spread {
		if s <= 0 || s > match.MostCovariate {
			add(fmt.Sprintf("sequential.spread[%d]", i), "is %d; want more than 0", s)
		}
	}
	if c := d.Sequential.CaliperMilli; c <= 0 || c > 1_000_000 {
		add("sequential.caliper_milli", "is %d; want thousandths of an SD, 1 to 1000000", c)
	}
}

func (d *Design) checkMinimise(add func(field, format string, args ...any)) {
	if len(d.Factors) == 0 {
		add("factors", "are none; minimisation needs at least one")
	}
	for _, a := range d.Arms {
		if a.Ratio != d.Arms[0].Ratio {
			add("arms", "have unequal ratios; minimisation here balances equal arms, blocks do unequal ones")
			break
		}
	}
	m := d.Minimise
	if len(d.Arms) > 0 && (m.BestPermille <= 1000/len(d.Arms) || m.BestPermille > 950) {
		add("minimise.best_permille", "is %g %%; want more than chance (%g %%) and at most 95 %%, as arms must not follow from the enrolments", float64(m.BestPermille)/10, float64(1000/len(d.Arms))/10)
	}
	if m.Measure > SD {
		add("minimise.measure", "is %d; want range, variance or SD", m.Measure)
	}
	if len(m.Weights) != 0 && len(m.Weights) != len(d.Factors) {
		add("minimise.weights", "are %d; want none or one for each of %d factors", len(m.Weights), len(d.Factors))
	}
	for i, w := range m.Weights {
		if w < 1 || w > 1000 {
			add(fmt.Sprintf("minimise.weights[%d]", i), "is %d; want 1 to 1000", w)
		}
	}
}

// ratios is the sum of the arms' ratios.
func (d *Design) ratios() int {
	sum := 0
	for _, a := range d.Arms {
		sum += a.Ratio
	}
	return sum
}

// list is size places filled with arms by their ratios; size is a multiple of the sum.
func (d *Design) list(size int) []int {
	var out []int
	for range size / d.ratios() {
		for i, a := range d.Arms {
			for range a.Ratio {
				out = append(out, i)
			}
		}
	}
	// By arm, as in AAABBB.
	slices.Sort(out)
	return out
}

func (d *Design) checkUnit(u Unit) error {
	c := fault.NewCollector(fault.Invalid)
	if u.ID == "" {
		c.Add(ReasonUnit, "unit.id", "is empty; want an id")
	}
	if len(u.Levels) != len(d.Factors) {
		c.Add(ReasonUnit, "unit.levels", fmt.Sprintf("are %d; want one for each of the factors %q", len(u.Levels), d.Factors))
	}
	for i, l := range u.Levels {
		if l == "" || strings.ContainsAny(l, "|/") {
			c.Add(ReasonUnit, fmt.Sprintf("unit.levels[%d]", i), fmt.Sprintf("is %q; want a level without | and /", l))
		}
	}
	if len(u.Covariates) != len(d.Covariates) {
		c.Add(ReasonUnit, "unit.covariates", fmt.Sprintf("are %d; want one for each of %q", len(u.Covariates), d.Covariates))
	}
	for i, x := range u.Covariates {
		if x > match.MostCovariate || x < -match.MostCovariate {
			c.Add(ReasonUnit, fmt.Sprintf("unit.covariates[%d]", i), fmt.Sprintf("is %d; want at most %d", x, match.MostCovariate))
		}
	}
	return c.Err()
}

// Streams opens the random numbers of a prefix. Each prefix is opened once.
type Streams func(prefix string) draw.Source

// Keyed are the streams of a trial's key.
func Keyed(k draw.Key) Streams {
	return func(prefix string) draw.Source { return k.Stream(prefix) }
}

// From lets every prefix go on with one source: for simulation, where speed counts and
// nobody replays a single arm.
func From(s draw.Source) Streams { return func(string) draw.Source { return s } }
