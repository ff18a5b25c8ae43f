package export

import (
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
	case plan.LoadingStack:
		return "on the stack: "
	case plan.LoadingDumbbell, plan.LoadingDumbbellPair:
		return "each end: "
	}
	return "a side: "
}

// sum prints the pieces that are put on.
func sum(s *plan.Set, loading plan.Loading) string {
	list := s.Plates
	if loading == plan.LoadingStack {
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
	if s.Base.Set && loading != plan.LoadingStack {
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
