package engine

import (
	"fmt"
	"strconv"
	"strings"
	"unicode"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// Bounds of a list of sets; those of one set are the outline's.
const (
	setsMaxText   = 200 // bytes
	setsMaxTotal  = 20
	setsMinShare  = outlineMinIntensity
	setsMaxShare  = outlineMaxIntensity
	setsMaxDigits = 4
	setsLeast     = 1 // repetitions of a set of as many as possible
)

// ReasonSets is the reason of every fault of ParseSets.
const ReasonSets = "SETS_FORMAT"

// ParseSets reads sets as a coach writes them: items joined by commas, in the order in
// which they are done.
//
//	item = [ sets "x" ] repetitions [ "@" load ] [ "/" rest ]
//
//	repetitions  8, 8-12, 6+ (six or more, as many as possible), max (as many as possible)
//	load         80% or 72.5%   share of the 1RM
//	             10RM           the load of ten repetitions maximum
//	             90%10RM        a share of that load
//	             RM, 90%RM      the same, of the item's own repetitions: 5x10@RM
//	             fail           to failure, whatever load that takes
//	             RIR2           two repetitions in reserve
//	rest         90s, 3min      after each set of the item
//
// Without sets it is one. Without load or rest these are left open: Effort or Rest of
// the scheme are zero. A given load that names neither fail nor RIR is not taken beyond
// the repetitions stated. Sets of as many as possible need a load. Spaces and capitals
// don't matter; × and – are read too. An empty text is no sets.
//
// The fault is Invalid with every wrong item as sets[i], at most the first where too
// many are given; Says tells the position in the text, counted in letters from 1.
func ParseSets(text string) ([]plan.Scheme, error) {
	c := fault.NewCollector(fault.Invalid)
	if len(text) > setsMaxText {
		c.Add(ReasonSets, "sets", fmt.Sprintf("is a text of %d bytes; at most %d are possible", len(text), setsMaxText))
		return nil, c.Err()
	}
	items := splitSets(text)
	if len(items) > outlineMaxSchemes {
		c.Add(ReasonSets, "sets", fmt.Sprintf("has %d items; at most %d are possible", len(items), outlineMaxSchemes))
		return nil, c.Err()
	}
	var out []plan.Scheme
	total := int32(0)
	for i, tokens := range items {
		p := setsParser{tokens: tokens}
		s, ok := p.item()
		if !ok {
			c.Add(ReasonSets, fmt.Sprintf("sets[%d]", i), fmt.Sprintf("at %d: %s", p.at, p.says))
			continue
		}
		out = append(out, s)
		total += s.Sets.Max
	}
	if total > setsMaxTotal {
		c.Add(ReasonSets, "sets", fmt.Sprintf("are %d in all; at most %d are possible", total, setsMaxTotal))
	}
	if err := c.Err(); err != nil {
		return nil, err
	}
	return out, nil
}

// setsFault says in one sentence what ParseSets has against a text.
func setsFault(text string, err error) string {
	f, ok := fault.As(err)
	if !ok {
		return err.Error()
	}
	parts := make([]string, len(f.Violations))
	for i, v := range f.Violations {
		parts[i] = v.Field + " " + v.Says
	}
	if len(text) > setsMaxText {
		text = strings.ToValidUTF8(text[:setsMaxText], "") + "…"
	}
	return fmt.Sprintf("is %q: %s", text, strings.Join(parts, "; "))
}

// SetsText writes what ParseSets reads, in its shortest form. Of a scheme that no list
// can state (tempo, tables, sets left to the dose) it writes the part that one can.
func SetsText(schemes []plan.Scheme) string {
	out := make([]string, len(schemes))
	for i := range schemes {
		out[i] = setText(&schemes[i])
	}
	return strings.Join(out, ", ")
}

func setText(s *plan.Scheme) string {
	out := ""
	if s.Sets.Max != 1 {
		out = number32(s.Sets.Max) + "x"
	}
	out += number32(s.Reps.Min)
	switch {
	case s.OpenEnded && s.Reps.Max <= setsLeast:
		out = strings.TrimSuffix(out, number32(s.Reps.Min)) + "max"
	case s.OpenEnded:
		out += "+"
	case s.Reps.Max > s.Reps.Min:
		out += "-" + number32(s.Reps.Max)
	}
	e := &s.Effort
	switch {
	case e.Intensity.Set:
		out += "@"
		if rm := e.Reference.Kind == plan.RefRM; !rm || e.Intensity.Value != 1000 {
			out += shareText(e.Intensity.Value) + "%"
		}
		if e.Reference.Kind == plan.RefRM {
			if e.Reference.RM != s.Reps.Min || s.Reps.Min != s.Reps.Max || s.OpenEnded && s.Reps.Max <= setsLeast {
				out += number32(e.Reference.RM)
			}
			out += "RM"
		}
	case e.ToFailure:
		out += "@fail"
	case e.RIR.Set:
		out += "@RIR" + number32(e.RIR.Value)
	}
	if s.Rest > 0 {
		out += "/" + number32(int32(s.Rest)) + "s"
	}
	return out
}

func number32(n int32) string { return strconv.FormatInt(int64(n), 10) }

func shareText(p plan.Permille) string {
	out := number32(int32(p) / 10)
	if d := int32(p) % 10; d != 0 {
		out += "." + number32(d)
	}
	return out
}

// setsToken is a number, a word in small letters, or one sign.
type setsToken struct {
	text string
	at   int // letters from 1
}

// splitSets cuts the text into the tokens of its items; every item ends with an empty
// token that stands where it ends. A text of blanks has no items.
func splitSets(text string) [][]setsToken {
	const number, word, sign = 0, 1, 2
	var items [][]setsToken
	var item []setsToken
	at, last := 0, sign
	for _, c := range text {
		at++
		switch {
		case unicode.IsSpace(c):
			last = sign
			continue
		case c == ',':
			items = append(items, append(item, setsToken{at: at}))
			item, last = nil, sign
			continue
		case c == '×':
			c = 'x'
		case c == '–':
			c = '-'
		}
		kind := sign
		switch {
		case c >= '0' && c <= '9', c == '.':
			kind = number
		case unicode.IsLetter(c) && (last == word || c != 'x' && c != 'X'): // 3xmax
			kind = word
		}
		if kind != sign && kind == last {
			item[len(item)-1].text += string(unicode.ToLower(c))
		} else {
			item = append(item, setsToken{string(unicode.ToLower(c)), at})
		}
		last = kind
	}
	if len(items) == 0 && len(item) == 0 {
		return nil
	}
	return append(items, append(item, setsToken{at: at + 1}))
}

// setsParser reads one item and stops at the first thing wrong in it.
type setsParser struct {
	tokens []setsToken
	at     int
	says   string
}

func (p *setsParser) next() setsToken { return p.tokens[0] }

func (p *setsParser) accept(text string) bool {
	if p.next().text != text {
		return false
	}
	p.tokens = p.tokens[1:]
	return true
}

func (p *setsParser) bad(t setsToken, format string, args ...any) bool {
	p.at, p.says = t.at, fmt.Sprintf(format, args...)
	return false
}

// unexpected says what would be right instead of what is there.
func (p *setsParser) unexpected(right string) bool {
	t := p.next()
	if t.text == "" {
		return p.bad(t, "the item ends; %s", right)
	}
	return p.bad(t, "%q is not expected; %s", t.text, right)
}

func (t setsToken) isNumber() bool { return t.text != "" && t.text[0] >= '0' && t.text[0] <= '9' }

// whole reads a whole number.
func (p *setsParser) whole(of string, lo, hi int32, right string) (int32, bool) {
	t := p.next()
	if !t.isNumber() {
		return 0, p.unexpected(right)
	}
	n, err := strconv.ParseInt(t.text, 10, 32)
	if len(t.text) > setsMaxDigits || err != nil || n < int64(lo) || n > int64(hi) {
		return 0, p.bad(t, "%s are %s; %d to %d is possible", of, t.text, lo, hi)
	}
	p.tokens = p.tokens[1:]
	return int32(n), true
}

const (
	rightReps = "repetitions such as 8, 8-12, 6+ or max are right"
	rightLoad = "a load such as 80%, 10RM, RM, fail or RIR2 is right"
)

func (p *setsParser) item() (plan.Scheme, bool) {
	s := plan.Scheme{Kind: plan.SetWorking, Sets: plan.FixedSets(1)}
	start := p.next()
	if len(p.tokens) > 1 && start.isNumber() && p.tokens[1].text == "x" {
		n, ok := p.whole("sets", 1, outlineMaxSets, "")
		if !ok {
			return s, false
		}
		s.Sets = plan.FixedSets(n)
		p.accept("x")
	}
	if !p.reps(&s) {
		return s, false
	}
	if p.accept("@") && !p.load(&s) {
		return s, false
	}
	if s.OpenEnded && !s.Effort.Intensity.Set {
		return s, p.bad(start, "as many repetitions as possible need a load, such as max@90%% or 6+@6RM")
	}
	if p.accept("/") && !p.rest(&s) {
		return s, false
	}
	if p.next().text != "" {
		return s, p.unexpected("@ and a load, / and a rest, or a comma and the next item are right")
	}
	return s, true
}

func (p *setsParser) reps(s *plan.Scheme) bool {
	if p.accept("max") {
		s.OpenEnded, s.Reps = true, plan.Range{Min: setsLeast, Max: setsLeast}
		return true
	}
	lo, ok := p.whole("repetitions", 1, outlineMaxReps, rightReps)
	if !ok {
		return false
	}
	s.Reps = plan.Range{Min: lo, Max: lo}
	switch {
	case p.accept("+"):
		s.OpenEnded = true
	case p.accept("-"):
		t := p.next()
		hi, ok := p.whole("repetitions", 1, outlineMaxReps, rightReps)
		if !ok {
			return false
		}
		if hi < lo {
			return p.bad(t, "repetitions run from %d to %d; the lower end comes first", lo, hi)
		}
		s.Reps.Max = hi
	}
	return true
}

func (p *setsParser) load(s *plan.Scheme) bool {
	e := &s.Effort
	switch {
	case p.accept("fail"):
		e.ToFailure = true
		return true
	case p.accept("rir"):
		n, ok := p.whole("repetitions in reserve", 0, outlineMaxRIR, "how many, as in RIR2, is right")
		e.RIR = plan.Some(n)
		return ok
	case p.accept("rm"):
		e.Intensity = plan.Some(plan.Permille(1000))
		return p.own(s)
	}
	t := p.next()
	if !t.isNumber() {
		return p.unexpected(rightLoad)
	}
	if len(p.tokens) > 1 && p.tokens[1].text == "%" {
		share, ok := shareOf(t.text)
		if !ok {
			return p.bad(t, "a share is %s%%; %d to %d with at most one decimal is possible", t.text, setsMinShare/10, setsMaxShare/10)
		}
		p.tokens = p.tokens[2:]
		e.Intensity = plan.Some(share)
		if p.accept("rm") {
			return p.own(s)
		}
		if !p.next().isNumber() {
			return true
		}
	} else {
		e.Intensity = plan.Some(plan.Permille(1000))
	}
	if len(p.tokens) < 2 || p.tokens[1].text != "rm" {
		p.tokens = p.tokens[1:]
		return p.unexpected("% or RM after a number is right, as in 80% or 10RM")
	}
	n, ok := p.whole("repetitions maximum", 1, outlineMaxReps, rightLoad)
	if !ok {
		return false
	}
	p.accept("rm")
	e.Reference = plan.Reference{Kind: plan.RefRM, RM: n}
	return true
}

// own makes the item's own repetitions the repetition maximum.
func (p *setsParser) own(s *plan.Scheme) bool {
	if s.Reps.Min != s.Reps.Max || s.OpenEnded && s.Reps.Max == setsLeast {
		return p.bad(p.next(), "which repetition maximum is not clear; a number before RM is right, as in 10RM")
	}
	s.Effort.Reference = plan.Reference{Kind: plan.RefRM, RM: s.Reps.Min}
	return true
}

func shareOf(text string) (plan.Permille, bool) {
	whole, tenth, cut := strings.Cut(text, ".")
	if len(text) > setsMaxDigits+1 || cut && len(tenth) != 1 {
		return 0, false
	}
	if !cut {
		tenth = "0"
	}
	n, err := strconv.ParseInt(whole+tenth, 10, 32)
	if err != nil || n < setsMinShare || n > setsMaxShare {
		return 0, false
	}
	return plan.Permille(n), true
}

func (p *setsParser) rest(s *plan.Scheme) bool {
	t := p.next()
	const right = "a rest such as 90s or 3min is right"
	n, ok := p.whole("seconds or minutes of rest", 1, outlineMaxRest, right)
	if !ok {
		return false
	}
	switch {
	case p.accept("s"):
	case p.accept("min"):
		n *= 60
	default:
		return p.unexpected("s or min after the number is right")
	}
	if n > outlineMaxRest {
		return p.bad(t, "the rest is %d s; 1 to %d s is possible", n, outlineMaxRest)
	}
	s.Rest = plan.Seconds(n)
	return true
}
