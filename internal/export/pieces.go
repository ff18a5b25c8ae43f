package export

import (
	"slices"
	"strings"

	"github.com/phasewright/phasewright/engine/plan"
)

// pieces says what the working loads are made of: "a side: 20 + 5; 20 + 10, collars 5 kg".
// Plates print as they are marked, with their unit where it isn't that of the load.
func (t *text) pieces(e *plan.ProgramExercise) string {
	loading := plan.LoadingBar
	if x := t.exercise(e.ExerciseID); x != nil {
		loading = x.Loading
	}
	var made, under []string
	for i := range e.Sets {
		s := &e.Sets[i]
		if s.Kind == plan.SetWarmup || len(s.Plates)+len(s.AddOns) == 0 && !s.Base.Set {
			continue
		}
		made = append(made, sum(s, loading))
		under = append(under, base(s, loading))
	}
	if len(made) == 0 {
		return ""
	}
	same := true
	for _, u := range under {
		same = same && u == under[0]
	}
	var out []string
	for i, m := range made {
		if u := under[i]; !same && u != "" {
			m += " (" + u + ")"
		}
		out = distinct(out, m)
	}
	text := place(loading) + strings.Join(out, "; ")
	if same && under[0] != "" {
		text += ", " + under[0]
	}
	return text
}

func place(l plan.Loading) string {
	switch l {
	case plan.LoadingAdded:
		return "hang: "
	case plan.LoadingStack, plan.LoadingAssisted:
		return "on the stack: "
	case plan.LoadingDumbbell, plan.LoadingDumbbellPair:
		return "each end: "
	}
	return "a side: "
}

// sum prints the pieces that are put on.
func sum(s *plan.Set, loading plan.Loading) string {
	list := s.Plates
	if loading == plan.LoadingStack || loading == plan.LoadingAssisted {
		list = append([]plan.Load{s.Base.Value}, s.AddOns...)
	}
	if len(list) == 0 {
		return "nothing"
	}
	units := map[plan.MassUnit]bool{} // only counted and looked up
	for _, l := range list {
		units[l.Unit] = true
	}
	var out []string
	for _, l := range list {
		if len(units) > 1 {
			out = append(out, l.String())
		} else {
			out = append(out, l.Short())
		}
	}
	text := strings.Join(out, " + ")
	if len(units) == 1 && list[0].Unit != s.Load.Value.Unit {
		text += " " + list[0].Unit.String()
	}
	return text
}

// base prints what the pieces are put on, and the collars.
func base(s *plan.Set, loading plan.Loading) string {
	var out []string
	if s.Base.Set && loading != plan.LoadingStack && loading != plan.LoadingAssisted {
		what := "bar "
		if loading != plan.LoadingBar {
			what = "handle "
		}
		out = append(out, what+s.Base.Value.String())
	}
	if s.Collars.Set {
		out = append(out, "collars "+s.Collars.Value.String())
	}
	return strings.Join(out, ", ")
}

// foreign reports a load that doesn't show what it is made of: pieces marked in another
// unit, or weights on top of a stack's setting.
func foreign(s *plan.Set) bool {
	for _, l := range s.Plates {
		if l.Unit != s.Load.Value.Unit {
			return true
		}
	}
	return len(s.AddOns) > 0
}

// sums says what the loads of a phase's tables are made of where the number doesn't show
// it: "a side: 106.36 = 45 lb + 20 kg + 5 lb; ...; collars 1 kg", rising.
func (t *text) sums(ph *plan.Phase) []string {
	var out []string
	for _, l := range [...]plan.Loading{plan.LoadingBar, plan.LoadingPlateMachine, plan.LoadingDumbbell, plan.LoadingDumbbellPair, plan.LoadingAdded, plan.LoadingStack, plan.LoadingAssisted} {
		var found []*plan.Set
		for i := range ph.Weeks {
			for k := range ph.Weeks[i].Sessions {
				for _, e := range ph.Weeks[i].Sessions[k].Exercises {
					if x := t.exercise(e.ExerciseID); x == nil || x.Loading != l {
						continue
					}
					for n := range e.Sets {
						if s := &e.Sets[n]; s.Kind != plan.SetWarmup && foreign(s) {
							found = append(found, s)
						}
					}
				}
			}
		}
		slices.SortStableFunc(found, func(a, b *plan.Set) int { return a.Load.Value.Cmp(b.Load.Value) })
		same := !slices.ContainsFunc(found, func(s *plan.Set) bool { return base(s, l) != base(found[0], l) })
		var list []string
		for _, s := range found {
			one := s.Load.Value.Short() + " = " + sum(s, l)
			if u := base(s, l); u != "" && !same {
				one += " (" + u + ")"
			}
			list = distinct(list, one)
		}
		if len(list) == 0 {
			continue
		}
		text := place(l) + strings.Join(list, "; ")
		if u := base(found[0], l); same && u != "" {
			text += "; " + u
		}
		out = distinct(out, text)
	}
	return out
}

func (t *text) warmupPieces(e *plan.ProgramExercise, s *plan.Set) string {
	loading := plan.LoadingBar
	if x := t.exercise(e.ExerciseID); x != nil {
		loading = x.Loading
	}
	return sum(s, loading)
}
