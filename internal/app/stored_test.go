package app

import (
	"context"
	"crypto/rand"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/store/memory"
)

// stored runs a test on a server that asks for keys, over each store.
func stored(t *testing.T, test func(t *testing.T, r *running, admin string)) {
	t.Run("memory", func(t *testing.T) {
		r, admin := lockedWith(t, quick(t), over(func(context.Context) (service.Store, error) { return memory.New(now), nil }))
		test(t, r, admin)
	})
	t.Run("sqlite", func(t *testing.T) {
		r, admin := lockedWith(t, quick(t))
		test(t, r, admin)
	})
	t.Run("postgres", func(t *testing.T) {
		d, ok := postgresData(t)
		if !ok {
			return
		}
		r, admin := lockedWith(t, quick(t), func(c *Config) { c.Data = d })
		test(t, r, admin)
	})
}

// quick is an engine that spends little on a program: what is tried is not how good it is.
func quick(t testing.TB) *engine.Engine {
	e, err := NewEngine()
	require.NoError(t, err)
	return e.WithBudget(fuzzBudget)
}

// over has a server use a store that is opened by other means than its configuration.
func over(open func(context.Context) (service.Store, error)) func(*Config) {
	return func(c *Config) {
		c.Data = Data{}
		c.open = func(ctx context.Context) (s service.Store, p service.Pepper, err error) {
			if _, err = rand.Read(p[:]); err != nil {
				return nil, p, err
			}
			s, err = open(ctx)
			return s, p, err
		}
	}
}

func adult() *pb.AthleteRecord {
	return &pb.AthleteRecord{Profile: &pb.Athlete{AgeBand: pb.AgeBand_AGE_BAND_ADULT}}
}

// twoDays is the smallest program that is fast to make.
func twoDays() *pb.Constraints {
	return &pb.Constraints{
		Days: []*pb.Day{{Minutes: 45}, {Minutes: 45}}, Places: []*pb.Place{{Preset: pb.EquipmentPreset_EQUIPMENT_PRESET_FULL_GYM}}, Weeks: new(int32(4)),
	}
}

// holdings are something of every kind that a tenant keeps, some of it deleted.
type holdings struct {
	tenant string
	key    string                                  // may do everything
	names  map[string][]string                     // by type of resource
	sample map[protoreflect.FullName]proto.Message // by message: as stored
	own    string                                  // id of an exercise of its own
	caller string                                  // caller id of its first athlete
	texts  []string                                // that stand nowhere else
}

func (h *holdings) text(what string) string {
	s := fmt.Sprintf("%s-%s-%d", h.tenant, what, len(h.texts))
	h.texts = append(h.texts, s)
	return s
}

func (h *holdings) keep(m proto.Message) {
	if _, ok := h.sample[m.ProtoReflect().Descriptor().FullName()]; !ok {
		h.sample[m.ProtoReflect().Descriptor().FullName()] = m
	}
	r, _ := proto.GetExtension(m.ProtoReflect().Descriptor().Options(), annotations.E_Resource).(*annotations.ResourceDescriptor)
	name := m.ProtoReflect().Get(m.ProtoReflect().Descriptor().Fields().ByName("name")).String()
	h.names[r.GetType()] = append(h.names[r.GetType()], name)
}

// furnish keeps something of every kind in a tenant, over the API. Of what can be deleted
// the last one is.
func furnish(t testing.TB, conn grpc.ClientConnInterface, tenant, key string) *holdings {
	t.Helper()
	h := &holdings{tenant: tenant, key: key, names: map[string][]string{}, sample: map[protoreflect.FullName]proto.Message{}}
	ctx := as(key)
	ok := func(err error) {
		t.Helper()
		require.NoError(t, err)
	}
	a, p, m := pb.NewAthleteServiceClient(conn), pb.NewPerformanceServiceClient(conn), pb.NewMeasurementServiceClient(conn)
	l, e, s := pb.NewSessionLogServiceClient(conn), pb.NewOwnExerciseServiceClient(conn), pb.NewPlanServiceClient(conn)
	g, k := pb.NewProgramRecordServiceClient(conn), pb.NewAccessServiceClient(conn)

	base, err := pb.NewCatalogueServiceClient(conn).GetExercise(ctx, &pb.GetExerciseRequest{Name: "exercises/cable-crunch"})
	ok(err)
	h.own = "own-" + tenant + "-crunch"
	base.Exercise.Id, base.Exercise.DisplayName = h.own, h.text("exercise")
	own, err := e.CreateOwnExercise(ctx, &pb.CreateOwnExerciseRequest{OwnExercise: &pb.OwnExercise{Exercise: base.GetExercise()}})
	ok(err)
	h.keep(own.GetOwnExercise())
	saved, err := s.CreatePlan(ctx, &pb.CreatePlanRequest{Plan: &pb.PlanRecord{
		DisplayName: h.text("plan"), Plan: &pb.Plan{Tracks: []*pb.Track{{Segments: []*pb.Segment{{Strategy: "undulating"}}}}},
	}})
	ok(err)
	h.keep(saved.GetPlan())

	for i := range 2 {
		who := adult()
		who.Profile.CallerId, who.Profile.DisplayName = h.text("caller"), h.text("name")
		if i == 0 {
			h.caller = who.GetProfile().GetCallerId()
		}
		made, err := a.CreateAthlete(ctx, &pb.CreateAthleteRequest{Athlete: who})
		ok(err)
		athlete := made.GetAthlete().GetName()
		h.keep(made.GetAthlete())
		shown, err := p.CreatePerformance(ctx, &pb.CreatePerformanceRequest{Parent: athlete, Performance: &pb.PerformanceRecord{
			Performance: &pb.Performance{ExerciseId: "back-squat", Reps: 5, Rir: new(int32(1)), Load: &pb.Mass{Unit: &pb.Mass_Kilograms{Kilograms: 100}}, Date: "2026-01-05"},
		}})
		ok(err)
		h.keep(shown.GetPerformance())
		taken, err := m.CreateMeasurement(ctx, &pb.CreateMeasurementRequest{Parent: athlete, Measurement: &pb.Measurement{
			Quantity: h.text("quantity"), Date: "2026-01-05", Value: 80.25, Note: h.text("note"),
		}})
		ok(err)
		h.keep(taken.GetMeasurement())
		program, err := g.CreateProgram(ctx, &pb.CreateProgramRequest{Parent: athlete, Program: &pb.ProgramRecord{DisplayName: h.text("program")}, Constraints: twoDays()})
		ok(err)
		revised, err := g.ReviseProgram(ctx, &pb.ReviseProgramRequest{Name: program.GetProgram().GetName(), Rework: &pb.Rework{From: &pb.Rework_FromWeek{FromWeek: 3}}, Reason: h.text("reason")})
		ok(err)
		h.keep(revised.GetProgram())
		h.keep(program.GetRevision())
		h.keep(revised.GetRevision())
		log, err := l.CreateSessionLog(ctx, &pb.CreateSessionLogRequest{Parent: athlete, SessionLog: &pb.SessionLog{
			Date: "2026-01-05", ProgramRevision: revised.GetRevision().GetName(), Week: 1, Session: 1, Note: h.text("log"),
			Exercises: []*pb.LoggedExercise{{ExerciseId: "back-squat", Note: h.text("set"), Sets: []*pb.LoggedSet{{Reps: 5}}}},
		}})
		ok(err)
		h.keep(log.GetSessionLog())
		if i == 0 {
			continue
		}
		_, err = m.DeleteMeasurement(ctx, &pb.DeleteMeasurementRequest{Name: taken.GetMeasurement().GetName()})
		ok(err)
		_, err = g.DeleteProgram(ctx, &pb.DeleteProgramRequest{Name: program.GetProgram().GetName()})
		ok(err)
		_, err = a.DeleteAthlete(ctx, &pb.DeleteAthleteRequest{Name: athlete})
		ok(err)
	}
	begun, err := pb.NewBulkServiceClient(conn).GeneratePrograms(ctx, &pb.GenerateProgramsRequest{DisplayName: h.text("bulk"), Athletes: h.names["phasewright/Athlete"][:1]})
	ok(err)
	// Not every server of a test has workers, and what is looked at twice has to stay.
	_, err = pb.NewOperationServiceClient(conn).CancelOperation(ctx, &pb.CancelOperationRequest{Name: begun.GetName()})
	ok(err)
	h.names["phasewright/Operation"] = append(h.names["phasewright/Operation"], begun.GetName())
	trial := pb.NewTrialServiceClient(conn)
	protocol := strengthFirst()
	protocol.DisplayName, protocol.Eligibility = h.text("trial"), nil
	for i := range 2 {
		drafted, err := trial.CreateTrial(ctx, &pb.CreateTrialRequest{Trial: &pb.Trial{Protocol: protocol}})
		ok(err)
		if i > 0 {
			_, err = trial.DeleteTrial(ctx, &pb.DeleteTrialRequest{Name: drafted.GetTrial().GetName()})
			ok(err)
			h.names["phasewright/Trial"] = append(h.names["phasewright/Trial"], drafted.GetTrial().GetName())
			break
		}
		frozen, err := trial.FreezeTrial(ctx, &pb.FreezeTrialRequest{Name: drafted.GetTrial().GetName()})
		ok(err)
		joined, err := trial.JoinTrial(ctx, &pb.JoinTrialRequest{Name: drafted.GetTrial().GetName(), Athlete: h.names["phasewright/Athlete"][0], Consent: true, Constraints: twoDays()})
		ok(err)
		h.keep(joined.GetParticipant())
		v := 25.5
		_, err = trial.RecordTrialMeasurement(ctx, &pb.RecordTrialMeasurementRequest{
			Name: joined.GetParticipant().GetName(), Outcome: "thickness", Time: pb.MeasurementTime_MEASUREMENT_TIME_BASELINE, Value: &v, Assessor: h.text("assessor"),
		})
		ok(err)
		_, err = trial.RecordIncident(ctx, &pb.RecordIncidentRequest{Name: joined.GetParticipant().GetName(), Kind: pb.IncidentKind_INCIDENT_KIND_DEVIATION, Description: h.text("incident")})
		ok(err)
		h.keep(frozen.GetTrial())
	}
	made, err := k.CreateApiKey(ctx, &pb.CreateApiKeyRequest{ApiKey: &pb.ApiKey{DisplayName: h.text("key"), Scopes: []pb.Scope{pb.Scope_SCOPE_READ}}})
	ok(err)
	h.keep(made.GetApiKey())
	events, err := k.ListAuditEvents(ctx, &pb.ListAuditEventsRequest{})
	ok(err)
	h.keep(events.GetAuditEvents()[0])
	return h
}

// ids gives every id in the holdings' names.
func (h *holdings) ids() (out []string) {
	for _, all := range h.names {
		for _, name := range all {
			for _, part := range strings.Split(name, "/") {
				if _, err := service.ParseID(part); err == nil {
					out = append(out, part)
				}
			}
		}
	}
	return out
}

// tenant makes a tenant with a key that may do everything.
func (r *running) tenant(t testing.TB, name string) string {
	t.Helper()
	made, err := r.access.Found(context.Background(), service.Tenant(name), service.Order{Scopes: service.Scopes()})
	require.NoError(t, err)
	return made.Secret
}
