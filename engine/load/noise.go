package load

import (
	"math"
	"sort"

	"github.com/phasewright/phasewright/engine/plan"
)

// NoiseVersion changes whenever a value of this file changes.
const NoiseVersion = "noise-1"

// What a performance says about the 1RM, and how surely. Shares are on the log scale
// in permille (25 is 2.5 %), repetitions in thousandths.
const (
	// A tested 1RM repeats with a CV of 2 to 4 % (Seo et al. 2012; Comfort & McMahon
	// 2015; from memory). 20 of the day and 15 of the single effort make 25 in all; the
	// split is judgement.
	dayShare = 20
	ownShare = 15

	// Repetitions to failure at one load scatter within a person: half a repetition,
	// and 6 % of their number (judgement: with the 2.5 % of the 1RM, about a repetition,
	// it leaves the 1.3 repetitions that the between-person SD of Nuzzo 2024 holds
	// beyond its part that grows with repetitions). A count is whole: 1/12 in variance.
	repsFlat  = 500
	repsGrows = 60 // permille of the repetitions

	// People call 0.95 repetitions too few (CI 0.17 to 1.73, 12 studies: Halperin et
	// al., Sports Med 52:377-390, 2022), less nearer failure: half of it is taken at a
	// called 0 (judgement). The interval means that study means differ with an SD of
	// 0.78/1.96·√12 = 1.4; 1.0 is taken between people (judgement), for good: some
	// always hold back more.
	biasMean   = 950
	biasPeople = 1000

	// What is left of a report's error, and half of its variance shared by the day:
	// 0.7 repetitions at a called 0 and 0.35 more with each, in all (judgement; called
	// 1, 3, 5 of a 70 % squat were 2.05, 3.65, 5.15 off with the bias, from memory, in
	// sets twice as long as most here).
	reportFlat  = 500 // each of the two halves
	reportGrows = 250 // each, for each repetition called

	// A set without a report and not to failure: a reserve of 1 ± 1.5 (judgement).
	silentMean = 1000
	silentSD   = 1500

	// The curve's own error: its share of the distance to the 1RM, alike for
	// repetition numbers near each other and independent from shapeReach apart (judgement).
	shapeReach = 8000

	// How far apart repetitions are at the same intensity between people, and so the
	// SD of the slope on the log scale: SD² = (k(n-1))² + v through 1.58 repetitions at
	// 5 and 3.43 at 15 (Nuzzo et al. 2024, both derived from its line) gives k = 0.227,
	// √v = 1.29.
	slopeShare = 225

	layoffShare = 500 // SD of a layoff's loss, permille of the loss (judgement)
	trendWeeks  = 52  // a trend is not carried on beyond (judgement)
)

// BetweenPersonSD is the published SD between people of the repetitions to failure at
// an intensity, in thousandths of a repetition: the straight line of Nuzzo et al.,
// Sports Med 54:303-321, 2024, through its two quoted points, 2.51 at 80 % and 4.36 at
// 60 %. It is false outside of 60 to 90 %.
func BetweenPersonSD(intensityBP int32) (int32, bool) {
	if intensityBP < 6000 || intensityBP > 9000 {
		return 0, false
	}
	return int32(roundDiv(2510*10_000+9250*int64(8000-intensityBP), 10_000)), true
}

// shapePermille is how well a family's curve is known: half the published interval of
// the mean repetitions at 80 %, turned into load and divided by the distance to the
// 1RM there. Bench press 7.7 to 10.1, leg press 9.8 to 17.5 (Nuzzo 2024); the others,
// which stand on small samples or on all exercises, are judgement.
func shapePermille(family string) int64 {
	switch family {
	case FamilyBench:
		return 60
	case FamilyLegPress:
		return 150
	case FamilyUpperCompound, FamilyLowerCompound, FamilySquat:
		return 80
	}
	return 120
}

// driftOf gives what the 1RM does between a performance and today: the SD of a trend a
// week and of a random walk over one week, in 1/100,000. The trend is half of the most
// a plan may assume (2, 0.75, 0.25 % a week; common practice, no source); the walk is
// judgement.
func driftOf(s plan.Status) (trend, walk int64) {
	switch s {
	case plan.Novice:
		return 1000, 800
	case plan.Advanced:
		return 125, 300
	}
	return 375, 500
}

// layoffLoss is the share lost after so many days of a layoff in 1/10,000: nothing for
// two weeks, then 1 % a week, 20 % at most. Onset: clear from the third week (Bosquet
// et al. 2013); the rate is judgement.
func layoffLoss(days int64) int64 {
	return min(2000, max(0, (days-14)*100/7))
}

// AfterLayoff gives what is left of a 1RM in grams after so many weeks without the
// exercise.
func AfterLayoff(grams int64, weeks int32) int64 {
	return grams * (10_000 - layoffLoss(7*int64(weeks))) / 10_000
}

// sighting is a performance read by the model, at one slope.
type sighting struct {
	index int     // in the observations given
	age   int32   // days
	reps  float64 // to failure, as shown
	about float64 // to failure, where the curve is looked at
	log   float64 // of the load
	at    float64 // log of the 1RM it means, a layoff's loss taken off
	slope float64 // change of the log load with the log of the slope: k(n-1)
	step  float64 // k, log load a repetition
	shape float64 // SD of the curve's error
	lost  float64 // SD of the layoff's loss
	kind  reportKind
	rir   float64
}

type reportKind uint8

const (
	failed reportKind = iota // no repetition left
	reported
	silent
	oneRMTest
)

// read gives what an observation says before the curve is asked.
func read(o *Observation, index int, p *Prior) sighting {
	s := sighting{index: index, age: o.AgeDays, reps: float64(o.Reps), log: logOf(float64(o.Grams))}
	switch {
	case o.Tested:
		s.kind = oneRMTest
	case o.Failure:
	case o.RIR.Set:
		s.kind, s.rir = reported, float64(o.RIR.Value)
		s.reps += s.rir + float64(s.biasScale()*biasMean)/1000
	default:
		s.kind = silent
		s.reps += float64(silentMean) / 1000
	}
	s.about = s.reps
	// A performance from within a layoff has only what came after.
	off, before := int64(p.LayoffWeeks)*7, max(0, int64(o.AgeDays)-int64(p.BackDays))
	loss := layoffLoss(off) - layoffLoss(max(0, off-before))
	s.lost = float64(loss*layoffShare) / 10_000_000
	s.log += logOf(1 - float64(loss)/10_000)
	return s
}

// biasScale is how much of a report's bias applies.
func (s *sighting) biasScale() float64 {
	if s.rir < 1 {
		return 0.5
	}
	return 1
}

// expect moves the place where the curve is looked at from the repetitions shown to
// those that a 1RM and slope foretell, at most half as many again or a third less.
func (s *sighting) expect(c *Curve, m, slope float64) {
	if s.kind == oneRMTest {
		return
	}
	n := 1 + float64((c.repsAt(s.log-m)-1)*slope)
	s.about = max(1, s.reps/1.5, min(n, s.reps*1.5))
}

// look puts a sighting on the curve of a person's slope.
func (s *sighting) look(c *Curve, slope float64, shape int64) {
	v, k := c.logAt(1 + (s.about-1)/slope)
	s.step = k / slope
	s.at = s.log - v + float64(s.step*(s.reps-s.about))
	s.slope = float64(s.step * (s.about - 1))
	s.shape = float64(-v*float64(shape)) / 1000
}

// repsAt is the inverse of logAt.
func (c *Curve) repsAt(value float64) float64 {
	level := float64(expOf(min(0, value)) * fullBP)
	i := max(1, sort.Search(len(c.wide), func(i int) bool { return float64(c.wide[i]) < level }))
	if i == len(c.wide) {
		end := float64(oneRep+len(c.wide)-1) / oneRep
		v, fall := c.logAt(end)
		return end + (v-value)/fall
	}
	part := (float64(c.wide[i-1]) - level) / float64(c.wide[i-1]-c.wide[i])
	return (float64(oneRep+i-1) + part) / oneRep
}

// logAt gives the log of the unshifted curve's intensity at any repetitions from 1 on,
// and how fast it falls a repetition there. Beyond the curve's end it goes on straight.
func (c *Curve) logAt(reps float64) (value, fall float64) {
	end := float64(oneRep+len(c.wide)-1) / oneRep
	at := min(reps, end)
	lo, hi := max(1, at-0.5), min(end, at+0.5)
	mid := c.wideAt(at)
	fall = (c.wideAt(lo) - c.wideAt(hi)) / float64((hi-lo)*mid)
	return logOf(mid/fullBP) - float64(fall*(reps-at)), fall
}

// wideAt fills the inner grid linearly.
func (c *Curve) wideAt(reps float64) float64 {
	at := float64(reps*oneRep) - oneRep
	i := max(0, min(int(at), len(c.wide)-2))
	part := at - float64(i)
	return float64(c.wide[i]) + float64(part*float64(c.wide[i+1]-c.wide[i]))
}

// own is the variance of a sighting that it shares with no other.
func (s *sighting) own() float64 {
	v := float64(ownShare*ownShare) / 1e6
	if s.kind == oneRMTest {
		return v
	}
	grows := float64(s.about*repsGrows) / 1000
	reps := float64(repsFlat*repsFlat)/1e6 + float64(grows*grows) + 1.0/12
	switch s.kind {
	case reported:
		r := s.report()
		reps += float64(r * r)
	case silent:
		reps += float64(silentSD*silentSD) / 1e6
	}
	return v + float64(float64(s.step*s.step)*reps)
}

// report is the SD of each half of a report's error.
func (s *sighting) report() float64 { return (reportFlat + float64(reportGrows*s.rir)) / 1000 }

// with is the covariance of the errors of two sightings, or one with itself less own.
func (s *sighting) with(o *sighting, status plan.Status) float64 {
	v := float64(s.lost * o.lost)
	if s.kind == reported && o.kind == reported {
		both := float64(s.step * o.step)
		v += float64(both*float64(s.biasScale()*o.biasScale())) * biasPeople * biasPeople / 1e6
		if s.age == o.age {
			v += float64(both * float64(s.report()*o.report()))
		}
	}
	if s.age == o.age {
		v += float64(dayShare*dayShare) / 1e6
	}
	if s.kind != oneRMTest && o.kind != oneRMTest {
		if near := 1 - math.Abs(s.about-o.about)*1000/shapeReach; near > 0 {
			v += float64(float64(s.shape*o.shape) * near)
		}
	}
	trend, walk := driftOf(status)
	a, b := float64(s.age)/7, float64(o.age)/7
	v += float64(float64(trend*trend)*float64(min(a, trendWeeks)*min(b, trendWeeks))) / 1e10
	return v + float64(float64(walk*walk)*min(a, b))/1e10
}
