package app

import (
	"fmt"
	"slices"

	"github.com/phasewright/phasewright/engine/audit"
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// Properties of the choice of exercises, and of what is said.

// contains wants one of the exercises or patterns in every week, session or somewhere.
type contains struct {
	Exercises []string `json:"exercises"`
	Patterns  []string `json:"patterns"`
	In        string   `json:"in"`
}

func (m *contains) broken(v *view) []string {
	kinds, bad := patterns(m.Patterns)
	bad = append(bad, v.exercises(m.Exercises)...)
	if len(m.Exercises)+len(m.Patterns) == 0 {
		bad = append(bad, "asks nothing")
	}
	has := func(s *plan.Session) bool {
		return slices.ContainsFunc(s.Exercises, func(e plan.ProgramExercise) bool {
			x, ok := v.catalogue.ByID(e.ExerciseID)
			return ok && len(work(&e)) > 0 && (slices.Contains(m.Exercises, x.ID) || slices.Contains(kinds, x.Pattern))
		})
	}
	wanted := fmt.Sprint(append(append([]string(nil), m.Exercises...), m.Patterns...))
	anywhere := false
	var wrong []string
	missing := v.over(&weekList{}, func(w *plan.Week) {
		inWeek := false
		for i := range w.Sessions {
			here := has(&w.Sessions[i])
			inWeek = inWeek || here
			if m.In == "every-session" && !here {
				wrong = append(wrong, fmt.Sprintf("week %d %s has none of %s", w.Number, w.Sessions[i].Weekday, wanted))
			}
		}
		anywhere = anywhere || inWeek
		if m.In == "every-week" && !inWeek {
			wrong = append(wrong, fmt.Sprintf("week %d has none of %s", w.Number, wanted))
		}
	})
	switch m.In {
	case "every-session", "every-week", "program":
	default:
		bad = append(bad, fmt.Sprintf("in is every-session, every-week or program, not %q", m.In))
	}
	if !anywhere {
		wrong = append(wrong, "the program has none of "+wanted)
	}
	return append(append(bad, missing...), wrong...)
}

// excludes keeps exercises and patterns out, of substitutes too.
type excludes struct {
	Exercises []string `json:"exercises"`
	Patterns  []string `json:"patterns"`
}

func (m *excludes) broken(v *view) []string {
	kinds, bad := patterns(m.Patterns)
	bad = append(bad, v.exercises(m.Exercises)...)
	if len(m.Exercises)+len(m.Patterns) == 0 {
		bad = append(bad, "asks nothing")
	}
	var wrong []string
	missing := v.choices(func(at string, x *exercise.Exercise) {
		if slices.Contains(m.Exercises, x.ID) || slices.Contains(kinds, x.Pattern) {
			wrong = append(wrong, fmt.Sprintf("%s: %s (%s) has no place here", at, x.ID, x.Pattern))
		}
	})
	return append(append(bad, missing...), wrong...)
}

// usesOnly wants every exercise and substitute doable with the listed equipment.
type usesOnly []string

func (m usesOnly) broken(v *view) []string {
	have, bad := allCalled(m, plan.EquipmentUnspecified+1, plan.EquipmentCount-1)
	if len(m) == 0 {
		bad = append(bad, "asks nothing")
	}
	var wrong []string
	missing := v.choices(func(at string, x *exercise.Exercise) {
		if !goes(x.Equipment, have) {
			wrong = append(wrong, fmt.Sprintf("%s: %s needs %s", at, x.ID, x.Equipment))
		}
	})
	missing = append(missing, v.lifts(&weekList{}, func(l *lift) {
		for i := range l.Sets {
			if s := &l.Sets[i]; l.x.Loading == plan.LoadingAdded && s.Load.Set && !s.Load.Value.IsZero() && !goes(l.x.AddedNeeds, have) {
				wrong = append(wrong, fmt.Sprintf("%s: nothing holds the added %s", l.at(), s.Load.Value))
			}
		}
	})...)
	return append(append(bad, missing...), wrong...)
}

// sparesJoint keeps stress of a level or more from a joint, substitutes included.
type sparesJoint struct {
	Joint  string `json:"joint"`
	Stress string `json:"stress"`
}

func (m *sparesJoint) broken(v *view) []string {
	joint, ok := called(m.Joint, plan.JointUnspecified+1, plan.JointCount-1)
	if !ok {
		return []string{fmt.Sprintf("there is no joint %q", m.Joint)}
	}
	level := map[string]int{"mild": exercise.StressMild, "marked": exercise.StressMarked}[m.Stress]
	if level == 0 {
		return []string{fmt.Sprintf("stress is mild or marked, not %q", m.Stress)}
	}
	var wrong []string
	bad := v.choices(func(at string, x *exercise.Exercise) {
		if x.Stresses(joint) >= level {
			wrong = append(wrong, fmt.Sprintf("%s: %s stresses the %s", at, x.ID, joint))
		}
	})
	return append(bad, wrong...)
}

type cautionGiven string

func (m cautionGiven) broken(v *view) []string {
	if !slices.ContainsFunc(v.program.Cautions, func(c plan.Caution) bool { return c.ID == string(m) && c.Says != "" }) {
		return []string{fmt.Sprintf("%q is not among the cautions", m)}
	}
	return nil
}

type assumptionMade string

func (m assumptionMade) broken(v *view) []string {
	if !slices.ContainsFunc(v.program.Assumptions, func(a plan.Assumption) bool { return a.Field == string(m) && a.Says != "" }) {
		return []string{fmt.Sprintf("nothing is assumed about %q", m)}
	}
	return nil
}

// findingMade wants a finding in the program itself, where the athlete sees it.
type findingMade struct {
	Exercise string `json:"exercise"`
	Says     string `json:"says"`
}

func (m *findingMade) broken(v *view) []string {
	var bad []string
	if m.Exercise != "" {
		bad = v.exercises([]string{m.Exercise})
	}
	if m.Says == "" {
		return append(bad, "says is needed")
	}
	if !slices.ContainsFunc(v.program.Findings, func(f plan.Finding) bool {
		return (m.Exercise == "" || f.ExerciseID == m.Exercise) && containsFold(f.Says, m.Says)
	}) {
		bad = append(bad, fmt.Sprintf("no finding on %q says %q", m.Exercise, m.Says))
	}
	return bad
}

// noFinding keeps findings of a level or rule out, the program's and an audit's.
type noFinding struct {
	Level string `json:"level"`
	Rule  string `json:"rule"`
}

func (m *noFinding) broken(v *view) []string {
	level, ok := called(m.Level, plan.LevelNote, plan.LevelViolation)
	if m.Level != "" && !ok {
		return []string{fmt.Sprintf("there is no level %q", m.Level)}
	}
	if m.Rule != "" && !slices.ContainsFunc(audit.Rules(), func(r plan.Rule) bool { return string(r.ID) == m.Rule }) {
		return []string{fmt.Sprintf("there is no rule %q", m.Rule)}
	}
	if m.Level == "" && m.Rule == "" {
		return []string{"asks nothing"}
	}
	var bad []string
	for _, f := range v.findings {
		if (m.Level == "" || f.Level == level) && (m.Rule == "" || string(f.Rule) == m.Rule) {
			bad = append(bad, fmt.Sprintf("week %d session %d %s: %s [%s]", f.Week, f.Session, f.ExerciseID, f.Says, f.Rule))
		}
	}
	return bad
}

// contingencies: every exercise says what to do when it goes differently.
type contingencies struct{ yes }

func (m *contingencies) broken(v *view) []string {
	seen := 0
	var wrong []string
	bad := v.lifts(&weekList{}, func(l *lift) {
		seen++
		for c := plan.CaseRepsMissed; c <= plan.CaseDayMissed; c++ {
			if !slices.ContainsFunc(l.Contingencies, func(x plan.Contingency) bool { return x.Case == c && x.Says != "" }) {
				wrong = append(wrong, fmt.Sprintf("%s says nothing for case %d", l.at(), c))
			}
		}
	})
	if seen == 0 {
		bad = append(bad, "the program has no exercises")
	}
	return append(bad, wrong...)
}

type textLacks string

func (m textLacks) broken(v *view) []string {
	switch {
	case m == "" || v.text == "":
		return []string{"asks nothing"}
	case containsFold(v.text, string(m)):
		return []string{fmt.Sprintf("the printed program has %q", m)}
	}
	return nil
}

// textHas is what the printed program says somewhere.
type textHas string

func (m textHas) broken(v *view) []string {
	switch {
	case m == "" || v.text == "":
		return []string{"asks nothing"}
	case !containsFold(v.text, string(m)):
		return []string{fmt.Sprintf("the printed program has %q nowhere", m)}
	}
	return nil
}
