package engine

import (
	"fmt"
	"slices"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// Safety is what the screening lets a program do. It is part of the model: schemes
// are bent to it before anything is allocated.
type Safety struct {
	MinRIR       int32
	MaxIntensity plan.Permille // 0: none
	MinRM        int32         // fewest repetitions to failure that a load may stand for; 0: none
	MinReps      int32
	MaxReps      int32 // 0: none
	NoTests      bool
	NoFailure    bool
	Forbidden    exercise.Flag // exercises with any of these are out
	Moderate     bool          // light to moderate only: the reason stands in the cautions
	Cautions     []string      // text ids, in order
	Why          []string      // one sentence a limit, for findings
}

// belowVigorous is the highest intensity still under the 80 % from which lifting
// counts as vigorous exercise.
const belowVigorous plan.Permille = 799

// A clearance counts for 12 months (ACSM 2015, from memory).
const clearanceDays = 365

type judge struct {
	b       *Brief
	s       Safety
	refused *fault.Collector
	scope   plan.Scope // of a clearance in force
}

// Judge applies pre-participation screening (Riebe et al. 2015), the listed
// contraindications (Williams et al. 2007, list from memory) and the rules for
// minors, pregnancy and beginners. The answer is limits, or a fault.Refused that
// says what would be needed.
func Judge(b *Brief) (Safety, error) {
	j := &judge{b: b, refused: fault.NewCollector(fault.Refused)}
	j.caution("not-medical", "stop-signs", "technique", "estimates")
	j.scope = j.clearance()
	j.conditions()
	j.screening()
	j.age()
	j.pregnancy()
	j.beginner()
	if err := j.refused.Err(); err != nil {
		return Safety{}, err
	}
	return j.s, nil
}

func (j *judge) caution(ids ...string) {
	for _, id := range ids {
		for _, have := range j.s.Cautions {
			if have == id {
				id = ""
				break
			}
		}
		if id != "" {
			j.s.Cautions = append(j.s.Cautions, id)
		}
	}
}

// moderate holds everything under vigorous work.
func (j *judge) moderate(why string) {
	j.limit(2, belowVigorous)
	j.s.NoTests, j.s.NoFailure, j.s.Moderate = true, true, true
	j.s.Why = append(j.s.Why, why)
}

func (j *judge) limit(rir int32, intensity plan.Permille) {
	j.s.MinRIR = max(j.s.MinRIR, rir)
	if intensity > 0 && (j.s.MaxIntensity == 0 || intensity < j.s.MaxIntensity) {
		j.s.MaxIntensity = intensity
	}
}

// clearance gives the scope of a clearance that is in force.
func (j *judge) clearance() plan.Scope {
	a := &j.b.Request.Athlete
	if !a.Clearance.Set {
		return plan.ScopeUnspecified
	}
	c := &j.b.Request.Constraints
	on := c.PreparedOn
	if !on.Set {
		on = c.Start
	}
	v := a.Clearance.Value
	if !v.Date.Set || !on.Set || on.Value-v.Date.Value > clearanceDays {
		j.caution("clearance-expired")
		return plan.ScopeUnspecified
	}
	return v.Scope
}

const needClearance = "Bring a clinician's clearance for resistance training (scope and date, not older than 12 months, with prepared_on or start_date to check it against)."

func (j *judge) conditions() {
	for i, c := range j.b.Request.Athlete.Screening.Value.Conditions {
		path := fmt.Sprintf("athlete.screening.conditions[%d]", i)
		k := conditionRules[c]
		switch {
		case k.never:
			j.refused.Add("CONTRAINDICATION", path, k.name+" rules out resistance training until a clinician has treated it and says otherwise. No program is given.")
		case j.scope == plan.ScopeUnspecified:
			j.refused.Add("CLEARANCE_NEEDED", path, k.name+" needs a clinician's word first. "+needClearance)
		default:
			if j.scope == plan.ScopeModerate || k.capped {
				j.moderate(k.name + " keeps the work below 80 % of 1RM and two repetitions or more from failure.")
			}
			if k.capped {
				j.limit(3, belowVigorous)
			}
			j.caution("clinician", "breathing")
		}
	}
}

type conditionRule struct {
	name   string
	never  bool // absolute: no clearance field lifts it
	capped bool // heavy work stays out whatever the scope
}

var conditionRules = [plan.ConditionCount]conditionRule{
	plan.UnstableCoronaryDisease:     {name: "Unstable coronary disease", never: true},
	plan.DecompensatedHeartFailure:   {name: "Decompensated heart failure", never: true},
	plan.UncontrolledArrhythmia:      {name: "An uncontrolled arrhythmia", never: true},
	plan.SeverePulmonaryHypertension: {name: "Severe pulmonary hypertension", never: true},
	plan.SevereAorticStenosis:        {name: "Severe symptomatic aortic stenosis", never: true},
	plan.AcuteCarditis:               {name: "Acute myocarditis, endocarditis or pericarditis", never: true},
	plan.HypertensionAbove180Over110: {name: "Blood pressure above 180/110", never: true},
	plan.AorticDissection:            {name: "Aortic dissection", never: true},
	plan.MarfanSyndrome:              {name: "Marfan syndrome", never: true},
	plan.AdvancedRetinopathy:         {name: "Advanced retinopathy", capped: true},
	plan.MajorCoronaryRisk:           {name: "A major coronary risk"},
	plan.Diabetes:                    {name: "Diabetes"},
	plan.HypertensionAbove160Over100: {name: "Blood pressure above 160/100", capped: true},
	plan.LowCapacity:                 {name: "A very low exercise capacity (under 4 METs)", capped: true},
	plan.MusculoskeletalLimits:       {name: "A musculoskeletal limitation"},
	plan.PacemakerOrDefibrillator:    {name: "A pacemaker or defibrillator"},
	plan.StrainSensitive:             {name: "A condition in which straining is dangerous", capped: true},
	plan.RecentSurgeryOrFracture:     {name: "Recent surgery or a fracture"},
	plan.AcuteNerveSigns:             {name: "Acute disc or nerve signs"},
	plan.RapidWeightLoss:             {name: "Rapid weight loss or signs of an eating disorder"},
	plan.PregnancyHeartOrLung:        {name: "Significant heart or restrictive lung disease in pregnancy", never: true},
	plan.CervicalInsufficiency:       {name: "Cervical insufficiency or a cerclage", never: true},
	plan.MultiplePregnancyAtRisk:     {name: "A multiple pregnancy at risk of preterm labour", never: true},
	plan.BleedingLatePregnancy:       {name: "Bleeding in the second or third trimester", never: true},
	plan.PlacentaPraevia:             {name: "Placenta praevia after 26 weeks", never: true},
	plan.PretermLabourOrRupture:      {name: "Preterm labour or ruptured membranes", never: true},
	plan.PreEclampsia:                {name: "Pre-eclampsia", never: true},
	plan.SevereAnaemia:               {name: "Severe anaemia in pregnancy", never: true},
	plan.YouthCardiacOrSeizure:       {name: "A cardiac or seizure history in a young athlete"},
}

// screening is the table of Riebe et al. 2015: regular exercise, disease, symptoms.
func (j *judge) screening() {
	q := j.b.Request.Athlete.Screening.Value
	if !q.RegularExercise.Set || !q.KnownDisease.Set || !q.Symptoms.Set {
		if q.Symptoms.Value || (q.KnownDisease.Value && !q.RegularExercise.Value) {
			j.needs("athlete.screening")
		}
		j.moderate("The three screening questions are not all answered: at least two repetitions stay in reserve, loads stay below 80 % of 1RM, and nothing is tested.")
		j.caution("screening-missing")
		return
	}
	switch {
	case q.Symptoms.Value:
		j.needs("athlete.screening.symptoms")
	case q.KnownDisease.Value && !q.RegularExercise.Value:
		j.needs("athlete.screening.known_disease")
	case q.KnownDisease.Value && j.scope != plan.ScopeVigorous:
		j.moderate("With known disease and no clearance for vigorous work the program stays moderate: below 80 % of 1RM, two repetitions or more in reserve.")
		j.caution("clearance-for-vigorous")
	}
	if !q.RegularExercise.Value {
		j.moderate("Someone who has not exercised regularly starts light to moderate: below 80 % of 1RM, two repetitions or more in reserve.")
	}
}

// needs refuses without a clearance, and else goes as far as it goes.
func (j *judge) needs(path string) {
	switch j.scope {
	case plan.ScopeUnspecified:
		j.refused.Add("CLEARANCE_NEEDED", path, "means that training waits for a medical check. "+needClearance)
	case plan.ScopeModerate:
		j.moderate("The clearance is for moderate work: below 80 % of 1RM, two repetitions or more in reserve.")
		j.caution("clinician")
	default:
		j.caution("clinician")
	}
}

// age: Faigenbaum et al. 2009, Lloyd et al. 2014, Stricker et al. 2020 (from memory).
func (j *judge) age() {
	a := &j.b.Request.Athlete
	if a.Age == plan.AgeOlder {
		j.caution("older", "breathing")
		if a.Status == plan.Novice {
			j.limit(2, 0)
		}
	}
	if !a.Age.Minor() {
		return
	}
	if j.b.AgeYears > 0 && j.b.AgeYears < 7 {
		j.refused.Add("TOO_YOUNG", "athlete.birth_year", "is under 7 years old: too young for a program; play and supervised movement come first.")
	}
	if a.Supervision != plan.Qualified {
		j.refused.Add("SUPERVISION_NEEDED", "athlete.supervision", "must be qualified: someone under 18 trains only with a qualified adult present.")
	}
	days := slices.Clone(j.b.Request.Constraints.Days)
	slices.SortFunc(days, func(a, b plan.Day) int { return int(a.Weekday) - int(b.Weekday) })
	for i := range days {
		next := days[(i+1)%len(days)].Weekday
		if len(days) > 3 || len(days) > 1 && (next-days[i].Weekday == 1 || days[i].Weekday == plan.Sunday && next == plan.Monday) {
			j.refused.Add("TOO_MANY_DAYS", "constraints.days", "must be two or three non-consecutive days a week for someone under 18.")
			break
		}
	}
	cap := belowVigorous
	if a.Status == plan.Novice {
		cap = 600
	}
	j.limit(3, cap)
	j.s.NoTests, j.s.NoFailure = true, true
	j.s.MinReps, j.s.MaxReps = max(j.s.MinReps, 6), 15
	j.s.Why = append(j.s.Why, fmt.Sprintf("Under 18: 6 to 15 repetitions, at most %s of 1RM, three or more in reserve, no tests.", cap))
	j.caution("minor", "supervised")
}

// pregnancy: ACOG Committee Opinion 804, 2020 (details from memory).
func (j *judge) pregnancy() {
	a := &j.b.Request.Athlete
	if a.Pregnancy == plan.NotPregnant {
		return
	}
	if !a.Uncomplicated.Value {
		j.refused.Add("CONFIRMATION_NEEDED", "athlete.uncomplicated", "must be true: the obstetric clinician or midwife has to confirm that training is fine before a program is given.")
	}
	j.moderate("Around a pregnancy: below 80 % of 1RM, three repetitions or more in reserve, no straining breath-hold, nothing that lands.")
	j.limit(3, belowVigorous)
	j.s.Forbidden |= exercise.Jump
	if a.Pregnancy == plan.SecondTrimester || a.Pregnancy == plan.ThirdTrimester {
		j.s.Forbidden |= exercise.Supine | exercise.Prone
	}
	if a.Pregnancy == plan.Postpartum {
		j.caution("postpartum", "breathing")
		return
	}
	j.caution("pregnancy", "breathing")
}

// beginner: no 1RM test, loads of 8RM or lighter, two in reserve (judgement).
func (j *judge) beginner() {
	if j.b.Request.Athlete.Status != plan.Novice {
		return
	}
	j.limit(2, 0)
	j.s.MinRM = 8
	j.s.NoTests, j.s.NoFailure = true, true
	j.s.Why = append(j.s.Why, "A novice learns the lifts with loads of 8RM or lighter and two repetitions in reserve, without tests.")
}
