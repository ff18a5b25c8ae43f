package load

import (
	"math"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// Prior is what is taken for known before an athlete has shown anything.
type Prior struct {
	MeanGrams       int64 // of the 1RM; 0: unknown, whatever SDPermille says
	SDPermille      int32 // of its log
	SlopePermille   int32 // 1000 is the family's curve
	SlopeSDPermille int32 // of its log
	Status          plan.Status
	LayoffWeeks     int32 // without the exercise, up to today, or to BackDays ago
	BackDays        int32 // of training since the layoff
	MaxGrams        int64 // 1RM beyond which nothing is plausible; 0: no limit
}

// Population is the prior for an exercise family and status. The slope is the
// family's with the published spread between people; sex, age and status hardly matter
// to it (Nuzzo 2024). The 1RM is known for the bench press, and for squat and deadlift
// through it, where body mass is given:
//
//   - bench press / body mass: novice the 20 to 40th, intermediate the 80th percentile
//     of adults in their twenties, 0.93 and 1.32 (men), 0.55 and 0.80 (women); these
//     norms spread with an SD of 24 to 27 % within sex and age (Cooper Institute, The
//     Physical Fitness Specialist Manual, 2002, as reprinted in a textbook's laboratory
//     sheet); at 60 and over about 0.64 of it. Which percentile stands for which status
//     is judgement.
//   - advanced: the 90th percentile of young drug-tested lifters, bench press 1.95 and
//     1.35, squat 2.83 and 2.26, deadlift 3.25 and 2.66 (van den Hoek et al., J Sci Med
//     Sport, 2024, abstract), less 1.28 SD of 20 % (judgement).
//   - squat and deadlift of the others: the same ratios of these lifts to bench press.
//
// Women and men between: the geometric mean, with a wider SD. It is for weighing
// evidence and never a load to start with: a prior alone has an SD of 30 % and more.
// Minors and other families have no mean.
func Population(family string, status plan.Status, sex plan.Sex, age plan.AgeBand, bodyGrams int64) Prior {
	p := Prior{SlopePermille: 1000, SlopeSDPermille: slopeShare, Status: status, MaxGrams: MaxPlausible(family)}
	ratio, ok := populationRatio(family, status)
	if !ok || bodyGrams <= 0 || age.Minor() {
		return p
	}
	p.SDPermille = 300
	if family != FamilyBench {
		p.SDPermille = 350
	}
	var permille int64
	switch sex {
	case plan.Male:
		permille = ratio[0]
	case plan.Female:
		permille = ratio[1]
	default:
		permille = isqrt(ratio[0] * ratio[1])
		p.SDPermille += 100
	}
	if age == plan.AgeOlder {
		permille = permille * 64 / 100
	}
	p.MeanGrams = roundDiv(bodyGrams*permille, 1000)
	return p
}

// populationRatio gives 1RM over body mass of men and women, in permille.
func populationRatio(family string, status plan.Status) ([2]int64, bool) {
	rows := [...]struct {
		family string
		ratios [3][2]int64 // novice, intermediate, advanced
	}{
		{FamilyBench, [3][2]int64{{930, 550}, {1320, 800}, {1510, 1045}}},
		{FamilySquat, [3][2]int64{{1350, 921}, {1916, 1339}, {2191, 1750}}},
		{FamilyDeadlift, [3][2]int64{{1550, 1084}, {2200, 1576}, {2516, 2059}}},
	}
	for _, r := range rows {
		if r.family == family && status >= plan.Novice && status <= plan.Advanced {
			return r.ratios[status-plan.Novice], true
		}
	}
	return [2]int64{}, false
}

// MaxPlausible is a 1RM, in grams, a little above any on record in a family of
// exercises, with supportive gear too for the three lifts of competition (from memory;
// the others judgement). 0 for an unknown family.
func MaxPlausible(family string) int64 {
	switch family {
	case FamilyBench, FamilySquat:
		return 650_000
	case FamilyDeadlift:
		return 560_000
	case FamilyLegPress:
		return 1_200_000
	case FamilyLowerCompound:
		return 800_000
	case FamilyUpperCompound, FamilyBodyweight:
		return 400_000
	case FamilySingleJointUpper:
		return 200_000
	case FamilySingleJointLower:
		return 400_000
	}
	return 0
}

// Related is another lift of the same athlete.
type Related struct {
	Grams      int64         // its 1RM
	SDPermille int32         // of the log of it
	Ratio      plan.Permille // this lift's 1RM over that one's
	RatioSD    plan.Permille // of the log of the ratio; at least 50, 150 where not known better (judgement)
}

// UsualRatioSD is the SD of a ratio between lifts that has no published spread: two in
// three people within 15 % of it (judgement).
const UsualRatioSD plan.Permille = 150

const minRatioSD plan.Permille = 50

// Borrow lets a related lift speak for this one: through the ratio its 1RM has the log
// variance SD² + ratio SD², and it joins what the prior says, weighted by one over the
// variance. With a prior that has no mean it becomes the mean. Two lifts borrowed must
// not both stand on the same performances. Impossible numbers are Invalid.
func (p Prior) Borrow(from Related) (Prior, error) {
	bad := fault.NewCollector(fault.Invalid)
	if from.Grams <= 0 || from.Grams > 2_000_000 {
		bad.Add("LOAD_OUT_OF_BOUNDS", "grams", "the related 1RM must be above 0 and at most 2000 kg")
	}
	if from.SDPermille < 0 || from.SDPermille > 5000 {
		bad.Add("SD_OUT_OF_BOUNDS", "sd_permille", "the SD must be from 0 to 5000 permille")
	}
	if from.Ratio < 10 || from.Ratio > 10_000 {
		bad.Add("RATIO_OUT_OF_BOUNDS", "ratio", "the ratio between lifts must be from 10 to 10,000 permille")
	}
	if from.RatioSD < minRatioSD || from.RatioSD > 5000 {
		bad.Add("SD_OUT_OF_BOUNDS", "ratio_sd", "the SD of a ratio between lifts must be from 50 to 5000 permille")
	}
	if err := bad.Err(); err != nil {
		return p, err
	}
	if err := p.check(); err != nil {
		return p, err
	}
	v := int64(from.SDPermille)*int64(from.SDPermille) + int64(from.RatioSD)*int64(from.RatioSD)
	if p.MeanGrams == 0 {
		p.MeanGrams, p.SDPermille = max(1, roundDiv(from.Grams*int64(from.Ratio), 1000)), rootPermille(float64(v))
		return p, nil
	}
	own := int64(p.SDPermille) * int64(p.SDPermille)
	a, b := logOf(float64(p.MeanGrams)), logOf(float64(from.Grams*int64(from.Ratio))/1000)
	sum := float64(own + v)
	p.MeanGrams = max(1, wholeOf(expOf(a+float64(float64(own)*(b-a))/sum)))
	p.SDPermille = rootPermille(float64(own) * float64(v) / sum)
	return p, nil
}

func rootPermille(v float64) int32 { return int32(max(1, wholeOf(math.Sqrt(v)))) }

// As gives a posterior as the prior of what follows, or the source to borrow from.
func (p Posterior) As(ratio, ratioSD plan.Permille) Related {
	return Related{Grams: p.MeanGrams, SDPermille: p.SDPermille, Ratio: ratio, RatioSD: ratioSD}
}

func (p *Prior) check() error {
	bad := fault.NewCollector(fault.Invalid)
	if p.MeanGrams < 0 || p.MeanGrams > 2_000_000 {
		bad.Add("LOAD_OUT_OF_BOUNDS", "prior.mean_grams", "the mean must be from 0 (unknown) to 2000 kg")
	}
	if p.MeanGrams > 0 && (p.SDPermille < 1 || p.SDPermille > 5000) {
		bad.Add("SD_OUT_OF_BOUNDS", "prior.sd_permille", "the SD must be from 1 to 5000 permille")
	}
	if p.SlopePermille < minSlope || p.SlopePermille > maxSlope {
		bad.Add("SLOPE_OUT_OF_BOUNDS", "prior.slope_permille", "the slope must be from 500 to 2000 permille")
	}
	if p.SlopeSDPermille < 1 || p.SlopeSDPermille > 1000 {
		bad.Add("SD_OUT_OF_BOUNDS", "prior.slope_sd_permille", "the SD of the slope must be from 1 to 1000 permille")
	}
	if p.LayoffWeeks < 0 || p.LayoffWeeks > 5200 || p.BackDays < 0 {
		bad.Add("LAYOFF_OUT_OF_BOUNDS", "prior.layoff_weeks", "a layoff must be from 0 to 5200 weeks")
	}
	return bad.Err()
}
