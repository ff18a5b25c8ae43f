package report

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/phasewright/phasewright/engine/plan"
)

// Page is the one page that a coach reads, as Markdown.
func (r *Report) Page() string { return writeMarkdown(r.page(nil)) }

// Markdown is the page and then the tables. Plots are referred to as files, by their ids.
func (r *Report) Markdown(plots []plan.Plot) string { return writeMarkdown(r.document(plots)) }

// HTML is the same as one file that needs no other: plots stand in it.
func (r *Report) HTML(plots []plan.Plot) string { return writeHTML(r.Title, r.document(plots)) }

// Ids of the plots that Markdown and HTML know a place for. Those of one outcome end in
// its own id.
const (
	PlotFlow    = "flow"
	PlotEffect  = "effect-"
	PlotChanges = "changes-"
)

func (r *Report) page(plots []plan.Plot) []block {
	out := []block{heading{1, r.Title}, para("Question: " + r.Question)}
	for i := range r.main().Answers {
		out = append(out, strong(r.verdict(r.main(), &r.main().Answers[i])))
	}
	out = append(out, heading{2, "What we know"}, r.know())
	out = append(out, drawn(plots, PlotEffect+r.main().ID)...)
	out = append(out, heading{2, "How sure"}, r.sure(), heading{2, "What we don't know"}, r.unknown())
	return append(out, heading{2, "Harm and cautions"}, append(r.harmed(), r.Cautions...))
}

func drawn(plots []plan.Plot, id string) []block {
	i := slices.IndexFunc(plots, func(p plan.Plot) bool { return p.ID == id })
	if i < 0 {
		return nil
	}
	return []block{figure{plots[i]}}
}

// verdict is the answer in a sentence.
func (r *Report) verdict(o *Result, a *Answer) string {
	with, than := r.Arms[a.Arm].Name, r.Arms[a.Against].Name
	least := o.amount(o.Smallest)
	switch a.Reading {
	case "undecided":
		return fmt.Sprintf("Undecided: between %s and %s, a difference in %s that matters (%s or more) is possible, and so is none.", with, than, o.Name, least)
	case "alike":
		return fmt.Sprintf("Alike: between %s and %s, a difference in %s that matters (%s or more) is unlikely either way.", with, than, o.Name, least)
	case "higher", "lower":
		return fmt.Sprintf("%s ended %s with %s than with %s. Whether by enough to matter (%s) is open.", capital(o.Name), a.Reading, with, than, least)
	case "higher_worth":
		return fmt.Sprintf("%s ended higher with %s than with %s, by at least what matters (%s).", capital(o.Name), with, than, least)
	case "lower_worth":
		return fmt.Sprintf("%s ended lower with %s than with %s, by at least what matters (%s).", capital(o.Name), with, than, least)
	}
	return fmt.Sprintf("No answer: %s and %s can't be compared in %s. %s", with, than, o.Name, r.why(o, a))
}

// why tells why there is no answer.
func (r *Report) why(o *Result, a *Answer) string {
	var empty []string
	for _, arm := range [...]int{a.Against, a.Arm} {
		if o.Arms[arm].End == nil {
			empty = append(empty, r.Arms[arm].Name)
		}
	}
	if len(empty) > 0 {
		return fmt.Sprintf("Nobody of %s was measured at the end.", strings.Join(empty, " and of "))
	}
	for _, x := range o.Refused {
		if x.Part == r.Arms[a.Arm].ID+": primary" {
			return "The reason: " + x.Says + "."
		}
	}
	return "Too little was measured."
}

func (r *Report) know() list {
	out := list{r.everyone()}
	if r.Ended != "" {
		out = append(out, "How the trial ended: "+r.Ended+".")
	}
	o := r.main()
	var changes, sizes []string
	for i, c := range o.Arms {
		if c.Change != nil {
			changes = append(changes, fmt.Sprintf("%s with %s", o.signed(c.Change.Mean), r.Arms[i].Name))
			sizes = append(sizes, strconv.Itoa(c.Change.N))
		}
	}
	if len(changes) > 0 {
		out = append(out, fmt.Sprintf("From start to end %s changed by %s, on average (%s measured both times). How much of this came from training itself can't be told without people who did not train.", o.Name, and(changes), and(sizes)))
	}
	for i := range o.Answers {
		a := &o.Answers[i]
		if a.Primary != nil {
			out = append(out, "Those with the same start compared, it ended "+r.ended(o, a)+".")
		}
	}
	for k := 1; k < len(r.Outcomes); k++ {
		out = append(out, r.beside(&r.Outcomes[k])...)
	}
	return out
}

// ended is the main estimate in words.
func (r *Report) ended(o *Result, a *Answer) string {
	with, than := r.Arms[a.Arm].Name, r.Arms[a.Against].Name
	if o.zero(a.Primary.Value) {
		return fmt.Sprintf("the same with %s as with %s (to %s)", with, than, o.amount(0))
	}
	return fmt.Sprintf("%s with %s than with %s", o.than(a.Primary.Value), with, than)
}

// everyone counts people.
func (r *Report) everyone() string {
	var arms []string
	measured, assigned, units := 0, 0, 0
	for i, f := range r.Flow.Arms {
		arms = append(arms, fmt.Sprintf("%d to %s", f.Assigned, r.Arms[i].Name))
		assigned += f.Assigned
		measured += f.Analysed
		units += f.Units
	}
	s := fmt.Sprintf("%s considered, %d enrolled, and chance sent %s (%s).", people(r.Flow.Assessed), r.Flow.Enrolled, and(arms), r.Scheme)
	if r.UnitOf != "athlete" {
		s += fmt.Sprintf(" Chance chose for %d whole %s, so the trial is as large as these, not as its athletes.", units, plural(r.UnitOf))
	}
	return s + fmt.Sprintf(" %d of %d were measured at the end, and count in the arm that chance gave them, whatever they trained.", measured, assigned)
}

// beside tells of an outcome that was not the question.
func (r *Report) beside(o *Result) []string {
	var out []string
	for i := range o.Answers {
		a := &o.Answers[i]
		if a.Primary == nil {
			out = append(out, fmt.Sprintf("Beside the question, %s: no answer. %s", o.Name, r.why(o, a)))
			continue
		}
		p := ""
		if a.AcrossOutcomes != nil {
			p = ", p " + probability(*a.AcrossOutcomes) + " with all outcomes beside the question counted"
		}
		out = append(out, fmt.Sprintf("Beside the question, %s: %s (%s to %s%s).", o.Name, r.ended(o, a), o.signed(a.Primary.Low), o.signed(a.Primary.High), p))
	}
	return out
}

func (r *Report) sure() list {
	o := r.main()
	var out list
	for i := range o.Answers {
		a := &o.Answers[i]
		of := ""
		if len(o.Answers) > 1 {
			of = r.Arms[a.Arm].Name + ": "
		}
		for _, s := range r.sureOf(o, a) {
			out = append(out, of+s)
		}
	}
	if n := len(r.Looks); n > 0 {
		l := r.Looks[n-1]
		out = append(out, fmt.Sprintf("Results were looked at %s. The interval that holds for all looks together is %s to %s; the wider one counts. %s", times(n), o.signed(l.Low), o.signed(l.High), r.crossed()))
	}
	if len(out) == 0 {
		return list{"Nothing can be said of the question."}
	}
	if r.Verified {
		return append(out, "The key that chance was drawn from has been shown, and every arm was drawn again from it.")
	}
	return append(out, "The key that chance was drawn from has not been shown yet: whether arms were dealt as stated can't be checked so far.")
}

// crossed tells whether a look asked to stop.
func (r *Report) crossed() string {
	for _, l := range r.Looks {
		if l.Crossed {
			return fmt.Sprintf("On %s the difference was beyond what the plan asks of a look.", l.On)
		}
	}
	return "At none was the difference beyond what the plan asks of a look."
}

func (r *Report) sureOf(o *Result, a *Answer) []string {
	if a.Primary == nil {
		return nil
	}
	e := a.Primary
	out := []string{fmt.Sprintf("Differences from %s to %s fit what was seen (%s interval). %s was set beforehand as the smallest that matters.", o.than(e.Low), o.than(e.High), percent(e.Level), o.amount(o.Smallest))}
	if v := a.Randomisation; v != nil {
		out = append(out, fmt.Sprintf("Were the arms alike, dealing the same people out again by the same rule would show so large a difference in %s deals.", deals(v.P)))
	}
	if v := a.Belief; v != nil {
		out = append(out, fmt.Sprintf("From what was thought beforehand (the protocol's prior) and these data: the chance of %s or more higher is %s, of less than that either way %s, of as much lower %s.%s", o.amount(o.Smallest), chance(v.Important), chance(v.Negligible), chance(v.Less), e.few()))
	}
	var others []string
	for _, x := range [...]struct {
		e    *Estimate
		says string
	}{{a.Simple, "by the ends alone"}, {a.Kept, "among those who kept to the protocol"}, {a.Singles, "with those whose partner is missing"}} {
		if x.e != nil {
			others = append(others, o.signed(x.e.Value)+" "+x.says)
		}
	}
	if len(others) > 0 {
		out = append(out, "Counted in other ways, less sure or open to bias: "+and(others)+".")
	}
	return out
}

// few warns of chances that take the standard error as known.
func (e *Estimate) few() string {
	if e.DF != nil && *e.DF < 20 {
		return " With so few these chances are too sure: they take the spread as known."
	}
	return ""
}

func (r *Report) unknown() list {
	o := r.main()
	var out list
	for i := range o.Answers {
		a := &o.Answers[i]
		switch a.Reading {
		case "undecided":
			out = append(out, fmt.Sprintf("Whether %s and %s differ by what matters. That none was found does not mean that there is none.", r.Arms[a.Arm].Name, r.Arms[a.Against].Name))
		case "higher", "lower":
			out = append(out, "How large the difference is: by enough to matter, or not.")
		}
		out = append(out, r.missing(o, a)...)
	}
	if n := r.units(); n < 100 {
		out = append(out, fmt.Sprintf("How large a difference really is: with %d %s a trial tends to overstate one that it finds, and to miss one that is there.", n, plural(r.UnitOf)))
	}
	out = append(out, r.single(o))
	out = append(out, r.doubts()...)
	return append(out, fmt.Sprintf("Whether others would do as these %d who agreed to train as chance says, and what comes after the last measurement.", r.Flow.Enrolled))
}

// missing is what those not measured leave open.
func (r *Report) missing(o *Result, a *Answer) list {
	gone := 0
	for _, arm := range [...]int{a.Against, a.Arm} {
		gone += r.Flow.Arms[arm].Assigned - r.Flow.Arms[arm].Analysed
	}
	if gone == 0 || a.Primary == nil {
		return nil
	}
	s := fmt.Sprintf("What those not measured (%d) would have shown: the answer holds for all only if they are like the others.", gone)
	if v := a.Worst; v != nil {
		s += fmt.Sprintf(" Whatever they were like, the difference lies somewhere from %s to %s.", o.signed(v.Least), o.signed(v.Most))
	}
	return list{s}
}

// units is how many were randomised.
func (r *Report) units() int {
	n := 0
	for _, f := range r.Flow.Arms {
		n += f.Units
	}
	return n
}

// single is what the trial can't say of one athlete.
func (r *Report) single(o *Result) string {
	s := "Whether any one athlete would do better with the other arm: each trained in one way only."
	if o.Detectable != nil {
		s += fmt.Sprintf(" A change of less than %s in one athlete may be nothing but error of measurement.", o.amount(*o.Detectable))
	}
	return s
}

// doubts are what else may lie behind a difference.
func (r *Report) doubts() list {
	var out list
	var done []string
	for i, a := range r.Adherence {
		if a.Mean != nil {
			done = append(done, fmt.Sprintf("%.0f %% with %s", *a.Mean, r.Arms[i].Name))
		}
	}
	if len(done) > 0 {
		out = append(out, "What the plans would do if trained as written: of the sets planned, the logs show "+and(done)+".")
	}
	open := 0
	for _, o := range r.Outcomes {
		open += o.Open
		if o.OneRM && slices.ContainsFunc(r.Arms, func(a ArmNamed) bool { return a.HeavyLow }) {
			out = append(out, fmt.Sprintf("Whether a difference in %s is more strength or a practised test: %s had sets of one to three repetitions, which are much like it.", o.Name, r.practised()))
		}
	}
	if open > 0 {
		out = append(out, fmt.Sprintf("Whether knowing the arm swayed who measured: %d measurements at the end were made by someone who knew it.", open))
	}
	for _, v := range r.Versions {
		if v.OutcomesSeen {
			out = append(out, fmt.Sprintf("What would have been without the change of the protocol in version %d, made when results could be seen.", v.Number))
		}
	}
	return out
}

func (r *Report) practised() string {
	var names []string
	for _, a := range r.Arms {
		if a.HeavyLow {
			names = append(names, a.Name)
		}
	}
	return and(names)
}

// harmed counts adverse events; where there was none it says how many there could be, by
// the rule of three (Hanley & Lippman-Hand 1983, JAMA 249:1743-1745, from memory).
func (r *Report) harmed() list {
	athletes, serious := 0, 0
	var by []string
	for i, h := range r.Harm {
		athletes += h.Athletes
		serious += h.Serious
		by = append(by, fmt.Sprintf("%d of %d with %s", h.Any, h.Athletes, r.Arms[i].Name))
	}
	s := "Athletes with an adverse event, whatever its cause: " + and(by) + "."
	switch {
	case serious > 0:
		s += fmt.Sprintf(" With a serious one: %d.", serious)
	case athletes > 0:
		s += fmt.Sprintf(" None was serious, which among %d still fits a risk of up to %d in 100.", athletes, min(100, (300+athletes-1)/athletes))
	}
	return list{s}
}

func cautions(in *Input) []string {
	return []string{
		"Research with people may need ethics review and consent under the law of the place; whoever runs the trial answers for both.",
		"This compares ways of training for the outcomes named. It claims nothing about health and is no medical advice; pain, illness and injury belong before a clinician.",
	}
}

// decimals shows the smallest effect of interest with two significant digits.
func (o *Result) decimals() int {
	d := 0
	for x := o.Smallest; x < 10 && d < 6; x *= 10 {
		d++
	}
	return d
}

func (o *Result) number(x float64) string {
	s := strconv.FormatFloat(x, 'f', o.decimals(), 64)
	if strings.Trim(s, "-0.") == "" {
		return strings.TrimPrefix(s, "-")
	}
	return s
}

// zero tells whether nothing of a number is shown.
func (o *Result) zero(x float64) bool { return strings.Trim(o.number(x), "0.") == "" }

func (o *Result) amount(x float64) string { return o.number(x) + " " + o.Unit }

func (o *Result) signed(x float64) string {
	s := o.number(x)
	if x > 0 && !o.zero(x) {
		s = "+" + s
	}
	return s + " " + o.Unit
}

func (o *Result) than(x float64) string {
	s := o.amount(math.Abs(x))
	switch {
	case o.zero(x):
		return s
	case x < 0:
		return s + " lower"
	}
	return s + " higher"
}

func probability(p float64) string {
	switch {
	case p < 0.001:
		return "below 0.001"
	case p < 0.1:
		return strconv.FormatFloat(p, 'f', 3, 64)
	}
	return strconv.FormatFloat(p, 'f', 2, 64)
}

func deals(p float64) string {
	switch {
	case p < 0.001:
		return "fewer than 1 of 1,000"
	case p < 0.01:
		return fmt.Sprintf("%.0f of 1,000", 1000*p)
	}
	return fmt.Sprintf("%.0f of 100", 100*p)
}

func chance(p float64) string {
	switch {
	case p < 0.01:
		return "below 1 %"
	case p > 0.99:
		return "above 99 %"
	}
	return fmt.Sprintf("%.0f %%", 100*p)
}

func percent(level float64) string {
	return strconv.FormatFloat(round(100*level), 'f', -1, 64) + " %"
}

func plural(unit string) string {
	if unit == "coach" {
		return "coaches"
	}
	return unit + "s"
}

func times(n int) string {
	switch n {
	case 1:
		return "once"
	case 2:
		return "twice"
	}
	return fmt.Sprintf("%d times", n)
}

func people(n int) string {
	if n == 1 {
		return "1 athlete was"
	}
	return fmt.Sprintf("%d athletes were", n)
}

func and(xs []string) string {
	if len(xs) < 2 {
		return strings.Join(xs, "")
	}
	return strings.Join(xs[:len(xs)-1], ", ") + " and " + xs[len(xs)-1]
}

func capital(s string) string {
	for i, r := range s {
		return strings.ToUpper(string(r)) + s[i+len(string(r)):]
	}
	return s
}
