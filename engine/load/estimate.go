package load

import (
	"cmp"
	"fmt"
	"slices"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// Evidence is one set that says something about strength: the first hard set of the
// exercise on its day, as later ones carry fatigue.
type Evidence struct {
	Grams   int64           // all that is moved: load plus the share of body mass carried
	Reps    int32           // done, at least 1
	RIR     plan.Opt[int32] // repetitions left, as reported
	Failure bool            // no further repetition was possible; RIR is then ignored
	Tested  bool            // a 1RM test; Reps is 1
	AgeDays int32           // since it was done
}

// Strength is an estimated 1RM. SDPermille is its standard deviation in permille of it.
type Strength struct {
	OneRMGrams int64
	SDPermille int32
	N          int // evidence used
}

// LeftOut is why an evidence was not used.
type LeftOut uint8

// Reasons.
const (
	LeftOutUnspecified LeftOut = iota
	LeftOutFar                 // more than three SD from the median of the others
	LeftOutManyReps            // more than 15 repetitions to failure while heavier sets exist
)

// Outlier is an evidence that was left out, with the 1RM it would have given.
type Outlier struct {
	Index int // in the evidence given
	Grams int64
	Why   LeftOut
}

// Bounds of the estimate.
const (
	longSetTenths = 150 // beyond it a set says little about a single repetition
	maxRIR        = 10
	maxSD         = 500
	// People call about one repetition too few (0.95, CI 0.17 to 1.73, Halperin 2022),
	// trained lifters near failure hardly any (0.17, Refalo 2023). Half a repetition is
	// added: less than the mean bias, so that the error left over is on the light side.
	rirBiasTenths = 5
)

type estimate struct {
	index  int
	age    int32
	tested bool
	tenths int32
	grams  int64
	sd     int64 // permille
}

// Estimate joins evidence into one 1RM through the athlete's curve: the mean of the
// single estimates, weighted by one over their variance. A single estimate's SD is
// about 5 % up to 5 repetitions and 8 to 10 % up to 10 (half of the 95 % bands that
// the validation studies of the equations suggest), more beyond; it grows with the
// RIR reported and with age, at the pace the status can change (2, 0.75, 0.25 % a
// week for novice, intermediate, advanced; common practice, no source), and beyond
// 180 days it counts for little. Sets of one day share an error and together weigh
// as much as one. Evidence left out is listed. No evidence is a NotFound fault;
// evidence that can't be is Invalid, by field.
func Estimate(c *Curve, evidence []Evidence, status plan.Status) (Strength, []Outlier, error) {
	if err := checkEvidence(evidence); err != nil {
		return Strength{}, nil, err
	}
	all := make([]estimate, 0, len(evidence))
	heavy := 0
	for i, e := range evidence {
		s := single(c, e, status)
		s.index = i
		all = append(all, s)
		if s.tenths <= longSetTenths {
			heavy++
		}
	}
	var out []Outlier
	kept := all
	if heavy > 0 && heavy < len(all) {
		kept = nil
		for _, s := range all {
			if s.tenths <= longSetTenths {
				kept = append(kept, s)
			} else {
				out = append(out, Outlier{s.index, s.grams, LeftOutManyReps})
			}
		}
	}
	kept, far := dropFar(kept)
	out = append(out, far...)
	slices.SortFunc(out, func(a, b Outlier) int { return cmp.Compare(a.Index, b.Index) })
	return combine(kept), out, nil
}

// WorkingOneRM is the 1RM to prescribe from: half a standard deviation under the
// mean, so that about seven of ten first sessions are not too heavy; what was too
// light is put right by the first logs. (judgement)
func WorkingOneRM(s Strength) int64 {
	return s.OneRMGrams - roundDiv(s.OneRMGrams*int64(s.SDPermille), 2000)
}

func checkEvidence(evidence []Evidence) error {
	if len(evidence) == 0 {
		return fault.New(fault.NotFound, "NO_EVIDENCE", "evidence", "no set has been shown yet; find the load on the first day")
	}
	bad := fault.NewCollector(fault.Invalid)
	for i, e := range evidence {
		at := fmt.Sprintf("evidence[%d].", i)
		if e.Grams <= 0 || e.Grams > 2_000_000 {
			bad.Add("LOAD_OUT_OF_BOUNDS", at+"grams", "the load moved must be above 0 and at most 2000 kg")
		}
		if e.Reps < 1 || e.Reps > 1000 {
			bad.Add("REPS_OUT_OF_BOUNDS", at+"reps", "repetitions must be from 1 to 1000")
		}
		if e.Tested && e.Reps != 1 {
			bad.Add("TEST_OF_ONE", at+"reps", "a tested 1RM has exactly one repetition")
		}
		if e.RIR.Set && (e.RIR.Value < 0 || e.RIR.Value > maxRIR) {
			bad.Add("RIR_OUT_OF_BOUNDS", at+"rir", "repetitions in reserve must be from 0 to 10")
		}
		if e.AgeDays < 0 {
			bad.Add("EVIDENCE_IN_FUTURE", at+"age_days", "evidence can't be from the future")
		}
	}
	return bad.Err()
}

// single makes one 1RM of one evidence. Beyond the end of the curve it uses the end,
// which gives a floor.
func single(c *Curve, e Evidence, status plan.Status) estimate {
	s := estimate{age: e.AgeDays, tested: e.Tested, tenths: e.Reps * 10}
	known := e.Tested || e.Failure
	var rir int32
	if !known && e.RIR.Set {
		known, rir = true, e.RIR.Value
		s.tenths += rir * 10
		if rir > 0 {
			s.tenths += rirBiasTenths
		}
	}
	bp := c.IntensityBP(min(s.tenths, c.MaxTenths()))
	s.grams = roundDiv(e.Grams*fullBP, int64(bp))

	base := int64(25) // repeatability of a 1RM, CV 2 to 4 % (from memory)
	if !e.Tested {
		base = repsSD(s.tenths)
	}
	// Error of the report in repetitions, at 2 to 2.5 % of 1RM a repetition.
	var report int64
	switch {
	case !known:
		report = 60
	case rir > 0:
		report = 10 + 15*int64(rir)
	}
	drift := min(int64(weeklyDrift(status))*int64(min(e.AgeDays, 3650))/70, 250)
	variance := base*base + report*report + drift*drift
	if e.AgeDays > 180 {
		variance *= 4
	}
	s.sd = min(isqrt(variance), maxSD)
	return s
}

// repsSD is the SD of a single estimate in permille, by repetitions to failure.
func repsSD(tenths int32) int64 {
	return int64(lookup([]Point{{50, 50}, {60, 80}, {100, 100}, {150, 150}, {200, 220}, {300, 350}}, tenths))
}

// weeklyDrift is how far the 1RM may move in a week, in tenths of a permille.
func weeklyDrift(s plan.Status) int32 {
	switch s {
	case plan.Novice:
		return 200
	case plan.Advanced:
		return 25
	}
	return 75
}

// dropFar leaves out what lies more than three of its own SD from the median of the
// others, the farthest first, as one wrong value makes right ones look far. With
// fewer than three there is no telling which is wrong, and where half or more would
// go nothing is left out: then the scatter widens the SD instead.
func dropFar(in []estimate) ([]estimate, []Outlier) {
	kept := slices.Clone(in)
	var out []Outlier
	for len(kept) >= 3 {
		sorted := slices.Clone(kept)
		slices.SortStableFunc(sorted, func(a, b estimate) int { return cmp.Compare(a.grams, b.grams) })
		worst, most := -1, int64(3000)
		for i, s := range sorted {
			other := func(k int) int64 {
				if k >= i {
					k++
				}
				return sorted[k].grams
			}
			n := len(sorted) - 1
			median := max((other((n-1)/2)+other(n/2))/2, 1)
			if far := abs64(s.grams-median) * 1_000_000 / (s.sd * median); far > most {
				worst, most = s.index, far
			}
		}
		if worst < 0 {
			break
		}
		at := slices.IndexFunc(kept, func(s estimate) bool { return s.index == worst })
		out = append(out, Outlier{worst, kept[at].grams, LeftOutFar})
		kept = slices.Delete(kept, at, at+1)
	}
	if 2*len(kept) <= len(in) {
		return in, nil
	}
	return kept, out
}

// combine takes the weighted mean. The SD is that of the mean, widened where the
// estimates scatter more than their own SD explain, plus what no number of sets takes
// away: the curve is a group's mean and not this person's.
func combine(in []estimate) Strength {
	const unit = 1_000_000_000
	var sumW, sumWG int64
	tested := false
	weights := make([]int64, len(in))
	for i, s := range in {
		sameDay := int64(0)
		for _, o := range in {
			if o.age == s.age {
				sameDay++
			}
		}
		weights[i] = max(unit/(s.sd*s.sd)/sameDay, 1)
		sumW += weights[i]
		sumWG += weights[i] * s.grams
		tested = tested || s.tested
	}
	mean := roundDiv(sumWG, sumW)
	variance := unit / sumW
	var chi int64 // sum of weight × squared distance in permille, in 1/unit
	for i, s := range in {
		d := (s.grams - mean) * 1000 / mean
		d = max(min(d, 10_000), -10_000)
		chi += min(weights[i]*d*d, 1<<50)
	}
	if n := int64(len(in)); n > 1 {
		if ratio := chi / (n - 1) / (unit / 1000); ratio > 1000 { // permille
			variance = variance * min(ratio, 1_000_000) / 1000
		}
	}
	shared := int64(30)
	if tested {
		shared = 15
	}
	return Strength{OneRMGrams: mean, SDPermille: int32(min(isqrt(variance+shared*shared), maxSD)), N: len(in)}
}

// isqrt is the integer square root, rounded down.
func isqrt(v int64) int64 {
	if v <= 0 {
		return 0
	}
	r := int64(1)
	for r*r <= v {
		r *= 2
	}
	for lo := r / 2; ; {
		mid := (lo + r) / 2
		if mid == lo {
			return lo
		}
		if mid*mid <= v {
			lo = mid
		} else {
			r = mid
		}
	}
}

func abs64(v int64) int64 {
	if v < 0 {
		return -v
	}
	return v
}
