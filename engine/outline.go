package engine

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// What an outline may hold. Wide enough for everything published in protocols;
// whether a number is wise for an athlete is for the stages after it.
const (
	outlineMaxWeeks      = 52
	outlineMaxSessions   = 7
	outlineMaxSets       = 10
	outlineMaxReps       = 50
	outlineMaxHold       = 300 // seconds
	outlineMaxRest       = 600 // seconds
	outlineMaxRIR        = 6
	outlineMinIntensity  = 200
	outlineMaxIntensity  = 1100
	outlineMaxDose       = 1500
	outlineMaxSchemes    = 12
	outlineMaxTempo      = 30  // seconds
	outlineMaxGrowth     = 100 // permille a week
	outlineMaxAdjust     = 20
	outlineMaxAdjustReps = 100
	outlineMaxChange     = 200_000 // thousandths of a kg or lb
	outlineMaxName       = 64
	outlineMaxSentence   = 600
	outlineMaxFaults     = 50 // one broken week is often fifty

	// Doubles and triples are for goal lifts and other multi-joint lifts, not for
	// curls and planks (common practice, no source).
	outlineMinRepsSmall = 4
)

// CheckOutlineRequest refuses requests that no outline can answer, and lengths
// outside a strategy's bounds, as Instance.Outline has to.
func CheckOutlineRequest(r plan.OutlineRequest, minWeeks, maxWeeks int32) error {
	c := fault.NewCollector(fault.Invalid)
	lo, hi := max(minWeeks, 1), min(maxWeeks, outlineMaxWeeks)
	if r.Weeks < lo || r.Weeks > hi {
		c.Add("WEEKS_OUT_OF_BOUNDS", "weeks", fmt.Sprintf("are %d; %d to %d are possible here", r.Weeks, lo, hi))
	}
	if len(r.Sessions) != int(r.Weeks) {
		c.Add("SESSIONS_PER_WEEK", "sessions", fmt.Sprintf("are given for %d weeks; one number for each of the %d weeks is needed", len(r.Sessions), r.Weeks))
	}
	for i, n := range r.Sessions {
		if n < 0 || n > outlineMaxSessions {
			c.Add("SESSIONS_PER_WEEK", fmt.Sprintf("sessions[%d]", i), fmt.Sprintf("is %d; 0 to %d are possible", n, outlineMaxSessions))
			break
		}
	}
	if r.Status == plan.StatusUnspecified || r.Status > plan.Advanced {
		c.Add("STATUS_MISSING", "status", "is missing; novice, intermediate or advanced is needed")
	}
	return c.Err()
}

// CheckOutline checks what a strategy returned for a request. The fault is of kind
// Internal, as a wrong outline is the strategy's bug and not the caller's, and names
// paths of the plug-in's schema, such as
// outline.phases[0].weeks[2].sessions[1].targets[0].schemes[0].reps.
// A nil error means that the stages after may rely on everything checked here.
func CheckOutline(o *plan.Outline, r plan.OutlineRequest) error {
	if err := CheckOutlineRequest(r, 1, outlineMaxWeeks); err != nil {
		return err
	}
	k := outlineCheck{c: fault.NewCollector(fault.Internal), phase: -1, week: -1, session: -1, target: -1, scheme: -1}
	k.name("strategy", o.Strategy, 4*outlineMaxName, true)
	if n := o.WeekCount(); n != int(r.Weeks) {
		k.bad("phases", "OUTLINE_WEEKS", "hold %d weeks; %d were asked for", n, r.Weeks)
	}
	week := 0
	for i := range o.Phases {
		k.phase = i
		p := &o.Phases[i]
		k.name("name", p.Name, outlineMaxName, true)
		k.name("aim", p.Aim, outlineMaxSentence, true)
		if len(p.Weeks) == 0 {
			k.bad("weeks", "OUTLINE_EMPTY", "are none; a phase has at least one")
		}
		for j := range p.Weeks {
			k.week = j
			available := int32(0)
			if week < len(r.Sessions) {
				available = r.Sessions[week]
			}
			k.checkWeek(&p.Weeks[j], available)
			week++
		}
		k.week = -1
	}
	return k.c.Err()
}

// outlineCheck knows where it is, so that a path is only spelled out for a fault.
type outlineCheck struct {
	c                                    *fault.Collector
	phase, week, session, target, scheme int
}

func (k *outlineCheck) bad(field, reason, format string, args ...any) {
	if k.c.Len() >= outlineMaxFaults {
		return
	}
	var b strings.Builder
	b.WriteString("outline")
	for _, part := range [...]struct {
		name string
		i    int
	}{{"phases", k.phase}, {"weeks", k.week}, {"sessions", k.session}, {"targets", k.target}, {"schemes", k.scheme}} {
		if part.i >= 0 {
			fmt.Fprintf(&b, ".%s[%d]", part.name, part.i)
		}
	}
	if field != "" {
		b.WriteString("." + field)
	}
	k.c.Add(reason, b.String(), fmt.Sprintf(format, args...))
}

func (k *outlineCheck) name(field, s string, longest int, needed bool) {
	switch {
	case s == "" && needed:
		k.bad(field, "OUTLINE_NAME", "is empty")
	case utf8.RuneCountInString(s) > longest:
		k.bad(field, "OUTLINE_NAME", "is longer than %d letters", longest)
	case !utf8.ValidString(s) || strings.ContainsFunc(s, func(c rune) bool { return !unicode.IsPrint(c) }):
		k.bad(field, "OUTLINE_NAME", "holds letters that can't be printed")
	}
}

func (k *outlineCheck) between(field string, v, lo, hi int32) bool {
	if v < lo || v > hi {
		k.bad(field, "OUTLINE_BOUNDS", "is %d; %d to %d is possible", v, lo, hi)
		return false
	}
	return true
}

// percent is said as the schema has it; the domain counts permille.
func (k *outlineCheck) percent(field string, v, lo, hi plan.Permille) {
	if v < lo || v > hi {
		k.bad(field, "OUTLINE_BOUNDS", "is %s; %s to %s is possible", milliText(int64(v)*100), milliText(int64(lo)*100), milliText(int64(hi)*100))
	}
}

func (k *outlineCheck) span(field string, r plan.Range, lo, hi int32) {
	if r.Min > r.Max || r.Min < lo || r.Max > hi {
		k.bad(field, "OUTLINE_BOUNDS", "is %d to %d; a rising range within %d to %d is possible", r.Min, r.Max, lo, hi)
	}
}

func (k *outlineCheck) checkWeek(w *plan.OutlineWeek, available int32) {
	if w.Kind == plan.WeekUnspecified || w.Kind > plan.WeekTaper {
		k.bad("kind", "OUTLINE_KIND", "is missing or unknown")
	}
	k.percent("dose_percent", w.Dose, 0, outlineMaxDose)
	if len(w.Sessions) > int(available) {
		k.bad("sessions", "OUTLINE_SESSIONS", "are %d; only %d are available that week", len(w.Sessions), available)
	}
	if len(w.Sessions) == 0 && available > 0 && w.Kind == plan.WeekTraining {
		k.bad("sessions", "OUTLINE_SESSIONS", "are none in a training week with %d available", available)
	}
	for i := range w.Sessions {
		k.session = i
		k.checkSession(&w.Sessions[i])
	}
	k.session = -1
}

func (k *outlineCheck) checkSession(s *plan.OutlineSession) {
	if s.Kind == plan.SessionUnspecified || s.Kind > plan.SessionAttempt {
		k.bad("kind", "OUTLINE_KIND", "is missing or unknown")
	}
	k.name("label", s.Label, outlineMaxName, false)
	k.name("group", s.Group, outlineMaxName, false)
	if len(s.Targets) == 0 {
		k.bad("targets", "OUTLINE_EMPTY", "are none")
	}
	var general [plan.RoleCount]bool
	for i := range s.Targets {
		k.target = i
		t := &s.Targets[i]
		switch {
		case t.Role == plan.RoleUnspecified || t.Role >= plan.RoleCount:
			k.bad("role", "OUTLINE_ROLE", "is missing or unknown")
			continue
		case t.Track == "" && general[t.Role]:
			k.bad("role", "OUTLINE_ROLE", "%s is there twice", t.Role)
		case t.Track == "":
			general[t.Role] = true
		}
		for j := range i {
			if t.Track != "" && s.Targets[j].Track == t.Track && s.Targets[j].Role == t.Role {
				k.bad("role", "OUTLINE_ROLE", "%s of track %s is there twice", t.Role, t.Track)
			}
		}
		k.name("track", t.Track, outlineMaxName, false)
		if len(t.Schemes) == 0 || len(t.Schemes) > outlineMaxSchemes {
			k.bad("schemes", "OUTLINE_EMPTY", "are %d; 1 to %d are possible", len(t.Schemes), outlineMaxSchemes)
		}
		for j := range t.Schemes {
			k.scheme = j
			k.checkScheme(&t.Schemes[j], t.Role)
		}
		k.scheme = -1
	}
	k.target = -1
	if s.Kind != plan.SessionTraining {
		return
	}
	// Which roles a day holds is decided later, so training has to answer for each.
	for role := plan.GoalLift; role < plan.RoleCount; role++ {
		if !general[role] {
			k.bad("targets", "OUTLINE_ROLE", "give nothing for the role %s", role)
		}
	}
}

func (k *outlineCheck) checkScheme(s *plan.Scheme, role plan.Role) {
	if s.Kind == plan.SetUnspecified || s.Kind > plan.SetAttempt {
		k.bad("kind", "OUTLINE_KIND", "is missing or unknown")
	}
	k.span("sets", plan.Range{Min: s.Sets.Min, Max: s.Sets.Max}, 1, outlineMaxSets)
	if s.Sets.Fixed && s.Sets.Min != s.Sets.Max {
		k.bad("sets", "OUTLINE_BOUNDS", "are fixed, yet run from %d to %d", s.Sets.Min, s.Sets.Max)
	}
	k.checkReps(s, role)
	k.checkEffort(s, role)
	k.between("rest_seconds", int32(s.Rest), 0, outlineMaxRest)
	for _, v := range [...]int32{s.Tempo.Down, s.Tempo.Hold, s.Tempo.Up} {
		if !k.between("tempo", v, 0, outlineMaxTempo) {
			break
		}
	}
	k.checkProgress(s)
}

func (k *outlineCheck) checkReps(s *plan.Scheme, role plan.Role) {
	// Trunk and bodyweight work may be counted or timed: the exercise decides.
	timed := role == plan.Trunk || role == plan.Unloadable
	if !s.Reps.IsZero() {
		k.span("reps", s.Reps, 1, outlineMaxReps)
	} else if !timed || s.Hold.IsZero() {
		k.bad("reps", "OUTLINE_EMPTY", "are missing for the role %s", role)
	}
	if !s.Hold.IsZero() {
		k.span("hold_seconds", s.Hold, 1, outlineMaxHold)
	}
	if (role == plan.SingleJoint || role == plan.Trunk) && !s.Reps.IsZero() && s.Reps.Min < outlineMinRepsSmall {
		k.bad("reps", "OUTLINE_ROLE", "begin at %d; the role %s takes %d or more", s.Reps.Min, role, outlineMinRepsSmall)
	}
	if s.OpenEnded && s.Reps.IsZero() {
		k.bad("open_ended", "OUTLINE_EFFORT", "needs repetitions to start from")
	}
}

func (k *outlineCheck) checkEffort(s *plan.Scheme, role plan.Role) {
	e := &s.Effort
	if !e.RIR.Set && !e.ToFailure && !e.Intensity.Set {
		k.bad("effort", "OUTLINE_EFFORT", "is missing; RIR, failure or an intensity is needed")
	}
	if e.RIR.Set {
		k.between("effort.rir", e.RIR.Value, 0, outlineMaxRIR)
		if e.ToFailure && e.RIR.Value != 0 {
			k.bad("effort.rir", "OUTLINE_EFFORT", "is %d in a set to failure", e.RIR.Value)
		}
	}
	if e.Intensity.Set {
		k.percent("effort.intensity_percent", e.Intensity.Value, outlineMinIntensity, outlineMaxIntensity)
	}
	if wanted := e.Wanted(); role == plan.Explosive && (s.OpenEnded || wanted.Set && wanted.Value == 0) {
		k.bad("effort", "OUTLINE_ROLE", "goes to failure; explosive work ends before it slows down")
	}
	ref := e.Reference
	switch {
	case ref.Kind > plan.RefCalibration:
		k.bad("effort.reference.kind", "OUTLINE_KIND", "is unknown")
	case ref.Kind == plan.RefRM:
		k.between("effort.reference.rm", ref.RM, 1, outlineMaxReps)
	case ref.RM != 0:
		k.bad("effort.reference.rm", "OUTLINE_REFERENCE", "is set, yet the reference is no repetition maximum")
	}
	if named := ref.Kind == plan.RefEstimate; named || ref.Name != "" {
		if named {
			k.name("effort.reference.name", ref.Name, outlineMaxName, true)
		} else {
			k.bad("effort.reference.name", "OUTLINE_REFERENCE", "is set, yet the reference is no named estimate")
		}
	}
	if ref.Kind == plan.RefSetBefore && k.scheme == 0 && s.Sets.Max < 2 {
		k.bad("effort.reference.kind", "OUTLINE_REFERENCE", "is the set before, yet this is the first")
	}
}

func (k *outlineCheck) checkProgress(s *plan.Scheme) {
	if s.Progress.Kind > plan.ProgressHold {
		k.bad("progression.kind", "OUTLINE_KIND", "is unknown")
	}
	if s.Progress.Kind == plan.ProgressPercent {
		k.percent("progression.percent_per_week", s.Progress.By, 1, outlineMaxGrowth)
	}
	if s.Progress.Kind == plan.ProgressAdjustTable && len(s.Adjust) == 0 {
		k.bad("adjust", "OUTLINE_EMPTY", "is missing; the progression follows it")
	}
	if len(s.Adjust) > outlineMaxAdjust {
		k.bad("adjust", "OUTLINE_BOUNDS", "are %d steps; at most %d are possible", len(s.Adjust), outlineMaxAdjust)
		return
	}
	next := int32(0)
	for i, a := range s.Adjust {
		if a.Reps.Max > outlineMaxAdjustReps || a.From < -outlineMaxChange || a.To > outlineMaxChange {
			k.bad("adjust", "OUTLINE_BOUNDS", "step %d goes beyond %d repetitions or %s kg or lb either way", i, outlineMaxAdjustReps, milliText(outlineMaxChange))
			break
		}
		if a.Reps.Min < next || a.Reps.Max < a.Reps.Min {
			k.bad("adjust", "OUTLINE_BOUNDS", "step %d is for %d to %d repetitions; steps rise and don't overlap", i, a.Reps.Min, a.Reps.Max)
			break
		}
		next = a.Reps.Max + 1
		if a.From > a.To || a.Unit != plan.Kilogram && a.Unit != plan.Pound {
			k.bad("adjust", "OUTLINE_BOUNDS", "step %d needs a rising change of load in kg or lb", i)
			break
		}
	}
}
