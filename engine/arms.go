package engine

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/phasewright/phasewright/engine/contrast"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// Bounds of a comparison.
const (
	minArms  = 2
	maxArms  = 8
	maxLabel = 64 // letters
)

// Arms makes one program for each of several plans, of the same athlete under the same
// constraints, so that they differ by strategy alone: every arm has the same exercises on
// the same days of every week, chosen jointly so that all of them can. Sets are equated by
// the rule:
//
//   - hard sets: every exercise has on every weekday (or in every workout) the same number
//     of sets over all weeks, so every muscle has too. In weeks that are of one kind in all
//     arms (training, deload, …) it has the same number in that very week, where the
//     strategies' own bounds allow it.
//   - volume load, minutes: the totals over all weeks are within plan.Tolerance, where sets
//     are numbers small enough; each muscle gives up its share.
//   - as they are: each arm has the sets that its strategy asks for on these exercises.
//
// Arms give sets up: the arm with the fewest sets the number. Where another can't go down so
// far, as its strategy asks for more, they go up to that, within what their own strategies
// and the minutes allow. What can't be equated is in the answer with the gap, and is no
// error.
//
// The request's plan holds what all arms share (lead-in, deload, taper, tests); an arm's
// plan its strategies, and of the rest what is the arm's own.
//
// Errors are those of Generate. Paths of an arm's plan begin with "arms[i].plan", those
// about the arms with "arms", others are the request's. Infeasible ARMS_DIFFER where arms
// can't have the same days.
func (e *Engine) Arms(ctx context.Context, r plan.Request, arms []plan.Arm, rule plan.Equating) (plan.Comparison, error) {
	if rule == plan.EquateUnspecified {
		rule = plan.EquateHardSets
	}
	if err := checkArms(&r, arms, rule); err != nil {
		return plan.Comparison{}, err
	}
	j, err := e.join(ctx, r, arms)
	if err != nil {
		return plan.Comparison{}, err
	}
	if err := j.allocate(ctx); err != nil {
		return plan.Comparison{}, err
	}
	if err := j.equate(ctx, rule); err != nil {
		return plan.Comparison{}, err
	}
	reports := make([]plan.ArmReport, len(j.arms))
	for i := range j.arms {
		made, err := j.complete(ctx, i, rule)
		if err != nil {
			return plan.Comparison{}, armFault(err, i, &r.Plan)
		}
		reports[i] = contrast.Of(j.arms[i].label, &made, j.arms[i].g.brief.Catalogue)
	}
	return contrast.Compare(rule, reports), nil
}

// checkArms refuses what is wrong with the arms before any of them is made.
func checkArms(r *plan.Request, arms []plan.Arm, rule plan.Equating) error {
	bad := fault.NewCollector(fault.Invalid)
	if len(arms) < minArms || len(arms) > maxArms {
		bad.Add("OUT_OF_RANGE", "arms", fmt.Sprintf("there are %d; %d to %d can be compared", len(arms), minArms, maxArms))
		return bad.Err()
	}
	if rule >= plan.EquatingCount {
		bad.Add("UNKNOWN_RULE", "equating", "is not a known rule; equal hard sets, equal volume load, equal minutes and as they are there are")
	}
	if len(r.Plan.Tracks) > 0 {
		bad.Add("ONE_OF", "plan.tracks", "name strategies, which stand in the arms; the request's plan holds what all arms share, such as lead-in and deload")
	}
	labels := map[string]int{}
	for i := range arms {
		path := fmt.Sprintf("arms[%d]", i)
		label := arms[i].Label
		switch other, taken := labels[strings.ToLower(label)]; {
		case strings.TrimSpace(label) == "":
			bad.Add("REQUIRED", path+".label", "is needed: a name by which to tell the arm from the others")
		case utf8.RuneCountInString(label) > maxLabel:
			bad.Add("OUT_OF_RANGE", path+".label", fmt.Sprintf("is longer than %d letters", maxLabel))
		case !utf8.ValidString(label) || strings.ContainsFunc(label, func(c rune) bool { return !unicode.IsPrint(c) }):
			bad.Add("MALFORMED", path+".label", "holds letters that can't be printed")
		case taken:
			bad.Add("DUPLICATE", path+".label", fmt.Sprintf("%q is the label of arms[%d] already; labels must differ in more than capitals", label, other))
		default:
			labels[strings.ToLower(label)] = i
		}
		if len(arms[i].Plan.Tracks) == 0 {
			bad.Add("REQUIRED", path+".plan", "names no strategy; give tracks with segments")
		}
		for _, w := range both(&r.Plan, &arms[i].Plan) {
			bad.Add("ONE_OF", path+".plan."+w, "stands in the request's plan too; give it there for all arms, or in each arm")
		}
	}
	return bad.Err()
}

// wrapping lists what a plan holds beside strategies, and whether it is set.
func wrapping(p *plan.Plan) []struct {
	name string
	set  bool
} {
	return []struct {
		name string
		set  bool
	}{
		{"lead_in", p.LeadIn.Set}, {"deload", p.Deload.Set}, {"taper", p.Taper.Set}, {"entry_conditions", len(p.Entry) > 0},
		{"recovery", p.Recovery.Set}, {"retest", p.Retest.Set}, {"sessions_per_week", p.SessionsPerWeek.Set},
	}
}

// both names what stands in both plans.
func both(shared, own *plan.Plan) []string {
	var out []string
	mine := wrapping(own)
	for i, w := range wrapping(shared) {
		if w.set && mine[i].set {
			out = append(out, w.name)
		}
	}
	return out
}

// wrapped puts what all arms share around an arm's own plan.
func wrapped(shared, own *plan.Plan) plan.Plan {
	out := *own
	either(&out.LeadIn, shared.LeadIn)
	either(&out.Deload, shared.Deload)
	either(&out.Taper, shared.Taper)
	either(&out.Recovery, shared.Recovery)
	either(&out.Retest, shared.Retest)
	either(&out.SessionsPerWeek, shared.SessionsPerWeek)
	if len(out.Entry) == 0 {
		out.Entry = shared.Entry
	}
	out.NoAttempts = out.NoAttempts || shared.NoAttempts
	out.Shorten = out.Shorten || shared.Shorten
	return out
}

func either[T any](own *plan.Opt[T], shared plan.Opt[T]) {
	if !own.Set {
		*own = shared
	}
}

// armFault puts the paths of an arm's plan under the arm; what all arms share, and the
// rest of the request, keep theirs.
func armFault(err error, arm int, shared *plan.Plan) error {
	f, ok := fault.As(err)
	if !ok {
		return err
	}
	out := *f
	out.Violations = slices.Clone(f.Violations)
	for i := range out.Violations {
		v := &out.Violations[i]
		if v.Field != "plan" && !strings.HasPrefix(v.Field, "plan.") || isShared(v.Field, shared) {
			continue
		}
		v.Field = fmt.Sprintf("arms[%d].%s", arm, v.Field)
	}
	return &out
}

func isShared(field string, shared *plan.Plan) bool {
	for _, w := range wrapping(shared) {
		rest, is := strings.CutPrefix(field, "plan."+w.name)
		if w.set && is && (rest == "" || rest[0] == '.' || rest[0] == '[') {
			return true
		}
	}
	return false
}

// join lays every arm out and sees that they have the same days. What is wrong with the
// request, or with several arms, is told at once.
func (e *Engine) join(ctx context.Context, r plan.Request, arms []plan.Arm) (*joint, error) {
	j := &joint{engine: e.searching(r.Search)}
	bad := fault.NewCollector(fault.Invalid)
	told := map[fault.Violation]bool{}
	for i := range arms {
		a := &arm{label: arms[i].Label, request: r}
		a.request.Plan = wrapped(&r.Plan, &arms[i].Plan)
		var err error
		if a.digest, err = plan.DigestOf(a.request); err != nil {
			return nil, fault.Wrap(fault.Internal, "ENCODING", err)
		}
		a.g, err = e.prepare(ctx, a.request, plan.Opt[plan.Date]{})
		if f, ok := fault.As(armFault(err, i, &r.Plan)); ok && f.Kind == fault.Invalid {
			for _, v := range f.Violations {
				if !told[v] {
					told[v] = true
					bad.Add(v.Reason, v.Field, v.Says)
				}
			}
			continue
		}
		if err != nil {
			return nil, armFault(err, i, &r.Plan)
		}
		if err := a.g.strengths.entry(); err != nil {
			return nil, armFault(err, i, &r.Plan)
		}
		a.lay()
		j.arms = append(j.arms, a)
	}
	if err := bad.Err(); err != nil {
		return nil, err
	}
	return j, j.aligned()
}

// aligned refuses arms that can't have the same exercises on the same days.
func (j *joint) aligned() error {
	first := j.arms[0]
	bad := fault.NewCollector(fault.Infeasible)
	for i, a := range j.arms[1:] {
		path, than := fmt.Sprintf("arms[%d].plan", i+1), "; arms[0] has "
		switch says := a.unlike(first); {
		case a.g.brief.Weeks != first.g.brief.Weeks:
			bad.Add("ARMS_DIFFER", path, fmt.Sprintf("lasts %s where arms[0] lasts %d; arms of one length can be compared", counted(int(a.g.brief.Weeks), "week"), first.g.brief.Weeks))
		case says[0] != "":
			bad.Add("ARMS_DIFFER", path, says[0]+than+says[1]+": without the same days they can't have the same exercises on them")
		}
	}
	return bad.Err()
}

// unlike says what an arm's days have that the other's have not, and what those have.
func (a *arm) unlike(o *arm) [2]string {
	if len(a.g.weeks) != len(o.g.weeks) {
		return [2]string{}
	}
	for w := range a.g.weeks {
		x, y := a.g.weeks[w].Sessions, o.g.weeks[w].Sessions
		if len(x) != len(y) || len(a.g.slots[w]) != len(o.g.slots[w]) {
			return [2]string{fmt.Sprintf("has %s in week %d", counted(len(x), "session"), w+1), fmt.Sprint(len(y))}
		}
		for i := range x {
			if x[i].Group != y[i].Group {
				return [2]string{fmt.Sprintf("has %s as session %d of week %d", workout(x[i].Group), i+1, w+1), workout(y[i].Group)}
			}
		}
	}
	if days, theirs := a.testDays(), o.testDays(); days != theirs {
		return [2]string{"has tests " + days, theirs}
	}
	return [2]string{}
}

func workout(group string) string {
	if group == "" {
		return "a session of its own"
	}
	return "workout " + group
}

func (a *arm) testDays() string {
	var out []string
	for i := range a.g.tests {
		t := &a.g.tests[i]
		out = append(out, fmt.Sprintf("on %s of week %d", t.slot.Weekday, t.week+1))
	}
	if len(out) == 0 {
		return "nowhere"
	}
	return strings.Join(out, ", ")
}
