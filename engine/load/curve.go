package load

import (
	"sort"
	"sync"

	"github.com/phasewright/phasewright/engine/fault"
)

// CurveVersion changes whenever any value of any curve changes.
const CurveVersion = "curves-1"

// Families of exercise with a curve of their own, and the named alternative.
const (
	FamilyBench            = "bench"
	FamilySquat            = "squat"
	FamilyDeadlift         = "deadlift"
	FamilyLegPress         = "leg-press"
	FamilyUpperCompound    = "upper-compound"
	FamilyLowerCompound    = "lower-compound"
	FamilySingleJointUpper = "single-joint-upper"
	FamilySingleJointLower = "single-joint-lower"
	FamilyBodyweight       = "bodyweight"
	FamilyTextbook         = "textbook" // the textbook table as a curve, any exercise, to 15 repetitions
)

// The grid of a curve: tenths of a repetition.
const (
	oneRep     = 10  // tenths
	maxTenths  = 300 // 30.0 repetitions
	wideTenths = 373 // inner grid, so that a curve shifted by 0.8 still reaches 30.0
	fullBP     = 10_000
)

// Shift bounds, in permille of (repetitions - 1).
const (
	MinShift = 800
	MaxShift = 1250
)

// Anchor is a point a curve passes through: repetitions to failure in tenths at an
// intensity in basis points of 1RM.
type Anchor struct {
	RepsTenths  int32
	IntensityBP int32
	Source      string
}

// Curve is an athlete's repetitions to failure in one fresh set against intensity:
// strictly falling, 100 % at one repetition. It is immutable and safe to share.
type Curve struct {
	family string
	shift  int32   // permille of (repetitions - 1)
	bp     []int32 // bp[i] is the intensity at oneRep+i tenths
	wide   []int32 // unshifted values on the inner grid
}

type family struct {
	id      string
	anchors []Anchor // without the first, one repetition at 100 %
}

// Sources of the anchors. Reference tables give repetitions at 90, 80, 70, 60, 40 %.
const (
	srcNuzzo    = "Nuzzo et al., Sports Med 54:303-321, 2024 (meta-regression)"
	srcShimano  = "Shimano et al., J Strength Cond Res 20(4):819-823, 2006, trained men (from memory)"
	srcHoeger   = "Hoeger et al., J Appl Sport Sci Res 4(2):47-54, 1990 (from memory)"
	srcRichens  = "Richens & Cleather, Biol Sport 31(2):157-161, 2014, weightlifters"
	srcLeSuer   = "(judgement) a little under the bench press: all equations under-predict the deadlift 1RM in LeSuer et al., J Strength Cond Res 11(4):211-213, 1997"
	srcSquat    = "(judgement) half way between Nuzzo et al. 2024, all exercises, and the squat of Shimano et al. 2006 (8 men, 12.3 at 80 %, 29.9 at 60 %, from memory): a small sample should not set heavy squats"
	srcJudgment = "(judgement) end of the curve"
)

// curveFamilies in the order of Families. Where a study gives trained and untrained
// men, Hoeger cells are the mean of both.
func curveFamilies() []family {
	return []family{
		{FamilyBench, []Anchor{
			{40, 9000, srcNuzzo}, {88, 8000, srcNuzzo}, {141, 7000, srcNuzzo},
			{217, 6000, srcShimano}, {369, 4000, srcHoeger}, {400, 3650, srcJudgment},
		}},
		{FamilySquat, []Anchor{
			{50, 9000, srcNuzzo + ", all exercises"}, {108, 8000, srcSquat}, {175, 7000, srcSquat},
			{256, 6000, srcSquat}, {400, 4600, srcJudgment},
		}},
		{FamilyDeadlift, []Anchor{
			{35, 9000, srcLeSuer}, {75, 8000, srcLeSuer}, {125, 7000, srcLeSuer},
			{195, 6000, srcLeSuer}, {400, 3400, srcJudgment},
		}},
		{FamilyLegPress, []Anchor{
			{70, 9000, srcRichens}, {131, 8000, srcNuzzo}, {190, 7000, srcNuzzo},
			{339, 6000, srcHoeger + ", untrained men"}, {400, 5600, srcJudgment},
		}},
		{FamilyUpperCompound, []Anchor{
			{50, 9000, srcNuzzo + ", all exercises"}, {98, 8000, srcHoeger + ", lat pulldown, untrained men"},
			{150, 7000, srcNuzzo + ", all exercises"}, {216, 6000, srcHoeger + ", lat pulldown"},
			{422, 4000, srcHoeger + ", lat pulldown"},
		}},
		{FamilyLowerCompound, []Anchor{
			{50, 9000, srcNuzzo + ", all exercises"}, {150, 7000, srcNuzzo + ", all exercises"},
			{220, 6000, srcJudgment}, {400, 4200, srcJudgment},
		}},
		{FamilySingleJointUpper, []Anchor{
			{44, 9000, srcShimano + ", arm curl"}, {91, 8000, srcShimano + ", arm curl"},
			{190, 6000, srcShimano + ", arm curl"}, {298, 4000, srcHoeger + ", arm curl"}, {400, 2600, srcJudgment},
		}},
		{FamilySingleJointLower, []Anchor{
			{86, 8000, srcHoeger + ", mean of leg extension and leg curl"},
			{151, 6000, srcHoeger + ", mean of leg extension and leg curl"},
			{248, 4000, srcHoeger + ", mean of leg extension and leg curl"}, {400, 2400, srcJudgment},
		}},
		{FamilyBodyweight, []Anchor{
			{50, 9000, srcNuzzo + ", all exercises"}, {150, 7000, srcNuzzo + ", all exercises"},
			{217, 6000, srcShimano + ", bench press"}, {369, 4000, srcHoeger + ", bench press"}, {400, 3650, srcJudgment},
		}},
	}
}

// Families lists the families, always in the same order; the textbook alternative is last.
func Families() []string {
	out := make([]string, 0, 10)
	for _, f := range curveFamilies() {
		out = append(out, f.id)
	}
	return append(out, FamilyTextbook)
}

// Anchors gives the points a family's curve passes through after one repetition at
// 100 %, with their sources; empty for the textbook table, which is its own source.
func Anchors(id string) []Anchor {
	for _, f := range curveFamilies() {
		if f.id == id {
			return f.anchors
		}
	}
	return nil
}

// built holds the curves, computed once and never changed.
var built = sync.OnceValue(func() []*Curve {
	var out []*Curve
	for _, f := range curveFamilies() {
		wide := through(f.anchors)
		out = append(out, &Curve{family: f.id, shift: 1000, wide: wide, bp: wide[:maxTenths-oneRep+1]})
	}
	t := textbookGrid()
	return append(out, &Curve{family: FamilyTextbook, shift: 1000, wide: t, bp: t})
})

// CurveFor gives a family's curve, or an Invalid fault for an unknown family.
func CurveFor(family string) (*Curve, error) {
	for _, c := range built() {
		if c.family == family {
			return c, nil
		}
	}
	return nil, fault.New(fault.Invalid, "UNKNOWN_CURVE", "family", "there is no repetitions-intensity curve \""+family+"\"; choose one of the listed families")
}

// Family is the curve's family.
func (c *Curve) Family() string { return c.family }

// Shift is how far the curve is shifted, in permille of (repetitions - 1); 1000 is not at all.
func (c *Curve) Shift() int32 { return c.shift }

// MaxTenths is the most repetitions the curve knows, in tenths: 300 but for the
// textbook table and curves shifted from it.
func (c *Curve) MaxTenths() int32 { return oneRep + int32(len(c.bp)) - 1 }

// IntensityBP gives the intensity in basis points of 1RM at which a fresh athlete
// can do that many repetitions, in tenths. Less than one repetition gives 10,000;
// beyond MaxTenths the curve says nothing and gives 0.
func (c *Curve) IntensityBP(repsTenths int32) int32 {
	if repsTenths <= oneRep {
		return fullBP
	}
	if repsTenths > c.MaxTenths() {
		return 0
	}
	return c.bp[repsTenths-oneRep]
}

// RepsTenths gives the most repetitions possible at an intensity, in tenths: the
// largest number whose intensity is at least the one given. It is 0 above 100 % and
// stays at MaxTenths below the curve's end.
func (c *Curve) RepsTenths(intensityBP int32) int32 {
	if intensityBP > fullBP {
		return 0
	}
	n := sort.Search(len(c.bp), func(i int) bool { return c.bp[i] < intensityBP })
	return oneRep + int32(n) - 1
}

// NearestTenths gives the repetitions possible at an intensity to the nearest tenth, for
// counting on from set to set, where always rounding down would add up; at a tie the
// fewer. It is 0 above 100 %, as RepsTenths is, and for whether a limit is kept that is
// the one to ask.
func (c *Curve) NearestTenths(intensityBP int32) int32 {
	n := c.RepsTenths(intensityBP)
	if n > 0 && n < c.MaxTenths() && c.IntensityBP(n)-intensityBP > intensityBP-c.IntensityBP(n+1) {
		n++
	}
	return n
}

// Shifted gives the curve of an athlete who does more (permille above 1000) or fewer
// repetitions than the family's mean at the same intensity: repetitions beyond the
// first are scaled. The between-person SD is about 2.5 repetitions at 80 % (Nuzzo
// 2024), which is why the bounds are wide. It always starts from the unshifted curve.
func Shifted(c *Curve, permille int32) (*Curve, error) {
	if permille < MinShift || permille > MaxShift {
		return nil, fault.New(fault.Invalid, "SHIFT_OUT_OF_BOUNDS", "shift", "a curve can be shifted by 800 to 1250 permille")
	}
	last := min(maxTenths-oneRep, int32(len(c.wide)-1)*permille/1000)
	out := &Curve{family: c.family, shift: permille, wide: c.wide, bp: make([]int32, last+1)}
	for i := range out.bp {
		at := int64(i) * 1000
		whole, rest := at/int64(permille), at%int64(permille)
		v := int64(c.wide[whole]) * int64(permille)
		if rest > 0 {
			v -= int64(c.wide[whole]-c.wide[whole+1]) * rest
		}
		out.bp[i] = int32(roundDiv(v, int64(permille)))
	}
	return out, nil
}

// through lays a monotone piecewise cubic through one repetition at 100 % and the
// anchors (Fritsch & Carlson 1980, with the slopes of Fritsch & Butland 1984, which
// need no square root) and rounds it to basis points on the inner grid. Every
// product is converted on its own so that no compiler may fuse it with a sum.
func through(anchors []Anchor) []int32 {
	n := len(anchors) + 1
	x, y := make([]float64, n), make([]float64, n)
	x[0], y[0] = oneRep, fullBP
	for i, a := range anchors {
		x[i+1], y[i+1] = float64(a.RepsTenths), float64(a.IntensityBP)
	}
	h, d := make([]float64, n-1), make([]float64, n-1)
	for i := range h {
		h[i] = x[i+1] - x[i]
		d[i] = (y[i+1] - y[i]) / h[i]
	}
	m := make([]float64, n)
	for i := 1; i < n-1; i++ {
		// All secants fall, so their weighted harmonic mean exists and falls too.
		w1, w2 := float64(2*h[i])+h[i-1], h[i]+float64(2*h[i-1])
		m[i] = (w1 + w2) / (w1/d[i-1] + w2/d[i])
	}
	m[0], m[n-1] = endSlope(h[0], h[1], d[0], d[1]), endSlope(h[n-2], h[n-3], d[n-2], d[n-3])
	out := make([]int32, wideTenths-oneRep+1)
	k := 0
	for i := range out {
		at := float64(oneRep + i)
		for k < n-2 && at > x[k+1] {
			k++
		}
		t := (at - x[k]) / h[k]
		t2 := float64(t * t)
		t3 := float64(t2 * t)
		v := y[k]
		v += float64(float64(h[k]*m[k]) * (t - float64(2*t2) + t3))
		v += float64((y[k+1] - y[k]) * (float64(3*t2) - float64(2*t3)))
		v += float64(float64(h[k]*m[k+1]) * (t3 - t2))
		out[i] = int32(v + 0.5)
	}
	return out
}

// endSlope is the three-point slope at an end, kept falling and not steeper than
// three times the secant.
func endSlope(h0, h1, d0, d1 float64) float64 {
	s := (float64((float64(2*h0)+h1)*d0) - float64(h0*d1)) / (h0 + h1)
	if s >= 0 {
		return 0
	}
	if s < float64(3*d0) {
		return float64(3 * d0)
	}
	return s
}

// textbookGrid fills the table's whole repetitions linearly; it ends at 15.0.
func textbookGrid() []int32 {
	out := make([]int32, (TextbookMaxReps-1)*10+1)
	for i := range out {
		lo := i / 10
		v := int32(textbookPermille[lo]) * 10
		if part := int32(i % 10); part > 0 {
			v -= int32(textbookPermille[lo]-textbookPermille[lo+1]) * part
		}
		out[i] = v
	}
	return out
}
