package app

import (
	"encoding/json"
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"sigs.k8s.io/yaml"

	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/wire"
)

// study is a file of testdata/protocols; its README tells what the keys mean.
type study struct {
	Study string  `json:"study"`
	Short string  `json:"short"`
	Says  string  `json:"says"`
	Arms  []arm   `json:"arms"`
	Equal []equal `json:"equal"`
}

// equal is what the study says is the same in some arms.
type equal struct {
	What     string   `json:"what"`
	Arms     []string `json:"arms"`
	Evidence string   `json:"evidence"`
}

type arm struct {
	Name     string                     `json:"name"`
	Evidence string                     `json:"evidence"`
	Ours     string                     `json:"ours"`
	Weeks    int32                      `json:"weeks"`
	Days     int32                      `json:"days"`
	Spare    bool                       `json:"spare_day"`
	Lifts    []string                   `json:"lifts"`
	Plan     json.RawMessage            `json:"plan"`
	Groups   []string                   `json:"groups"`
	Table    []tableRow                 `json:"table"`
	Totals   map[string]json.RawMessage `json:"totals"`
	Adjust   []adjustment               `json:"adjust"`
}

type tableRow struct {
	Weeks  weekList     `json:"weeks"`
	Goal   sessionTexts `json:"goal"`
	Other  sessionTexts `json:"other"`
	Single sessionTexts `json:"single"`
}

func (r *tableRow) of(role plan.Role) sessionTexts {
	switch role {
	case plan.GoalLift:
		return r.Goal
	case plan.MultiJoint:
		return r.Other
	}
	return r.Single
}

type adjustment struct {
	Unit    string     `json:"unit"`
	Maximum int32      `json:"maximum"`
	Set     [][4]int64 `json:"set"`
	Next    [][4]int64 `json:"next"`
}

// sessionTexts is one text for every session of a week, or a text for each.
type sessionTexts struct {
	all  string
	each []string
}

func (s *sessionTexts) UnmarshalJSON(b []byte) error {
	if b[0] == '[' {
		return json.Unmarshal(b, &s.each)
	}
	s.all = scalar(b)
	return nil
}

func (s sessionTexts) given() bool { return s.all != "" || len(s.each) > 0 }

// session gives the text of session i of n.
func (s sessionTexts) session(i, n int) (string, error) {
	if s.all != "" {
		return s.all, nil
	}
	if len(s.each) != n {
		return "", fmt.Errorf("the week has %d sessions, the table %d", n, len(s.each))
	}
	return s.each[i], nil
}

func readStudy(data []byte) (*study, error) {
	var s study
	if err := yaml.UnmarshalStrict(data, &s); err != nil {
		return nil, err
	}
	if s.Study == "" || s.Short == "" || s.Says == "" || len(s.Arms) == 0 {
		return nil, errors.New("study, short, says and arms are needed")
	}
	for i := range s.Equal {
		if q := &s.Equal[i]; q.What == "" || q.Evidence == "" || len(q.Arms) < 2 {
			return nil, fmt.Errorf("equal[%d]: what, evidence and two arms or more are needed", i)
		}
	}
	for i := range s.Arms {
		a := &s.Arms[i]
		if a.Name == "" || a.Evidence == "" || a.Weeks == 0 || a.Days == 0 || len(a.Lifts) == 0 || len(a.Table) == 0 {
			return nil, fmt.Errorf("arms[%d]: name, evidence, weeks, days, lifts and table are needed", i)
		}
	}
	return &s, nil
}

// plan reads the arm's plan as a request has it.
func (a *arm) plan() (plan.Plan, error) {
	const rest = `"athlete": {"age_band": "AGE_BAND_ADULT"}, "constraints": {"days": [{"minutes": 60}], "places": [{"preset": "EQUIPMENT_PRESET_FULL_GYM"}]}`
	m, err := wire.ReadRequest([]byte(`{` + rest + `, "plan": ` + string(a.Plan) + `}`))
	if err != nil {
		return plan.Plan{}, err
	}
	r, err := wire.RequestFromProto(m)
	return r.Plan, err
}

// one is a set, or sets that the dose counts, as a study tells of it.
type one struct {
	least, most int32 // sets
	reps        plan.Range
	open        bool
	failure     bool // to the repetition maximum
	share       plan.Permille
	of          plan.Reference
	tested      int32        // the share is of the 1RM of a test after this week
	rest        plan.Seconds // 0: not stated
	stated      bool         // effort or load is
}

func (s one) String() string {
	out := fmt.Sprintf("%d × %d", s.most, s.reps.Min)
	if s.least != s.most {
		out = fmt.Sprintf("%d–%d × %d", s.least, s.most, s.reps.Min)
	}
	if s.reps.Max > s.reps.Min {
		out += fmt.Sprintf("–%d", s.reps.Max)
	}
	if s.open {
		out += "+"
	}
	if s.failure {
		out += "RM"
	}
	if s.share > 0 {
		out += " at " + s.share.String()
		switch s.of.Kind {
		case plan.RefRM:
			out += fmt.Sprintf(" of the %dRM", s.of.RM)
		case plan.RefSetBefore:
			out += " of the set before"
		}
		if s.tested > 0 {
			out += fmt.Sprintf(" of the 1RM tested after week %d", s.tested)
		}
	}
	if s.rest > 0 {
		out += ", rest " + s.rest.String()
	}
	return out
}

var tableSet = regexp.MustCompile(`^(?:(\d+)(?:-(\d+))?x)?(?:(max)|(\d+)(?:-(\d+))?(RM)?)(?:@(?:(\d+(?:\.\d)?)%)?(?:RM(\d+)|T(\d+)|(before))?)?(?:/(\d+))?$`)

// readSets reads a text of a table, set by set.
func readSets(text string) ([]one, error) {
	var out []one
	for field := range strings.FieldsSeq(text) {
		m := tableSet.FindStringSubmatch(field)
		if m == nil || strings.HasSuffix(field, "@") || strings.Contains(field, "@/") {
			return nil, fmt.Errorf("%q is no set of a table", field)
		}
		n := func(i int) int32 {
			v, _ := strconv.ParseInt(m[i], 10, 32) // digits; none is 0
			return int32(v)
		}
		s := one{least: max(n(1), 1), reps: plan.Range{Min: n(4), Max: max(n(4), n(5))}, failure: m[6] != "", rest: plan.Seconds(n(11))}
		s.most = max(s.least, n(2))
		if m[3] != "" {
			s.open, s.reps = true, plan.Range{Min: 1, Max: 1}
		}
		if strings.Contains(field, "@") {
			s.share = 1000
			if m[7] != "" {
				whole, tenth, _ := strings.Cut(m[7]+".0", ".")
				v, _ := strconv.ParseInt(whole+tenth[:1], 10, 32)
				s.share = plan.Permille(v)
			}
			switch {
			case m[8] != "":
				s.of = plan.Reference{Kind: plan.RefRM, RM: n(8)}
			case m[9] != "":
				s.tested = n(9)
			case m[10] != "":
				s.of.Kind = plan.RefSetBefore
			}
		}
		s.stated = s.failure || s.share > 0
		out = append(out, s.each()...)
	}
	if len(out) == 0 {
		return nil, errors.New("a text without sets")
	}
	return out, nil
}

// each spells a fixed number of sets out.
func (s one) each() []one {
	if s.least != s.most {
		return []one{s}
	}
	out := make([]one, s.most)
	s.least, s.most = 1, 1
	for i := range out {
		out[i] = s
	}
	return out
}

// fromScheme gives the sets of a scheme.
func fromScheme(s *plan.Scheme) []one {
	o := one{
		least: s.Sets.Min, most: s.Sets.Max, reps: s.Reps, open: s.OpenEnded, failure: s.Effort.ToFailure,
		share: s.Effort.Intensity.Value, rest: s.Rest, stated: true,
	}
	if o.share > 0 {
		o.of = s.Effort.Reference
	}
	return o.each()
}

// as leaves out what a table doesn't state.
func (s one) as(stated one) one {
	s.tested = stated.tested // which an outline doesn't know
	if stated.rest == 0 {
		s.rest = 0
	}
	if !stated.stated {
		s.failure, s.share, s.of, s.stated = false, 0, plan.Reference{}, false
	}
	return s
}

func TestReadSetsOfATable(t *testing.T) {
	set := func(lo, hi int32) one { return one{least: 1, most: 1, reps: plan.Range{Min: lo, Max: hi}} }
	rm := set(8, 8)
	rm.failure, rm.stated, rm.rest = true, true, 90
	open := set(1, 1)
	open.open, open.share, open.stated, open.of = true, 1000, true, plan.Reference{Kind: plan.RefSetBefore}
	share := set(10, 10)
	share.share, share.stated, share.of = 525, true, plan.Reference{Kind: plan.RefRM, RM: 6}
	scaled := set(8, 12)
	scaled.least, scaled.most = 2, 4
	for text, want := range map[string][]one{
		"2x8RM/90": {rm, rm}, "max@before": {open}, "10@52.5%RM6": {share}, "2-4x8-12": {scaled}, "8-10 6": {set(8, 10), set(6, 6)},
	} {
		got, err := readSets(text)
		require.NoError(t, err)
		require.Equal(t, want, got, text)
	}
	for _, text := range []string{"", "3x", "8@", "8@/90", "3x8 x", "8RM6", "max@80", "8@T4x", "3x8,2x6"} {
		_, err := readSets(text)
		require.Error(t, err, text)
	}
}
