package audit

import (
	"fmt"
	"strings"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// regime is a set of limits that a person's state puts on every working set.
type regime struct {
	rule    plan.RuleID
	field   string
	minRIR  int32
	below   plan.Permille // intensities from here on are out; 0: none
	noTests bool
	out     exercise.Flag // exercises with any of these are out
	why     string
}

// A clearance counts for 12 months (ACSM 2015, from memory).
const clearanceDays = 365

func (a *auditor) safety() {
	at := &a.r.Athlete
	a.clearance()
	regimes := a.regimes()
	a.eachLift(func(w *week, s *session, l *lift) {
		for i := range regimes {
			a.hold(l, &regimes[i])
		}
		a.underBar(l)
		a.explosive(l)
		a.noviceTest(l)
	})
	if a.minor() && at.Supervision != plan.Qualified {
		f := plan.Finding{Rule: ruleMinorSupervision, Field: "athlete.supervision"}
		a.finding(f, "Someone under 18 trains with a qualified adult present; the request says %s.", supervisionName(at.Supervision))
	}
	a.startLight()
	a.cautions()
}

func supervisionName(s plan.Supervision) string {
	switch s {
	case plan.Alone:
		return "alone"
	case plan.Partner:
		return "with a partner"
	case plan.Qualified:
		return "qualified"
	}
	return "nothing"
}

func (a *auditor) minor() bool {
	at := &a.r.Athlete
	if at.Age.Minor() {
		return true
	}
	if on, ok := a.today(); ok && at.BirthYear.Set && at.Age == plan.AgeUnspecified {
		return int32(on.Year())-at.BirthYear.Value < 18
	}
	return false
}

// today is the day from which evidence is aged.
func (a *auditor) today() (plan.Date, bool) {
	c := &a.r.Constraints
	if c.PreparedOn.Set {
		return c.PreparedOn.Value, true
	}
	return c.Start.Value, c.Start.Set
}

// scope is that of a clearance in force.
func (a *auditor) scope() plan.Scope {
	c := a.r.Athlete.Clearance
	on, ok := a.today()
	if !c.Set || !c.Value.Date.Set || !ok || int64(on)-int64(c.Value.Date.Value) > clearanceDays {
		return plan.ScopeUnspecified
	}
	return c.Value.Scope
}

func (a *auditor) screened() bool {
	q := a.r.Athlete.Screening.Value
	return a.r.Athlete.Screening.Set && q.RegularExercise.Set && q.KnownDisease.Set && q.Symptoms.Set
}

// Absolute contraindications and absolute stops in pregnancy: no program at all.
func absolute(c plan.Condition) bool {
	return c >= plan.UnstableCoronaryDisease && c <= plan.MarfanSyndrome || c >= plan.PregnancyHeartOrLung && c <= plan.SevereAnaemia
}

// Conditions in which heavy work or straining stays out whatever the clearance.
func noStrain(c plan.Condition) bool {
	return c == plan.AdvancedRetinopathy || c == plan.HypertensionAbove160Over100 || c == plan.StrainSensitive
}

// clearance: programs that should not exist without a clinician's word.
func (a *auditor) clearance() {
	q := a.r.Athlete.Screening.Value
	for i, c := range q.Conditions {
		if absolute(c) {
			f := plan.Finding{Rule: ruleContraindicated, Field: fmt.Sprintf("athlete.screening.conditions[%d]", i)}
			a.finding(f, "A condition is listed that rules out resistance training until a clinician says otherwise.")
			return
		}
	}
	if a.pregnant() && a.r.Athlete.Uncomplicated.Set && !a.r.Athlete.Uncomplicated.Value {
		a.finding(plan.Finding{Rule: ruleContraindicated, Field: "athlete.uncomplicated"}, "The pregnancy is stated as complicated: the obstetric clinician decides first.")
		return
	}
	if a.scope() != plan.ScopeUnspecified {
		return
	}
	f := plan.Finding{Rule: ruleClearance, Field: "athlete.clearance"}
	switch {
	case q.Symptoms.Value:
		a.finding(f, "Symptoms are stated and no clearance in force.")
	case q.KnownDisease.Value && q.RegularExercise.Set && !q.RegularExercise.Value:
		a.finding(f, "Known disease without regular exercise needs clearance before starting.")
	case len(q.Conditions) > 0:
		a.finding(f, "A condition is listed that a clinician has to be asked about first.")
	}
}

func (a *auditor) pregnant() bool {
	p := a.r.Athlete.Pregnancy
	return p == plan.FirstTrimester || p == plan.SecondTrimester || p == plan.ThirdTrimester
}

func (a *auditor) regimes() []regime {
	at := &a.r.Athlete
	q := at.Screening.Value
	var out []regime
	if !a.screened() && a.scope() != plan.ScopeVigorous {
		out = append(out, regime{ruleUnscreened, "athlete.screening", 2, vigorous, true, 0, "screening is not answered"})
	}
	if a.screened() && q.KnownDisease.Value && a.scope() != plan.ScopeVigorous {
		out = append(out, regime{ruleDisease, "athlete.screening.known_disease", 2, vigorous, true, 0, "there is known disease and no clearance for vigorous work"})
	}
	for i, c := range q.Conditions {
		if noStrain(c) || a.scope() != plan.ScopeVigorous && !absolute(c) {
			out = append(out, regime{ruleDisease, fmt.Sprintf("athlete.screening.conditions[%d]", i), 2, vigorous, true, 0, "a listed condition keeps the work moderate"})
			break
		}
	}
	if a.minor() {
		below := plan.Permille(810) // "to about 80 %": a percent is let pass
		if at.Status == plan.Novice {
			below = 610
		}
		out = append(out, regime{ruleMinor, "athlete.age_band", 2, below, true, 0, "the athlete is under 18"})
	}
	if a.pregnant() {
		r := regime{rulePregnancy, "athlete.pregnancy", 3, vigorous, true, exercise.Jump, "the athlete is pregnant"}
		if at.Pregnancy != plan.FirstTrimester {
			r.out |= exercise.Supine
		}
		out = append(out, r)
	}
	return out
}

// hold checks an exercise against a regime; its first breach is the finding. Body mass
// alone is no load that was chosen: there the reserve governs.
func (a *auditor) hold(l *lift, r *regime) {
	says := ""
	if l.x != nil && l.x.Flags&r.out != 0 {
		says = "is out"
	}
	for i := range l.work {
		s := &l.work[i]
		bare := l.x != nil && (l.x.Loading == plan.LoadingBodyweight || l.x.Loading == plan.LoadingAdded && s.s.Load.Value.Milli == 0)
		switch rir := l.reserve(s); {
		case says != "":
		case r.noTests && nearMaximum(s.s):
			says = "is tested"
		case s.s.ToFailure:
			says = "goes to failure"
		case rir.Set && rir.Value < r.minRIR:
			says = fmt.Sprintf("leaves %d repetitions in reserve, at least %d are needed", rir.Value, r.minRIR)
		case r.below > 0 && !bare && l.intensityOf(s) >= r.below:
			says = fmt.Sprintf("goes to %s of 1RM, below %s is allowed", l.intensityOf(s), r.below)
		}
	}
	if says != "" {
		f := l.about(r.rule)
		f.Field = r.field
		a.finding(f, "%s %s: %s.", l.name(), says, r.why)
	}
}

// underBar: nothing within one repetition of failure under a bar that nobody and
// nothing catches.
func (a *auditor) underBar(l *lift) {
	if l.x == nil || !l.x.Is(exercise.UnderBar) || l.x.Loading != plan.LoadingBar {
		return
	}
	spotter := a.r.Athlete.Spotter.Or(a.r.Athlete.Supervision == plan.Qualified)
	if spotter || l.in.place != nil && l.in.place.Safeties.Value {
		return
	}
	for i := range l.work {
		s := &l.work[i]
		if r := l.reserve(s); s.s.ToFailure || r.Set && r.Value <= 1 {
			a.finding(l.about(ruleUnderBar), "%s comes within one repetition of failure without spotter or safeties.", l.name())
			return
		}
	}
}

// explosive work ends before it slows down.
func (a *auditor) explosive(l *lift) {
	if l.x == nil || !l.x.Pattern.Explosive() {
		return
	}
	for i := range l.work {
		s := &l.work[i]
		if s.s.Kind == plan.SetWorking && (s.s.ToFailure || s.s.OpenEnded || s.rir.Set && s.rir.Value == 0) {
			a.finding(l.about(ruleExplosiveFailure), "%s is explosive and goes to failure.", l.name())
			return
		}
	}
}

// noviceTest: a novice is not tested for a 1RM; a repetition maximum of 8 or more is no such test.
func (a *auditor) noviceTest(l *lift) {
	if a.r.Athlete.Status != plan.Novice || a.minor() {
		return
	}
	for i := range l.work {
		s := l.work[i].s
		if nearMaximum(s) {
			a.finding(l.about(ruleNoviceTest), "%s tests a novice near the 1RM.", l.name())
			return
		}
		if s.Kind == plan.SetWorking && s.ToFailure && !l.isSafe() {
			a.finding(l.about(ruleNoviceFailure), "%s takes a novice to failure; two or three repetitions in reserve are the custom until the reserve can be judged.", l.name())
			return
		}
	}
}

// nearMaximum reports a test or an attempt at a 1RM. A set of eight repetitions or more
// is none, nor one of three or more that keeps two in reserve: both show the strength.
func nearMaximum(s *plan.Set) bool {
	kept := s.Reps.Max >= 3 && !s.ToFailure && s.RIR.Or(0) >= 2
	return s.Kind == plan.SetAttempt || s.Kind == plan.SetTest && s.Reps.Max < 8 && !kept
}

func (l *lift) isSafe() bool { return l.x != nil && l.x.Is(exercise.FailureOK) }

// startLight: someone who has not been exercising starts light to moderate.
func (a *auditor) startLight() {
	q := a.r.Athlete.Screening.Value
	if !a.screened() || q.RegularExercise.Value || q.KnownDisease.Value {
		return
	}
	a.eachLift(func(w *week, s *session, l *lift) {
		if w.n > 2 {
			return
		}
		for i := range l.work {
			if p := l.intensityOf(&l.work[i]); p >= vigorous {
				a.finding(l.about(ruleStartLight), "%s goes to %s in week %d of someone who has not exercised regularly.", l.name(), p, w.n)
				return
			}
		}
	})
}

// Cautions that every program carries, and those that a state of the athlete adds. The
// ids are those of the text catalogue.
var standardCautions = [...]string{"not-medical", "stop-signs", "technique", "estimates"}

func (a *auditor) cautions() {
	need := append([]string(nil), standardCautions[:]...)
	if !a.screened() {
		need = append(need, "screening-missing")
	}
	if a.minor() {
		need = append(need, "minor")
	}
	if a.pregnant() {
		need = append(need, "pregnancy")
	}
	var lack []string
	for _, id := range need {
		found := false
		for i := range a.p.Cautions {
			found = found || a.p.Cautions[i].ID == id && strings.TrimSpace(a.p.Cautions[i].Says) != ""
		}
		if !found {
			lack = append(lack, id)
		}
	}
	if len(lack) > 0 {
		a.finding(plan.Finding{Rule: ruleCaution}, "Cautions are missing: %s.", strings.Join(lack, ", "))
	}
}
