package wire

import (
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/fault"
)

// updatable are the kinds that updates change, with a stored one and another that was
// sent. Both have every field that a caller may set at the top.
func updatable(t *testing.T) map[string][2]proto.Message {
	head := func(m proto.Message, name string) proto.Message {
		r := m.ProtoReflect()
		set := func(f string, v protoreflect.Value) { r.Set(r.Descriptor().Fields().ByName(protoreflect.Name(f)), v) }
		set("name", protoreflect.ValueOfString(name))
		set("etag", protoreflect.ValueOfString(name))
		for i, f := range []string{"create_time", "update_time", "delete_time"} {
			set(f, protoreflect.ValueOfMessage((&timestamppb.Timestamp{Seconds: int64(len(name) + i)}).ProtoReflect()))
		}
		return m
	}
	rir := int32(0)
	both := func(a, b proto.Message) [2]proto.Message {
		return [2]proto.Message{head(a, "stored"), head(b, "what was sent")}
	}
	return map[string][2]proto.Message{
		"athlete": both(
			&pb.AthleteRecord{Profile: &pb.Athlete{CallerId: "1", AgeBand: pb.AgeBand_AGE_BAND_ADULT, BodyMass: &pb.Mass{Unit: &pb.Mass_Kilograms{Kilograms: 80}}}},
			&pb.AthleteRecord{Profile: &pb.Athlete{Sex: pb.Sex_SEX_MALE, BodyMass: &pb.Mass{Unit: &pb.Mass_Pounds{Pounds: 180}}}}),
		"performance": both(
			&pb.PerformanceRecord{Performance: &pb.Performance{ExerciseId: "back-squat", Reps: 5, Rir: &rir}},
			&pb.PerformanceRecord{Performance: &pb.Performance{ExerciseId: "bench-press", Date: "2026-01-05"}}),
		"session log": both(
			&pb.SessionLog{Date: "2026-01-05", Week: 1, Session: 1, ProgramRevision: "p", Note: "a", Exercises: []*pb.LoggedExercise{{ExerciseId: "a"}}},
			&pb.SessionLog{Date: "2026-01-06", Exercises: []*pb.LoggedExercise{{ExerciseId: "b"}, {ExerciseId: "c"}}}),
		"measurement": both(
			&pb.Measurement{Quantity: "body mass", Date: "2026-01-05", Value: 80, Unit: "kg", Note: "a"},
			&pb.Measurement{Quantity: "waist", Value: 90}),
		"own exercise": both(
			&pb.OwnExercise{Exercise: &pb.Exercise{Name: "exercises/a", Id: "a", DisplayName: "A", SetupSeconds: 60}},
			&pb.OwnExercise{Exercise: &pb.Exercise{Name: "exercises/b", DisplayName: "B", Traits: []pb.ExerciseTrait{1}}}),
		"plan": both(
			&pb.PlanRecord{DisplayName: "a", Plan: &pb.Plan{LeadIn: &pb.LeadIn{Weeks: 2, Sets: 3}, Shorten: true}},
			&pb.PlanRecord{Plan: &pb.Plan{LeadIn: &pb.LeadIn{Weeks: 4}}}),
		"program": both(
			&pb.ProgramRecord{DisplayName: "a", LatestRevision: "1"},
			&pb.ProgramRecord{DisplayName: "b", LatestRevision: "2"}),
	}
}

// leaves lists the paths of a message down to what is taken as a whole.
func leaves(d protoreflect.MessageDescriptor, above string, depth int) (out []string) {
	for i := range d.Fields().Len() {
		f := d.Fields().Get(i)
		p := join(above, string(f.Name()))
		out = append(out, p)
		if stepsInto(f) && depth > 0 {
			out = append(out, leaves(f.Message(), p, depth-1)...)
		}
	}
	return out
}

// at finds the value of a path, invalid where there is none, and whether the server gives it.
func valueAt(m protoreflect.Message, path string) (v any, ofServer bool) {
	d := m.Descriptor()
	for rest := path; ; {
		name, tail := rest, ""
		for i := range rest {
			if rest[i] == '.' {
				name, tail = rest[:i], rest[i+1:]
				break
			}
		}
		f := d.Fields().ByName(protoreflect.Name(name))
		ofServer = ofServer || given(f)
		has := m != nil && m.Has(f)
		if tail == "" {
			if !has {
				return nil, ofServer
			}
			return m.Get(f), ofServer
		}
		d, rest = f.Message(), tail
		if has {
			m = m.Get(f).Message()
		} else {
			m = nil
		}
	}
}

func same(a, b any) bool {
	x, ok1 := a.(protoreflect.Value)
	y, ok2 := b.(protoreflect.Value)
	return ok1 == ok2 && (!ok1 || x.Equal(y))
}

func TestMergeOfEveryPath(t *testing.T) {
	tried := 0
	for name, c := range updatable(t) {
		for _, path := range leaves(c[0].ProtoReflect().Descriptor(), "", 2) {
			stored := proto.Clone(c[0])
			require.NoError(t, Merge(stored, c[1], &fieldmaskpb.FieldMask{Paths: []string{path}}), "%s %s", name, path)
			got, _ := valueAt(stored.ProtoReflect(), path)
			before, ofServer := valueAt(c[0].ProtoReflect(), path)
			want, _ := valueAt(c[1].ProtoReflect(), path)
			if ofServer {
				want = before
			}
			require.True(t, same(want, got), "%s: %s is %v, not %v", name, path, got, want)
			tried++
		}
	}
	require.Greater(t, tried, 100)
}

func TestMerge(t *testing.T) {
	for name, c := range updatable(t) {
		t.Run(name, func(t *testing.T) {
			d := c[0].ProtoReflect().Descriptor()

			whole := proto.Clone(c[0])
			require.NoError(t, Merge(whole, c[1], &fieldmaskpb.FieldMask{Paths: []string{"*"}}))
			part := proto.Clone(c[0])
			require.NoError(t, Merge(part, c[1], nil))
			for i := range d.Fields().Len() {
				f := string(d.Fields().Get(i).Name())
				before, ofServer := valueAt(c[0].ProtoReflect(), f)
				sent, _ := valueAt(c[1].ProtoReflect(), f)
				all, _ := valueAt(whole.ProtoReflect(), f)
				some, _ := valueAt(part.ProtoReflect(), f)
				switch {
				case ofServer:
					require.True(t, same(before, all) && same(before, some), f)
				default:
					require.True(t, same(sent, all), f)
				}
				if sent == nil {
					require.True(t, same(before, some), "%s is not sent, so it stays", f)
				}
			}

			for _, bad := range []string{"nonsense", "name.nonsense", "", "create_time.seconds"} {
				kept := proto.Clone(c[0])
				err := Merge(kept, c[1], &fieldmaskpb.FieldMask{Paths: []string{"etag", bad}})
				f, ok := fault.As(err)
				require.True(t, ok, "%q", bad)
				require.Equal(t, "update_mask", f.Violations[0].Field)
				require.Contains(t, f.Violations[0].Says, `"`+bad+`"`)
				require.True(t, proto.Equal(c[0], kept), "nothing was changed")
			}
			require.Error(t, Merge(proto.Clone(c[0]), c[1], &fieldmaskpb.FieldMask{Paths: []string{"*", "etag"}}))
		})
	}
}

// Without a mask a message inside is merged field by field.
func TestMergeGoesInside(t *testing.T) {
	c := updatable(t)["athlete"]
	require.NoError(t, Merge(c[0], c[1], nil))
	p := c[0].(*pb.AthleteRecord).GetProfile()
	require.Equal(t, "1", p.GetCallerId())
	require.Equal(t, pb.Sex_SEX_MALE, p.GetSex())
	require.Equal(t, 180.0, p.GetBodyMass().GetPounds())
	require.Zero(t, p.GetBodyMass().GetKilograms())
}

func TestMasksAsText(t *testing.T) {
	for text, want := range map[string][]string{
		`"*"`: {"*"}, `"profile.bodyMass,profile.body_mass"`: {"profile.body_mass", "profile.body_mass"}, `""`: nil, `"name, etag"`: {"name", "etag"},
	} {
		r := &pb.UpdateAthleteRequest{}
		_, err := ReadJSON([]byte(`{"updateMask":`+text+`}`), r)
		require.NoError(t, err)
		require.Equal(t, want, r.GetUpdateMask().GetPaths(), text)
	}
	for _, text := range []string{`5`, `["a"]`, `"a..b"`, `"a b"`, `"a,"`, `{"paths":["a"]}`} {
		_, err := ReadJSON([]byte(`{"updateMask":`+text+`}`), &pb.UpdateAthleteRequest{})
		require.Equal(t, ReasonType, violations(t, err)[0].Reason, text)
	}
	for text, ok := range map[string]bool{`"2026-01-05T18:30:00.123Z"`: true, `"2026-01-05"`: false, `5`: false, `{}`: false} {
		_, err := ReadJSON([]byte(`{"athlete":{"createTime":`+text+`}}`), &pb.UpdateAthleteRequest{})
		require.Equal(t, ok, err == nil, text)
	}
}

func TestNames(t *testing.T) {
	const id, other = "0198b2c0-0000-7000-8000-000000000001", "0198b2c0-0000-7000-8000-000000000002"
	for name, pattern := range map[string]string{
		"athletes/" + id: AthletePattern,
		"athletes/" + id + "/performances/" + other:               PerformancePattern,
		"athletes/" + id + "/programs/" + other + "/revisions/12": RevisionPattern,
		"ownExercises/" + id:                                      OwnExercisePattern,
		"athletes/" + id + "/sessionLogs/" + other:                SessionLogPattern,
	} {
		n, err := ParseName(pattern, "name", name)
		require.NoError(t, err, name)
		require.Equal(t, name, n.String(pattern))
	}
	for _, name := range []string{"", "athletes", "athletes/", "athletes/x", "athletes/" + id + "/", "/athletes/" + id, "plans/" + id, "athletes/0198B2C0-0000-7000-8000-000000000001", "athletes/0198b2c0-0000-4000-8000-000000000001"} {
		_, err := ParseName(AthletePattern, "name", name)
		require.Equal(t, ReasonName, violations(t, err)[0].Reason, name)
	}
	for _, number := range []string{"0", "-1", "01", "+1", "x", "", "99999999999"} {
		_, err := ParseName(RevisionPattern, "name", "athletes/"+id+"/programs/"+other+"/revisions/"+number)
		require.Error(t, err, number)
	}
}
