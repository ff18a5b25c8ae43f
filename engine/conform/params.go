package conform

import (
	"reflect"
	"slices"
	"strings"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

func checkDescriptor(p *probe) {
	d := p.d
	if _, err := engine.NewRegistry(p.s); err != nil {
		p.errorf("no registry takes it: %v", err)
	}
	if d.Says == "" || d.Claims == "" {
		p.errorf("has to say what it does (says) and what may be claimed for it (claims)")
	}
	if d.MinWeeks < 1 || d.MaxWeeks < d.MinWeeks || d.MaxWeeks > 52 {
		p.errorf("is for %d to %d weeks; 1 <= min <= max <= 52 is right", d.MinWeeks, d.MaxWeeks)
	}
	if !slices.IsSortedFunc(d.Params, func(a, b plan.ParamSpec) int { return strings.Compare(a.Name, b.Name) }) {
		p.errorf("has its parameters out of order of name")
	}
	for i, s := range d.Params {
		if i > 0 && d.Params[i-1].Name == s.Name {
			p.errorf("has parameter %s twice", s.Name)
		}
		checkSpec(p, s)
	}
	if again := p.s.Describe(); !reflect.DeepEqual(d, again) {
		p.errorf("describes itself in two ways")
	}
}

func checkSpec(p *probe, s plan.ParamSpec) {
	if s.Name == "" || strings.ToLower(s.Name) != s.Name || strings.ContainsAny(s.Name, " -.[]") {
		p.errorf("has a parameter named %q; lower-case words joined by _ are right", s.Name)
	}
	if s.Says == "" {
		p.errorf("parameter %s has no text", s.Name)
	}
	if s.Source == "" {
		p.errorf("parameter %s has no source; %q is one", s.Name, "common practice, no source")
	}
	if want := valueKind(s.Kind); s.Default.Kind != want {
		p.errorf("parameter %s has no default of its kind", s.Name)
	}
	switch s.Kind {
	case plan.ValueNumber, plan.ValueRange, plan.ValueList:
		if s.Min >= s.Max {
			p.errorf("parameter %s has no bounds", s.Name)
		}
		if s.Unit == "" {
			p.errorf("parameter %s has no unit", s.Name)
		}
	case plan.ValueText:
		if len(s.Choices) < 2 {
			p.errorf("parameter %s has no choices", s.Name)
		}
	case plan.ValueSets:
		if _, err := engine.ParseSets(s.Default.Text); err != nil {
			p.errorf("parameter %s has a default that is no list of sets: %v", s.Name, err)
		}
	case plan.ValueBool:
	default:
		p.errorf("parameter %s has no kind", s.Name)
	}
}

// valueKind gives the kind of the values of a parameter.
func valueKind(k plan.ValueKind) plan.ValueKind {
	if k == plan.ValueSets {
		return plan.ValueText
	}
	return k
}

// checkDefaults holds the default in the descriptor against what is really done: for
// an intermediate with general goals always, for others where nothing is said to vary.
func checkDefaults(p *probe) {
	none := p.parse()
	if none == nil {
		return
	}
	var all []plan.Param
	for _, s := range p.d.Params {
		all = append(all, plan.Param{Name: s.Name, Value: s.Default})
	}
	lists := [][]plan.Param{all}
	fixed := []bool{true}
	for i := range all {
		lists = append(lists, all[i:i+1])
		fixed = append(fixed, p.d.Params[i].Varies == "")
		fixed[0] = fixed[0] && fixed[i+1]
	}
	for i, params := range lists {
		in := p.parse(params...)
		if in == nil {
			continue
		}
		for _, n := range [...]int32{4, 8, 12, 18} {
			for _, r := range athletes(p.weeks(n), 3) {
				reference := r.Status == plan.Intermediate && !r.Strength && !r.Size
				if !fixed[i] && !reference {
					continue
				}
				a, okA := p.outline(none, r)
				b, okB := p.outline(in, r)
				if okA && okB && !reflect.DeepEqual(a, b) {
					p.errorf("%s: its default given (%s) is not the same as none given", requestText(r), paramsText(params))
				}
				if p.full() {
					return
				}
			}
		}
	}
}

func checkBounds(p *probe) {
	for _, s := range p.d.Params {
		good, bad := ends(s)
		for _, v := range good {
			p.accepted(plan.Param{Name: s.Name, Value: v})
		}
		for _, v := range bad {
			p.refused([]string{s.Name}, plan.Param{Name: s.Name, Value: v})
		}
	}
}

// ends gives the values at the bounds of a parameter and those just beyond, of
// another kind or upside down.
func ends(s plan.ParamSpec) (good, bad []plan.Value) {
	bad = append(bad, plan.Value{})
	for k := plan.ValueNumber; k <= plan.ValueList; k++ {
		if k != s.Kind {
			bad = append(bad, plan.Value{Kind: k, Milli: s.Min, Lo: int32(s.Min), Hi: int32(s.Min), Text: "x", List: []int32{int32(s.Min)}})
		}
	}
	v := plan.Value{Kind: valueKind(s.Kind)}
	add := func(list *[]plan.Value, change func(*plan.Value)) {
		w := v
		change(&w)
		*list = append(*list, w)
	}
	lo, hi := int32(s.Min), int32(s.Max)
	switch s.Kind {
	case plan.ValueNumber:
		add(&good, func(v *plan.Value) { v.Milli = s.Min })
		add(&good, func(v *plan.Value) { v.Milli = s.Max })
		add(&bad, func(v *plan.Value) { v.Milli = s.Min - 1000 })
		add(&bad, func(v *plan.Value) { v.Milli = s.Max + 1000 })
		if s.Whole {
			add(&bad, func(v *plan.Value) { v.Milli = s.Min + 1 })
		}
	case plan.ValueRange:
		add(&good, func(v *plan.Value) { v.Lo, v.Hi = lo, lo })
		add(&good, func(v *plan.Value) { v.Lo, v.Hi = hi, hi })
		add(&good, func(v *plan.Value) { v.Lo, v.Hi = lo, hi })
		add(&bad, func(v *plan.Value) { v.Lo, v.Hi = lo-1, lo })
		add(&bad, func(v *plan.Value) { v.Lo, v.Hi = hi, hi+1 })
		add(&bad, func(v *plan.Value) { v.Lo, v.Hi = hi, lo })
	case plan.ValueText:
		for _, c := range s.Choices {
			add(&good, func(v *plan.Value) { v.Text = c })
		}
		add(&bad, func(v *plan.Value) { v.Text = "no choice at all" })
	case plan.ValueBool:
		add(&good, func(*plan.Value) {})
		add(&good, func(v *plan.Value) { v.Bool = true })
	case plan.ValueList:
		add(&good, func(v *plan.Value) { v.List = []int32{lo} })
		add(&good, func(v *plan.Value) { v.List = []int32{hi, lo} })
		add(&bad, func(v *plan.Value) { v.List = []int32{lo - 1} })
		add(&bad, func(v *plan.Value) { v.List = []int32{hi + 1} })
		add(&bad, func(*plan.Value) {})
	case plan.ValueSets:
		for _, text := range [...]string{"", "3x8", "8-12", "5x5@80%/3min", "10@70%, 8@75%, 6@80%", "2x8-12@fail", "5x10@90%RM", "4x12@RIR2", "2x5, max@90%/180s", "1x50@20%, 10x1@110%"} {
			add(&good, func(v *plan.Value) { v.Text = text })
		}
		for _, text := range [...]string{"3y8", "11x8", "3x8,", "8@19%", "max"} {
			add(&bad, func(v *plan.Value) { v.Text = text })
		}
	}
	return good, bad
}

// accepted wants a value inside its bounds parsed, or refused for a clash; and then an
// outline, or a refusal that names a parameter.
func (p *probe) accepted(q plan.Param) {
	in, err := p.s.Parse([]plan.Param{q})
	if err != nil {
		f, ok := fault.As(err)
		if !ok || f.Kind != fault.Invalid {
			p.errorf("refuses %s with no fault of kind invalid: %v", paramsText([]plan.Param{q}), err)
			return
		}
		for _, v := range f.Violations {
			if v.Reason != engine.ReasonParametersClash || !p.declared(v.Field) {
				p.errorf("refuses %s, which lies within its bounds: %v", paramsText([]plan.Param{q}), err)
			}
		}
		return
	}
	for _, r := range athletes(p.weeks(8), 3) {
		o, err := in.Outline(p.ctx, r)
		if err == nil {
			if err := engine.CheckOutline(&o, r); err != nil {
				p.errorf("%s with %s: %v", requestText(r), paramsText([]plan.Param{q}), err)
			}
			continue
		}
		f, ok := fault.As(err)
		if !ok || f.Kind != fault.Invalid || !p.declared(f.Violations[0].Field) {
			p.errorf("%s with %s: refused without naming a parameter: %v", requestText(r), paramsText([]plan.Param{q}), err)
		}
	}
}

func (p *probe) declared(field string) bool {
	return slices.ContainsFunc(p.d.Params, func(s plan.ParamSpec) bool { return engine.ParameterField(s.Name) == field })
}

// refused wants a fault of kind invalid that names every one of the parameters and
// says something about it.
func (p *probe) refused(names []string, params ...plan.Param) *fault.Error {
	in, err := p.s.Parse(params)
	if err == nil || in != nil && !reflect.ValueOf(in).IsZero() {
		p.errorf("takes %s", paramsText(params))
		return nil
	}
	f, ok := fault.As(err)
	if !ok || f.Kind != fault.Invalid {
		p.errorf("refuses %s with no fault of kind invalid: %v", paramsText(params), err)
		return nil
	}
	for _, name := range names {
		if !slices.ContainsFunc(f.Violations, func(v fault.Violation) bool {
			return v.Field == engine.ParameterField(name) && v.Reason != "" && v.Says != ""
		}) {
			p.errorf("refuses %s without naming %s: %v", paramsText(params), engine.ParameterField(name), err)
		}
	}
	return f
}

func checkUnknown(p *probe) {
	nonsense := plan.Param{Name: "zzzzzzzz", Value: plan.Value{Kind: plan.ValueBool}}
	p.refused([]string{nonsense.Name}, nonsense)
	p.refused([]string{""}, plan.Param{})
	for _, s := range p.d.Params {
		q := plan.Param{Name: s.Name, Value: s.Default}
		p.refused([]string{s.Name}, q, q)
		slip := plan.Param{Name: s.Name + "x", Value: s.Default}
		f := p.refused([]string{slip.Name}, slip)
		if f != nil && !strings.Contains(strings.ReplaceAll(f.Error(), slip.Name, ""), s.Name) {
			p.errorf("refuses %s without suggesting %s: %v", slip.Name, s.Name, f)
		}
		q.Value.Kind = plan.ValueUnspecified
		p.refused([]string{s.Name, nonsense.Name}, q, nonsense)
	}
}
