package app

import (
	"fmt"

	"github.com/phasewright/phasewright/engine/plan"
)

// Properties of weeks: how many, which sessions, how much of what.

type weekCount int

func (n weekCount) broken(v *view) []string {
	if got := v.program.WeekCount(); got != int(n) {
		return []string{fmt.Sprintf("%d weeks, wanted %d", got, n)}
	}
	return nil
}

type sessionsPerWeek struct {
	Weeks    weekList `json:"weeks"`
	Sessions *span    `json:"sessions"`
}

func (m *sessionsPerWeek) broken(v *view) []string {
	if m.Sessions == nil {
		return []string{"asks nothing"}
	}
	var wrong []string
	bad := v.over(&m.Weeks, func(w *plan.Week) {
		if !m.Sessions.count(len(w.Sessions)) {
			wrong = append(wrong, fmt.Sprintf("week %d has %d sessions, wanted %s", w.Number, len(w.Sessions), m.Sessions))
		}
	})
	return append(bad, wrong...)
}

type phaseList []string

func (m phaseList) broken(v *view) []string {
	var got phaseList
	for i := range v.program.Phases {
		if ph := &v.program.Phases[i]; len(ph.Weeks) > 0 {
			got = append(got, fmt.Sprintf("%s %d-%d", ph.Name, ph.Weeks[0].Number, ph.Weeks[len(ph.Weeks)-1].Number))
		}
	}
	return same(m, got)
}

// rotation lists the groups of each week's sessions, in order.
type rotation []string

func (m rotation) broken(v *view) []string {
	var got rotation
	bad := v.over(&weekList{}, func(w *plan.Week) {
		groups := ""
		for i := range w.Sessions {
			g := w.Sessions[i].Group
			if g == "" {
				g = "-"
			}
			groups += g
		}
		got = append(got, groups)
	})
	return append(bad, same(m, got)...)
}

func same[T ~[]string](want, got T) []string {
	if fmt.Sprintf("%q", want) != fmt.Sprintf("%q", got) {
		return []string{fmt.Sprintf("is %q, wanted %q", got, want)}
	}
	return nil
}

// sameWeeksAs compares everything an athlete does in some weeks of two programs.
type sameWeeksAs struct {
	Scenario string   `json:"scenario"`
	Weeks    weekList `json:"weeks"`
}

func (m *sameWeeksAs) broken(v *view) []string {
	other, err := v.sibling(m.Scenario)
	if err != nil {
		return []string{fmt.Sprintf("scenario %q: %v", m.Scenario, err)}
	}
	digests := func(p *plan.Program) (map[int32]string, []string) {
		list := map[int32]string{}
		bad := (&view{program: p}).over(&m.Weeks, func(w *plan.Week) {
			d, err := plan.DigestOf(w.Sessions)
			if err != nil {
				d = err.Error()
			}
			list[w.Number] = d
		})
		return list, bad
	}
	ours, bad := digests(v.program)
	theirs, missing := digests(other)
	bad = append(bad, missing...)
	for n := int32(1); int(n) <= v.program.WeekCount(); n++ {
		if ours[n] != theirs[n] {
			bad = append(bad, fmt.Sprintf("week %d differs from that of %s", n, m.Scenario))
		}
	}
	return bad
}

// liftSets counts a week's working sets of an exercise and the sessions that have it.
type liftSets struct {
	Exercise string   `json:"exercise"`
	Weeks    weekList `json:"weeks"`
	Sets     *span    `json:"sets"`
	Sessions *span    `json:"sessions"`
}

func (m *liftSets) broken(v *view) []string {
	bad := v.exercises([]string{m.Exercise})
	if m.Sets == nil && m.Sessions == nil {
		bad = append(bad, "asks nothing")
	}
	var wrong []string
	missing := v.over(&m.Weeks, func(w *plan.Week) {
		sets, sessions := 0, 0
		for i := range w.Sessions {
			for j := range w.Sessions[i].Exercises {
				if e := &w.Sessions[i].Exercises[j]; e.ExerciseID == m.Exercise {
					sets += len(work(e))
					sessions++
				}
			}
		}
		if m.Sets != nil && !m.Sets.count(sets) {
			wrong = append(wrong, fmt.Sprintf("week %d has %d sets of %s, wanted %s", w.Number, sets, m.Exercise, m.Sets))
		}
		if m.Sessions != nil && !m.Sessions.count(sessions) {
			wrong = append(wrong, fmt.Sprintf("week %d has %s in %d sessions, wanted %s", w.Number, m.Exercise, sessions, m.Sessions))
		}
	})
	return append(append(bad, missing...), wrong...)
}

// weeklySets counts sets for muscles: direct 1, indirect 0.5; direct alone on request.
type weeklySets struct {
	Muscles []string `json:"muscles"`
	Weeks   weekList `json:"weeks"`
	Sets    *span    `json:"sets"`
	Direct  *span    `json:"direct"`
}

func (m *weeklySets) broken(v *view) []string {
	list, bad := muscles(m.Muscles)
	if len(list) == 0 || m.Sets == nil && m.Direct == nil {
		bad = append(bad, "asks nothing")
	}
	var wrong []string
	missing := v.trained(&m.Weeks, func(w *plan.Week) {
		for _, x := range list {
			total, direct, _ := v.muscleSets(w, x)
			if m.Sets != nil && !m.Sets.has(int64(total)*500) {
				wrong = append(wrong, fmt.Sprintf("week %d has %s sets for %s, wanted %s", w.Number, total, x, m.Sets))
			}
			if m.Direct != nil && !m.Direct.has(int64(direct)*500) {
				wrong = append(wrong, fmt.Sprintf("week %d has %s direct sets for %s, wanted %s", w.Number, direct, x, m.Direct))
			}
		}
	})
	return append(append(bad, missing...), wrong...)
}

// muscleDays counts the sessions of a week with a direct set for a muscle.
type muscleDays struct {
	Muscles []string `json:"muscles"`
	Weeks   weekList `json:"weeks"`
	Days    *span    `json:"days"`
}

func (m *muscleDays) broken(v *view) []string {
	list, bad := muscles(m.Muscles)
	if len(list) == 0 || m.Days == nil {
		return append(bad, "asks nothing")
	}
	var wrong []string
	missing := v.trained(&m.Weeks, func(w *plan.Week) {
		for _, x := range list {
			if _, _, days := v.muscleSets(w, x); !m.Days.count(days) {
				wrong = append(wrong, fmt.Sprintf("week %d trains %s in %d sessions, wanted %s", w.Number, x, days, m.Days))
			}
		}
	})
	return append(append(bad, missing...), wrong...)
}

// lighterWeek wants, among some weeks, one with a share of the working sets of the
// training week before it.
type lighterWeek struct {
	Weeks   weekList `json:"weeks"`
	Percent *span    `json:"percent"`
}

func (m *lighterWeek) broken(v *view) []string {
	if m.Percent == nil {
		return []string{"asks nothing"}
	}
	before, found := 0, false
	var got string
	bad := v.over(&weekList{}, func(w *plan.Week) {
		n := workIn(w)
		if m.Weeks.has(w.Number) && before > 0 {
			found = found || m.Percent.has(int64(n)*100_000/int64(before))
			got += fmt.Sprintf(" %d of %d in week %d,", n, before, w.Number)
		}
		if w.Kind == plan.WeekTraining {
			before = n
		}
	})
	bad = append(bad, v.over(&m.Weeks, func(*plan.Week) {})...)
	if !found {
		bad = append(bad, fmt.Sprintf("%s have no week of %s %% of the sets before it:%s", &m.Weeks, m.Percent, got))
	}
	return bad
}

// balance compares sets by pattern, summed over the weeks.
type balance struct {
	Of     string   `json:"of"`
	Weeks  weekList `json:"weeks"`
	Ratio  *span    `json:"ratio"`
	OrSaid bool     `json:"or_said"`
}

func (m *balance) broken(v *view) []string {
	var left, right func(plan.Pattern) bool
	switch m.Of {
	case "push-pull":
		left, right = plan.Pattern.Push, plan.Pattern.Pull
	case "knee-hip":
		left, right = plan.Pattern.KneeDominant, plan.Pattern.HipDominant
	default:
		return []string{fmt.Sprintf("of is push-pull or knee-hip, not %q", m.Of)}
	}
	if m.Ratio == nil {
		return []string{"asks nothing"}
	}
	var a, b int64
	bad := v.lifts(&m.Weeks, func(l *lift) {
		n := int64(len(work(l.ProgramExercise)))
		if left(l.x.Pattern) {
			a += n
		}
		if right(l.x.Pattern) {
			b += n
		}
	})
	if b > 0 && m.Ratio.has(a*1000/b) {
		return bad
	}
	if m.OrSaid && a+b > 0 {
		for i := range v.program.Findings {
			if v.program.Findings[i].Rule == plan.RuleID("audit.balance-"+m.Of) {
				return bad
			}
		}
	}
	return append(bad, fmt.Sprintf("%d to %d sets in %s, wanted a ratio of %s", a, b, &m.Weeks, m.Ratio))
}
