package wire

import (
	"cmp"
	"fmt"
	"reflect"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// ends gives the first number that an enumeration does not have.
var ends = map[reflect.Type]int{
	reflect.TypeFor[plan.Muscle]():        int(plan.MuscleCount),
	reflect.TypeFor[plan.Pattern]():       int(plan.PatternCount),
	reflect.TypeFor[plan.Joint]():         int(plan.JointCount),
	reflect.TypeFor[plan.Role]():          int(plan.RoleCount),
	reflect.TypeFor[plan.Skill]():         int(plan.SkillHigh) + 1,
	reflect.TypeFor[plan.Sex]():           int(plan.Male) + 1,
	reflect.TypeFor[plan.AgeBand]():       int(plan.AgeOlder) + 1,
	reflect.TypeFor[plan.Status]():        int(plan.Advanced) + 1,
	reflect.TypeFor[plan.Severity]():      int(plan.SeverityAvoid) + 1,
	reflect.TypeFor[plan.Condition]():     int(plan.ConditionCount),
	reflect.TypeFor[plan.Pregnancy]():     int(plan.Postpartum) + 1,
	reflect.TypeFor[plan.Scope]():         int(plan.ScopeVigorous) + 1,
	reflect.TypeFor[plan.Supervision]():   int(plan.Qualified) + 1,
	reflect.TypeFor[plan.Weekday]():       int(plan.Sunday) + 1,
	reflect.TypeFor[plan.Equipment]():     int(plan.EquipmentCount),
	reflect.TypeFor[plan.Loading]():       int(plan.LoadingCount),
	reflect.TypeFor[plan.Preset]():        int(plan.PresetMachines) + 1,
	reflect.TypeFor[plan.GoalKind]():      int(plan.GoalGeneral) + 1,
	reflect.TypeFor[plan.MassUnit]():      int(plan.Pound) + 1,
	reflect.TypeFor[plan.SetKind]():       int(plan.SetAttempt) + 1,
	reflect.TypeFor[plan.SessionKind]():   int(plan.SessionAttempt) + 1,
	reflect.TypeFor[plan.WeekKind]():      int(plan.WeekTaper) + 1,
	reflect.TypeFor[plan.ReferenceKind](): int(plan.RefCalibration) + 1,
	reflect.TypeFor[plan.ProgressKind]():  int(plan.ProgressHold) + 1,
	reflect.TypeFor[plan.Number]():        int(plan.NumberChoice) + 1,
	reflect.TypeFor[plan.Case]():          int(plan.CaseDayMissed) + 1,
	reflect.TypeFor[plan.FindingLevel]():  int(plan.LevelViolation) + 1,
	reflect.TypeFor[plan.ChangeKind]():    int(plan.ChangeAdvice) + 1,
	reflect.TypeFor[plan.ValueKind]():     int(plan.ValueSets) + 1,
	reflect.TypeFor[plan.Equating]():      int(plan.EquatingCount),
	reflect.TypeFor[plan.Measure]():       int(plan.MeasureDuration) + 1,
	reflect.TypeFor[plan.Search]():        int(plan.SearchThorough) + 1,
}

var (
	someLoad = rapid.Custom(func(t *rapid.T) plan.Load {
		return plan.Load{Milli: rapid.Int64Range(-1e9, 1e9).Draw(t, "milli"), Unit: plan.MassUnit(rapid.IntRange(1, 2).Draw(t, "unit"))}
	})
	someName  = rapid.StringMatching(`[a-z][a-z0-9_]{0,6}`)
	someText  = rapid.StringMatching(`[a-zé"\\ ]{0,6}`)
	someValue = rapid.Custom(func(t *rapid.T) plan.Value {
		whole := rapid.Int32Range(-999_999_999, 999_999_999)
		switch k := plan.ValueKind(rapid.IntRange(1, 5).Draw(t, "kind")); k {
		case plan.ValueNumber:
			return plan.Value{Kind: k, Milli: rapid.Int64Range(-1e13, 1e13).Draw(t, "milli")}
		case plan.ValueRange:
			return plan.Value{Kind: k, Lo: whole.Draw(t, "lo"), Hi: whole.Draw(t, "hi")}
		case plan.ValueText:
			return plan.Value{Kind: k, Text: someText.Draw(t, "text")}
		case plan.ValueBool:
			return plan.Value{Kind: k, Bool: rapid.Bool().Draw(t, "bool")}
		default:
			v := plan.Value{Kind: k}
			for range rapid.IntRange(0, 3).Draw(t, "n") {
				v.List = append(v.List, whole.Draw(t, "item"))
			}
			return v
		}
	})
)

// fill draws any value that the domain may hold.
func fill(t *rapid.T, v reflect.Value) {
	if end, ok := ends[v.Type()]; ok {
		v.SetUint(uint64(rapid.IntRange(0, end-1).Draw(t, "enum")))
		return
	}
	switch p := v.Addr().Interface().(type) {
	case *plan.Load:
		*p = someLoad.Draw(t, "load")
		return
	case *plan.Date:
		*p = plan.Date(rapid.Int32Range(-700_000, 2_900_000).Draw(t, "date"))
		return
	case *plan.Value:
		*p = someValue.Draw(t, "value")
		return
	case *plan.Constraints: // a start has its own bounds
		for i := range v.NumField() {
			fill(t, v.Field(i))
		}
		if p.Start.Set {
			p.Start.Value = plan.Date(rapid.Int32Range(-25_000, 84_000).Draw(t, "start"))
		}
		return
	case *plan.Param:
		*p = plan.Param{Name: someName.Draw(t, "name"), Value: someValue.Draw(t, "value")}
		return
	case *plan.OutlineRequest: // as many weeks as have sessions
		for range rapid.IntRange(0, 3).Draw(t, "weeks") {
			p.Sessions = append(p.Sessions, rapid.Int32().Draw(t, "sessions"))
		}
		p.Weeks = int32(len(p.Sessions))
		fill(t, v.FieldByName("Status"))
		p.Strength, p.Size, p.Seed = rapid.Bool().Draw(t, "strength"), rapid.Bool().Draw(t, "size"), rapid.Uint32().Draw(t, "seed")
		return
	case *plan.Descriptor: // the only ones that a message is read to
		for i := range v.NumField() {
			fill(t, v.Field(i))
		}
		p.External = true
		return
	case *plan.ParamSpec:
		for i := range v.NumField() {
			if f := v.Type().Field(i).Name; f != "Min" && f != "Max" {
				fill(t, v.Field(i))
			}
		}
		p.Min, p.Max = rapid.Int64Range(-1e10, 1e10).Draw(t, "min"), rapid.Int64Range(-1e10, 1e10).Draw(t, "max")
		return
	case *plan.Target: // tracks are the engine's own
		fill(t, v.FieldByName("Role"))
		fill(t, v.FieldByName("Schemes"))
		return
	case *plan.OutlineWeek:
		fill(t, v.FieldByName("Kind"))
		fill(t, v.FieldByName("Dose"))
		fill(t, v.FieldByName("Sessions"))
		return
	case *plan.AdjustStep: // one unit for both ends, which has to be known
		l := someLoad.Draw(t, "from")
		p.From, p.Unit, p.To = l.Milli, l.Unit, someLoad.Draw(t, "to").Milli
		fill(t, reflect.ValueOf(&p.Reps).Elem())
		return
	}
	switch v.Kind() {
	case reflect.Struct:
		if set := v.FieldByName("Set"); set.IsValid() && v.NumField() == 2 { // an Opt
			if !rapid.Bool().Draw(t, "set") {
				return
			}
			set.SetBool(true)
			fill(t, v.Field(0))
			return
		}
		for i := range v.NumField() {
			fill(t, v.Field(i))
		}
	case reflect.Array:
		for i := range v.Len() {
			fill(t, v.Index(i))
		}
	case reflect.Slice:
		if n := rapid.IntRange(0, 2).Draw(t, "len"); n > 0 {
			v.Set(reflect.MakeSlice(v.Type(), n, n))
			for i := range n {
				fill(t, v.Index(i))
			}
		}
	case reflect.String:
		v.SetString(someText.Draw(t, "text"))
	case reflect.Bool:
		v.SetBool(rapid.Bool().Draw(t, "bool"))
	case reflect.Uint8: // of own exercises: a region, a standing, a joint's stress
		v.SetUint(uint64(rapid.IntRange(0, exercise.StressMarked).Draw(t, "uint8")))
	case reflect.Uint16: // their traits
		v.SetUint(uint64(rapid.IntRange(0, 1<<(traits-1)-1).Draw(t, "flags")))
	case reflect.Int32:
		v.SetInt(int64(rapid.Int32().Draw(t, "int32")))
	case reflect.Int64:
		v.SetInt(rapid.Int64Range(-1e13, 1e13).Draw(t, "int64"))
	case reflect.Uint32:
		v.SetUint(uint64(rapid.Uint32().Draw(t, "uint32")))
	default:
		t.Fatalf("no values for %s: give its enumeration an end", v.Type())
	}
	switch p := v.Addr().Interface().(type) {
	case *plan.Restriction: // exactly one of three
		keepOne(t, &p.Joint, &p.Pattern, &p.ExerciseID)
	case *plan.MovementSkill:
		keepOne(t, new(plan.Joint), &p.Pattern, &p.ExerciseID)
	case *plan.Balance: // in units of which none is smaller than a thousandth
		p.Gap %= 1e9
		for i := range p.Values {
			p.Values[i] %= 1e9
		}
	case *plan.Rework: // at most one of two
		if p.From.Set {
			p.FromWeek = 0
		}
	case *plan.Lock:
		if p.Weekday != plan.WeekdayUnspecified {
			p.Group = ""
		}
	case *plan.Swap:
		if p.Weekday != plan.WeekdayUnspecified {
			p.Group = ""
		}
	case *plan.Lift:
		if p.Carried.IsZero() {
			p.Carried = plan.Load{} // nothing has no unit
		}
	case *plan.Segment:
		slices.SortFunc(p.Params, func(a, b plan.Param) int { return cmp.Compare(a.Name, b.Name) })
		p.Params = slices.CompactFunc(p.Params, func(a, b plan.Param) bool { return a.Name == b.Name })
	}
}

func keepOne(t *rapid.T, j *plan.Joint, p *plan.Pattern, id *string) {
	k := rapid.IntRange(0, 2).Draw(t, "which")
	if k != 0 {
		*j = 0
	}
	if k != 1 {
		*p = 0
	}
	if k != 2 {
		*id = ""
	}
}

func TestRequestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var d plan.Request
		fill(t, reflect.ValueOf(&d).Elem())
		m := RequestToProto(d)
		back, err := RequestFromProto(m)
		require.NoError(t, err)
		require.Equal(t, d, back)

		// Through bytes and through JSON it is still the same.
		raw, err := proto.Marshal(m)
		require.NoError(t, err)
		var again pb.ProgramRequest
		require.NoError(t, proto.Unmarshal(raw, &again))
		back, err = RequestFromProto(&again)
		require.NoError(t, err)
		require.Equal(t, d, back)
		require.True(t, proto.Equal(m, throughJSON(t, m, &pb.ProgramRequest{})))
	})
}

func TestProgramRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := &plan.Program{}
		fill(t, reflect.ValueOf(d).Elem())
		d.Digest = ""
		require.NoError(t, d.Seal())
		m := ProgramToProto(d)
		back, err := ProgramFromProto(m)
		require.NoError(t, err)
		require.Equal(t, d, back)
		intact, err := back.Intact()
		require.NoError(t, err)
		require.True(t, intact)
		require.True(t, proto.Equal(m, throughJSON(t, m, &pb.Program{})))
	})
}

func TestPluginRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var d plan.Descriptor
		fill(t, reflect.ValueOf(&d).Elem())
		gotD, err := DescriptionFromProto(DescriptionToProto(&d))
		require.NoError(t, err)
		require.Equal(t, d, gotD)

		var o plan.ExternalOutline
		fill(t, reflect.ValueOf(&o).Elem())
		id, params, asked, err := OutlineRequestFromProto(OutlineRequestToProto(d.ID(), o.Params, &o.Asked))
		require.NoError(t, err)
		require.Equal(t, d.ID(), id)
		require.Equal(t, o.Params, params)
		require.Equal(t, o.Asked, asked)
		got, err := OutlineFromProto(OutlineToProto(&o.Outline))
		require.NoError(t, err)
		require.Equal(t, o.Outline, got)
	})
}

func TestReworkRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var how plan.Rework
		fill(t, reflect.ValueOf(&how).Elem())
		asked := ReworkToProto(&how)
		back, err := ReworkFromProto(asked)
		require.NoError(t, err)
		require.Equal(t, how, back)
		require.True(t, proto.Equal(asked, throughJSON(t, asked, &pb.Rework{})))

		var changes []plan.Change
		fill(t, reflect.ValueOf(&changes).Elem())
		m := ChangesToProto(changes)
		again, err := ChangesFromProto(m)
		require.NoError(t, err)
		require.Equal(t, changes, again)
		answer := &pb.RegenerateProgramResponse{Changes: m}
		require.True(t, proto.Equal(answer, throughJSON(t, answer, &pb.RegenerateProgramResponse{})))
	})
}

func TestStrengthRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var q plan.StrengthQuery
		fill(t, reflect.ValueOf(&q).Elem())
		asked := StrengthQueryToProto(&q)
		back, err := StrengthQueryFromProto(asked)
		require.NoError(t, err)
		require.Equal(t, q, back)
		require.True(t, proto.Equal(asked, throughJSON(t, asked, &pb.EstimateStrengthRequest{})))

		var d plan.StrengthReport
		fill(t, reflect.ValueOf(&d).Elem())
		m := StrengthReportToProto(&d)
		again, err := StrengthReportFromProto(m)
		require.NoError(t, err)
		require.Equal(t, d, again)
		require.True(t, proto.Equal(m, throughJSON(t, m, &pb.EstimateStrengthResponse{})))
	})
}

func TestComparisonRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var q plan.ComparisonQuery
		fill(t, reflect.ValueOf(&q).Elem())
		asked := ComparisonQueryToProto(&q)
		back, err := ComparisonQueryFromProto(asked)
		require.NoError(t, err)
		require.Equal(t, q, back)
		require.True(t, proto.Equal(asked, throughJSON(t, asked, &pb.CompareStrategiesRequest{})))

		var d plan.Comparison
		fill(t, reflect.ValueOf(&d).Elem())
		for i := range d.Arms { // whole programs have their own test; without a digest none is there
			d.Arms[i].Program = plan.Program{}
		}
		var plots []plan.Plot
		fill(t, reflect.ValueOf(&plots).Elem())
		m := ComparisonToProto(&d, plots)
		again, drawn, err := ComparisonFromProto(m)
		require.NoError(t, err)
		require.Equal(t, d, again)
		require.Equal(t, plots, drawn)
		require.True(t, proto.Equal(m, throughJSON(t, m, &pb.CompareStrategiesResponse{})))
	})
}

// throughJSON writes and reads a message without the rules of the schema, which
// random values break.
func throughJSON(t *rapid.T, m, into proto.Message) proto.Message {
	b, err := Marshal(m)
	require.NoError(t, err)
	n, err := parse(b)
	require.NoError(t, err)
	require.NoError(t, decode(n, into, map[string]int{}))
	return into
}

// Messages that nobody validated give faults, never a panic or a wrong value.
func TestUnvalidatedMessages(t *testing.T) {
	nan := func() float64 { z := 0.0; return z / z }()
	huge := 1e300
	for name, c := range map[string]struct {
		m    *pb.ProgramRequest
		path string
	}{
		"enum":      {&pb.ProgramRequest{Athlete: &pb.Athlete{Sex: 99}}, "athlete.sex"},
		"negative":  {&pb.ProgramRequest{Goals: []*pb.Goal{{}, {Muscle: -1}}}, "goals[1].muscle"},
		"list":      {&pb.ProgramRequest{Constraints: &pb.Constraints{Places: []*pb.Place{{Items: []pb.Equipment{1, 200}}}}}, "constraints.places[0].items[1]"},
		"nan":       {&pb.ProgramRequest{Athlete: &pb.Athlete{CurrentWeeklySetsEach: &nan}}, "athlete.current_weekly_sets_each"},
		"huge":      {&pb.ProgramRequest{Plan: &pb.Plan{Taper: &pb.Taper{KeepPercent: huge}}}, "plan.taper.keep_percent"},
		"no unit":   {&pb.ProgramRequest{Athlete: &pb.Athlete{BodyMass: &pb.Mass{}}}, "athlete.body_mass"},
		"no mass":   {&pb.ProgramRequest{Constraints: &pb.Constraints{Places: []*pb.Place{{Bars: []*pb.Bar{nil}}}}}, "constraints.places[0].bars[0].mass"},
		"date":      {&pb.ProgramRequest{Constraints: &pb.Constraints{StartDate: "2026-02-30"}}, "constraints.start_date"},
		"half sets": {&pb.ProgramRequest{Constraints: &pb.Constraints{Limits: &pb.Limits{MuscleSetsPerWeek: []*pb.MuscleSets{{Muscle: 1, Sets: 4.25}}}}}, "constraints.limits.muscle_sets_per_week[0].sets"},
	} {
		_, err := RequestFromProto(c.m)
		require.Equal(t, []string{c.path}, paths(t, err), name)
	}
	_, err := RequestFromProto(nil)
	require.NoError(t, err, "nothing is a request without wishes; the schema's rules refuse it")
	require.Error(t, Validate(&pb.ProgramRequest{}))
}

func TestAdjustmentsInOneUnit(t *testing.T) {
	m := ProgramToProto(fullProgram(t))
	m.Phases[0].Weeks[0].Sessions[0].Exercises[0].Sets[1].Adjust[0].To = changeTo(5, plan.Pound)
	_, err := ProgramFromProto(m)
	require.Equal(t, []string{"phases[0].weeks[0].sessions[0].exercises[0].sets[1].adjust[0].to"}, paths(t, err))
}

func TestParameters(t *testing.T) {
	for text, want := range map[string]plan.Value{
		`1-3`: {Kind: plan.ValueRange, Lo: 1, Hi: 3}, `"8–12"`: {Kind: plan.ValueRange, Lo: 8, Hi: 12}, `8 - 12`: {Kind: plan.ValueRange, Lo: 8, Hi: 12},
		`-3--1`: {Kind: plan.ValueRange, Lo: -3, Hi: -1}, `2.5`: {Kind: plan.ValueNumber, Milli: 2500}, `0.1`: {Kind: plan.ValueNumber, Milli: 100},
		`heavy`: {Kind: plan.ValueText, Text: "heavy"}, `2026-01-05`: {Kind: plan.ValueText, Text: "2026-01-05"}, `true`: {Kind: plan.ValueBool, Bool: true},
		`[3, 2, 1]`: {Kind: plan.ValueList, List: []int32{3, 2, 1}}, `"5"`: {Kind: plan.ValueText, Text: "5"},
	} {
		d := readOK(t, minimal+"plan: {tracks: [{segments: [{strategy: s, parameters: {p: "+text+"}}]}]}\n")
		require.Equal(t, []plan.Param{{Name: "p", Value: want}}, d.Plan.Tracks[0].Segments[0].Params, text)
	}
	for _, text := range []string{`{a: 1}`, `[1.5]`, `[a]`, `null`, `0.0001`, `1e18`} {
		m, err := ReadRequest([]byte(minimal + "plan: {tracks: [{segments: [{strategy: s, parameters: {p: " + text + "}}]}]}\n"))
		require.NoError(t, err)
		_, err = RequestFromProto(m)
		require.Error(t, err, text)
		require.Contains(t, fmt.Sprint(paths(t, err)), "plan.tracks[0].segments[0].parameters.p", text)
	}
}
