package app

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"sigs.k8s.io/yaml"
)

// must is what a coach wants of a scenario's program, or of its refusal. The
// vocabulary is described in testdata/scenarios/README.md.
type must struct {
	About   string     `json:"about"`
	Program []property `json:"program"`
	Refused *refusal   `json:"refused"`
}

type refusal struct {
	Kind  string   `json:"kind"`
	Field string   `json:"field"`
	Says  []string `json:"says"`
}

// property has exactly one of its kinds set. A field here is a kind of property; the
// test of this vocabulary wants a program that breaks each.
type property struct {
	Because string `json:"because"`

	Weeks           *weekCount       `json:"weeks"`
	SessionsPerWeek *sessionsPerWeek `json:"sessions_per_week"`
	Phases          *phaseList       `json:"phases"`
	Rotation        *rotation        `json:"rotation"`
	SameWeeksAs     *sameWeeksAs     `json:"same_weeks_as"`

	MinutesKept *minutesKept `json:"minutes_kept"`
	Fill        *fill        `json:"fill"`
	SessionSize *sessionSize `json:"session_size"`
	First       *first       `json:"first"`

	LiftSets    *liftSets    `json:"lift_sets"`
	WeeklySets  *weeklySets  `json:"weekly_sets"`
	MuscleDays  *muscleDays  `json:"muscle_days"`
	LighterWeek *lighterWeek `json:"lighter_week"`
	Balance     *balance     `json:"balance"`

	WeekSets      *weekSets      `json:"week_sets"`
	PatternSets   *patternSets   `json:"pattern_sets"`
	SameExercises *sameExercises `json:"same_exercises"`
	LoadShare     *loadShare     `json:"load_share"`
	LastHeavy     *lastHeavy     `json:"last_heavy"`
	Tested        *testedMust    `json:"tested"`

	Sets       *setsMust   `json:"sets"`
	LoadChange *loadChange `json:"load_change"`
	LoadSteps  *loadSteps  `json:"load_steps"`
	Unit       *unitIs     `json:"unit"`
	FindsLoads *findsLoads `json:"finds_loads"`

	Contains    *contains    `json:"contains"`
	Excludes    *excludes    `json:"excludes"`
	UsesOnly    *usesOnly    `json:"uses_only"`
	SparesJoint *sparesJoint `json:"spares_joint"`

	Caution       *cautionGiven   `json:"caution"`
	Assumption    *assumptionMade `json:"assumption"`
	Finding       *findingMade    `json:"finding"`
	NoFinding     *noFinding      `json:"no_finding"`
	Contingencies *contingencies  `json:"contingencies"`
	TextLacks     *textLacks      `json:"text_lacks"`
	TextHas       *textHas        `json:"text_has"`
}

// check is one kind of property: no sentences where it holds. One that finds nothing
// to judge says so, as it would otherwise hold of any program.
type check interface {
	broken(v *view) []string
}

// kind gives the property's name and check.
func (p *property) kind() (string, check, error) {
	var name string
	var found check
	v := reflect.ValueOf(p).Elem()
	for i := range v.NumField() {
		c, ok := v.Field(i).Interface().(check)
		if !ok || v.Field(i).IsNil() {
			continue
		}
		tag := v.Type().Field(i).Tag.Get("json")
		if found != nil {
			return "", nil, fmt.Errorf("one property a line: %s and %s", name, tag)
		}
		name, found = tag, c
	}
	if found == nil {
		return "", nil, errors.New("a line without a property")
	}
	return name, found, nil
}

// broken gives what doesn't hold, at most a handful of sentences.
func (p *property) broken(v *view) []string {
	const most = 4
	name, c, err := p.kind()
	if err != nil {
		return []string{err.Error()}
	}
	var list []string
	for _, says := range c.broken(v) {
		if !slices.Contains(list, says) {
			list = append(list, says)
		}
	}
	if n := len(list); n > most {
		list = append(list[:most:most], fmt.Sprintf("and %d more", n-most))
	}
	for i := range list {
		list[i] = name + ": " + list[i]
		if p.Because != "" {
			list[i] += " (" + p.Because + ")"
		}
	}
	return list
}

// readMust reads a must.yaml; unknown names are refused.
func readMust(data []byte) (*must, error) {
	var m must
	if err := yaml.UnmarshalStrict(data, &m); err != nil {
		return nil, err
	}
	if m.About == "" {
		return nil, errors.New("about is missing: say in a sentence what a coach wants to see")
	}
	if (len(m.Program) > 0) == (m.Refused != nil) {
		return nil, errors.New("either program or refused is needed")
	}
	if m.Refused != nil && (m.Refused.Kind == "" || m.Refused.Field == "" || len(m.Refused.Says) == 0) {
		return nil, errors.New("refused needs kind, field and says")
	}
	for i := range m.Program {
		if _, _, err := m.Program[i].kind(); err != nil {
			return nil, fmt.Errorf("program[%d]: %w", i, err)
		}
	}
	return &m, nil
}

// span is a closed range of thousandths, written 6, 6-10, 0.7-1.4 or, without an upper
// end, 6-.
type span struct {
	lo, hi int64
	text   string
}

func (s *span) UnmarshalJSON(b []byte) error {
	s.text = scalar(b)
	lo, hi, ranged := strings.Cut(s.text, "-")
	var err error
	if s.lo, err = thousandths(lo); err != nil {
		return err
	}
	switch {
	case !ranged:
		s.hi = s.lo
	case hi == "":
		s.hi = math.MaxInt64
	default:
		if s.hi, err = thousandths(hi); err != nil {
			return err
		}
	}
	if s.hi < s.lo {
		return fmt.Errorf("%q ends before it starts", s.text)
	}
	return nil
}

func (s *span) has(milli int64) bool { return s.lo <= milli && milli <= s.hi }
func (s *span) count(n int) bool     { return s.has(int64(n) * 1000) }
func (s *span) String() string       { return s.text }

// scalar gives the text of a JSON string or number.
func scalar(b []byte) string {
	var text string
	if json.Unmarshal(b, &text) == nil {
		return text
	}
	return string(b)
}

func thousandths(s string) (int64, error) {
	whole, part, _ := strings.Cut(s, ".")
	n, err := strconv.ParseUint(whole+(part + "000")[:3], 10, 40)
	if err != nil || whole == "" || len(part) > 3 {
		return 0, fmt.Errorf("%q is no number; 6, 6-10, 0.7-1.4 or 6- is meant", s)
	}
	return int64(n), nil
}

// weekList names weeks: 3, 1-5 or 1-3,5-7. The zero value means all.
type weekList struct {
	spans []span
	text  string
}

func (l *weekList) UnmarshalJSON(b []byte) error {
	l.text = scalar(b)
	for part := range strings.SplitSeq(l.text, ",") {
		var s span
		if err := s.UnmarshalJSON([]byte(strconv.Quote(part))); err != nil {
			return err
		}
		if s.lo < 1000 || s.hi == math.MaxInt64 || s.lo%1000 != 0 || s.hi%1000 != 0 {
			return fmt.Errorf("weeks %q: whole numbers from 1 with both ends are meant", l.text)
		}
		l.spans = append(l.spans, s)
	}
	return nil
}

func (l *weekList) has(week int32) bool {
	for i := range l.spans {
		if l.spans[i].count(int(week)) {
			return true
		}
	}
	return len(l.spans) == 0
}

func (l *weekList) last() int32 {
	var last int64
	for _, s := range l.spans {
		last = max(last, s.hi/1000)
	}
	return int32(last)
}

func (l *weekList) String() string {
	if l.text == "" {
		return "any week"
	}
	return "weeks " + l.text
}

// yes is the value of properties that are only stated, never denied.
type yes struct{}

func (*yes) UnmarshalJSON(b []byte) error {
	if string(b) != "true" {
		return fmt.Errorf("%s: only true is meant; leave the line out otherwise", b)
	}
	return nil
}
