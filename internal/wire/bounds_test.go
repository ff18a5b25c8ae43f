package wire

import (
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/types/known/structpb"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/fault"
)

func violations(t *testing.T, err error) []fault.Violation {
	t.Helper()
	f, ok := fault.As(err)
	require.True(t, ok, "%v", err)
	require.Equal(t, fault.Invalid, f.Kind)
	return f.Violations
}

func minimalRequest(t *testing.T) *pb.ProgramRequest {
	m := &pb.GenerateProgramRequest{}
	_, err := ReadJSON([]byte(minimalBody), m)
	require.NoError(t, err)
	require.NoError(t, Validate(m))
	return m.GetRequest()
}

// What is wrong with the elements of a list that is too long is not of interest.
func TestValidateCountsLongLists(t *testing.T) {
	r := minimalRequest(t)
	r.Athlete.Performances = make([]*pb.Performance, 300_000)
	for i := range r.Athlete.Performances {
		r.Athlete.Performances[i] = &pb.Performance{}
	}
	list := violations(t, Validate(r))
	require.Len(t, list, 1)
	require.Equal(t, "athlete.performances", list[0].Field)
	require.Equal(t, ReasonTooMany, list[0].Reason)
}

// A program may be as wrong as a few megabytes allow; so much is listed.
func TestValidateListsNoMoreThanAHundred(t *testing.T) {
	weeks := func(n int) []*pb.Week {
		out := make([]*pb.Week, n)
		for i := range out {
			out[i] = &pb.Week{Sessions: []*pb.Session{{}, {}, {}, {}}}
		}
		return out
	}
	p := &pb.Program{}
	for range 50 {
		p.Phases = append(p.Phases, &pb.Phase{Weeks: weeks(100)})
	}
	list := violations(t, Validate(p))
	require.Len(t, list, maxFaults+1)
	last := list[maxFaults]
	require.Empty(t, last.Field)
	require.Equal(t, ReasonTooMany, last.Reason)
	require.Contains(t, last.Says, "more faults")
}

// A fault is found though everything before it is right.
func TestValidateFindsTheLastFault(t *testing.T) {
	r := minimalRequest(t)
	p := &pb.Program{Versions: &pb.Versions{}, Request: r}
	for range 50 {
		phase := &pb.Phase{Name: "x"}
		for range 104 {
			w := &pb.Week{Number: 1, Kind: pb.WeekKind_WEEK_KIND_TRAINING}
			for range 14 {
				w.Sessions = append(w.Sessions, &pb.Session{Kind: pb.SessionKind_SESSION_KIND_TRAINING})
			}
			phase.Weeks = append(phase.Weeks, w)
		}
		p.Phases = append(p.Phases, phase)
	}
	require.NoError(t, Validate(p))
	p.Phases[49].Weeks[103].Sessions[13].DayIndex = -1
	list := violations(t, Validate(p))
	require.Len(t, list, 1)
	require.Equal(t, "phases[49].weeks[103].sessions[13].day_index", list[0].Field)
}

func TestValidateNamesElementsOfEnumLists(t *testing.T) {
	r := minimalRequest(t)
	r.Constraints.Places[0].Items = []pb.Equipment{pb.Equipment_EQUIPMENT_BANDS, 0, 1_000_000}
	list := violations(t, Validate(r))
	require.Len(t, list, 2)
	require.Equal(t, "constraints.places[0].items[1]", list[0].Field)
	require.Equal(t, ReasonRequired, list[0].Reason)
	require.Contains(t, list[0].Says, "EQUIPMENT_BANDS")
	require.Equal(t, "constraints.places[0].items[2]", list[1].Field)
	require.Equal(t, ReasonUnknownValue, list[1].Reason)
	require.Contains(t, list[1].Says, "1000000 is no value of Equipment")
}

// A oneof is no field: the fault is that of the message around it.
func TestValidateNamesTheMessageOfAOneof(t *testing.T) {
	r := minimalRequest(t)
	r.Athlete.BodyMass = &pb.Mass{}
	r.Athlete.Restrictions = []*pb.Restriction{{}}
	list := violations(t, Validate(r))
	require.Len(t, list, 2)
	require.Equal(t, fault.Violation{Field: "athlete.body_mass", Reason: ReasonRequired, Says: "needs one of kilograms, pounds"}, list[0])
	require.Equal(t, fault.Violation{Field: "athlete.restrictions[0]", Reason: ReasonRequired, Says: "needs one of joint, pattern, exercise_id"}, list[1])
	list = violations(t, Validate(&pb.Mass{}))
	require.Equal(t, []fault.Violation{{Reason: ReasonRequired, Says: "needs one of kilograms, pounds"}}, list)
}

func TestValidateRepeatsLittleOfALongDate(t *testing.T) {
	r := minimalRequest(t)
	r.Constraints.StartDate = strings.Repeat("9", 1_000_000)
	list := violations(t, Validate(r))
	require.Len(t, list, 1)
	require.Equal(t, ReasonDate, list[0].Reason)
	require.Less(t, len(list[0].Says), 300)
}

func TestParametersAreBounded(t *testing.T) {
	const at = "plan.tracks[0].segments[0].parameters"
	many := map[string]*structpb.Value{}
	for i := range maxParams + 1 {
		many["p"+strconv.Itoa(i)] = structpb.NewNumberValue(1)
	}
	list := &structpb.ListValue{}
	for range maxParamItems + 1 {
		list.Values = append(list.Values, structpb.NewNumberValue(1))
	}
	long := strings.Repeat("a", 100_000)
	for name, c := range map[string]struct {
		given         map[string]*structpb.Value
		field, reason string
	}{
		"many":      {many, at, ReasonTooMany},
		"long name": {map[string]*structpb.Value{long: structpb.NewNumberValue(1)}, at, ReasonFormat},
		"odd name":  {map[string]*structpb.Value{"a.b[0]\n": structpb.NewNumberValue(1)}, at, ReasonFormat},
		"no name":   {map[string]*structpb.Value{"": structpb.NewNumberValue(1)}, at, ReasonFormat},
		"long text": {map[string]*structpb.Value{"p": structpb.NewStringValue(long)}, at + ".p", ReasonTooLong},
		"long list": {map[string]*structpb.Value{"p": structpb.NewListValue(list)}, at + ".p", ReasonTooMany},
	} {
		t.Run(name, func(t *testing.T) {
			r := minimalRequest(t)
			r.Plan = &pb.Plan{Tracks: []*pb.Track{{Segments: []*pb.Segment{{Strategy: "x", Parameters: &structpb.Struct{Fields: c.given}}}}}}
			_, err := RequestFromProto(r)
			got := violations(t, err)
			require.Len(t, got, 1)
			require.Equal(t, c.field, got[0].Field)
			require.Equal(t, c.reason, got[0].Reason)
			require.Less(t, len(got[0].Says), 300)
		})
	}
}
