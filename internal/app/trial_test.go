package app

import (
	"bytes"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/trial/conduct"
	"github.com/phasewright/phasewright/engine/trial/draw"
)

// trialLab is a trial of invented athletes, run through REST alone.
type trialLab struct {
	t      *testing.T
	r      *running
	key    string // may do everything
	tester string // may only record measurements
	name   string
	z      draw.Normal
	people []*subject
}

// subject is an invented athlete: what they bring, and what a millimetre gauge would show.
type subject struct {
	athlete, name string
	baseline      float64
	arm           string
}

// call sends a request to a method's route and reads the answer.
func (l *trialLab) call(key string, in, out proto.Message) {
	l.t.Helper()
	code, text := l.send(key, in)
	require.Equal(l.t, http.StatusOK, code, text)
	require.NoError(l.t, protojson.Unmarshal([]byte(text), out), text)
}

// send gives the code and text of an answer.
func (l *trialLab) send(key string, in proto.Message) (int, string) {
	l.t.Helper()
	verb, target, body, err := asREST(methodOf(l.t, in), in)
	require.NoError(l.t, err)
	q, err := http.NewRequest(verb, l.r.url(target), strings.NewReader(body))
	require.NoError(l.t, err)
	q.Header.Set("Authorization", "Bearer "+key)
	if body != "" {
		q.Header.Set("Content-Type", "application/json")
	}
	a, err := http.DefaultClient.Do(q)
	require.NoError(l.t, err)
	defer a.Body.Close()
	var text bytes.Buffer
	_, err = text.ReadFrom(a.Body)
	require.NoError(l.t, err)
	return a.StatusCode, text.String()
}

// methodOf is the method that a request is of.
func methodOf(t testing.TB, in proto.Message) protoreflect.MethodDescriptor {
	for _, m := range methods(t) {
		if m.Input().FullName() == in.ProtoReflect().Descriptor().FullName() {
			return m
		}
	}
	t.Fatalf("no method takes %T", in)
	return nil
}

func oneStrategy(name string) *pb.Plan {
	return &pb.Plan{Tracks: []*pb.Track{{Segments: []*pb.Segment{{Strategy: name}}}}}
}

// How much athletes and measurements scatter, in mm. Arms are drawn anew in every run, so an
// answer has to be five standard errors (of 0.1) clear of being another one.
const (
	gainSD  = 0.25
	errorSD = 0.2
)

// strengthFirst asks whether a strength phase first builds more muscle. The trial and all
// who are in it are invented.
func strengthFirst() *pb.TrialProtocol {
	return &pb.TrialProtocol{
		DisplayName: "Strength first, an invented trial",
		Question:    "Does a strength phase before a size phase build more muscle in eight weeks than size work throughout?",
		Unit:        pb.RandomisationUnit_RANDOMISATION_UNIT_ATHLETE,
		Arms: []*pb.TrialArm{
			{Id: "size", DisplayName: "Size throughout", Plan: oneStrategy("constant")},
			{Id: "strength-first", DisplayName: "Strength, then size", Plan: oneStrategy("strength-then-size"), SetsOfOneToThree: true},
		},
		LeadInWeeks: 3, LeadIn: oneStrategy("constant"), Weeks: 8,
		Eligibility: &pb.TrialEligibility{Lift: "back-squat", LiftRatio: 1.5, TrainingMonths: 24},
		Outcomes: []*pb.TrialOutcome{{
			Id: "thickness", DisplayName: "Thickness, front of the thigh", Unit: "mm", Method: "ultrasound, half way from hip to knee, mean of three pictures",
			SmallestEffect: 0.75, Prior: &pb.TrialPrior{StandardDeviation: 1},
		}},
		TestDays:   &pb.TrialTestDays{MinHours: 48, MaxHours: 96, FamiliarisationSessions: 1},
		Allocation: &pb.AllocationRule{Scheme: pb.AllocationScheme_ALLOCATION_SCHEME_MATCHED_PAIRS, Covariates: []string{"thickness at baseline", "squat over body mass"}},
		Analysis:   &pb.TrialAnalysisPlan{PlannedStandardError: 0.08},
	}
}

// begin freezes the protocol after looking at what the trial would likely show.
func (l *trialLab) begin() {
	made := &pb.CreateTrialResponse{}
	l.call(l.key, &pb.CreateTrialRequest{Trial: &pb.Trial{Protocol: strengthFirst()}}, made)
	l.name = made.GetTrial().GetName()
	require.True(l.t, proto.Equal(made.GetTrial().GetProtocol().GetArms()[1], &pb.TrialArm{
		Id: "strength-first", DisplayName: "Strength, then size", Ratio: 1, Plan: oneStrategy("strength-then-size@1"), SetsOfOneToThree: true,
	}))
	require.NotEmpty(l.t, made.GetTrial().GetWarnings())
	seen := &pb.PredictTrialResponse{}
	l.call(l.key, &pb.PredictTrialRequest{Name: l.name, Units: 60, Spread: 3, TypicalError: new(0.4), Gains: []float64{1, 2}, Responses: []float64{0.3, 0.3}, Runs: 200}, seen)
	require.InDelta(l.t, 1, seen.GetPrediction().GetDifference(), 1e-9)
	require.Greater(l.t, seen.GetPrediction().GetPower().GetValue(), 0.8)
	frozen := &pb.FreezeTrialResponse{}
	l.call(l.key, &pb.FreezeTrialRequest{Name: l.name, Etag: made.GetTrial().GetEtag()}, frozen)
	require.Equal(l.t, pb.TrialState_TRIAL_STATE_ENROLLING, frozen.GetTrial().GetState())
	require.Len(l.t, frozen.GetTrial().GetKeyCommitment(), 64)
	require.Empty(l.t, frozen.GetTrial().GetKey())
}

// enrol takes one invented athlete from the door to enrolment.
func (l *trialLab) enrol(i int, start string) {
	squat, mass := 140+float64(i%7)*2.5, 80.0
	who := adult()
	who.Profile.DisplayName, who.Profile.TrainingAgeMonths = fmt.Sprintf("Invented %d", i), new(int32(30))
	who.Profile.BodyMass = &pb.Mass{Unit: &pb.Mass_Kilograms{Kilograms: mass}}
	made := &pb.CreateAthleteResponse{}
	l.call(l.key, &pb.CreateAthleteRequest{Athlete: who}, made)
	single := &pb.Performance{ExerciseId: "back-squat", Reps: 1, Rir: new(int32(0)), Load: &pb.Mass{Unit: &pb.Mass_Kilograms{Kilograms: squat}}, Date: start}
	l.call(l.key, &pb.CreatePerformanceRequest{Parent: made.GetAthlete().GetName(), Performance: &pb.PerformanceRecord{Performance: single}}, &pb.CreatePerformanceResponse{})
	x := &subject{athlete: made.GetAthlete().GetName(), baseline: 25 + 3*l.z.Next()}
	constraints := twoDays()
	constraints.StartDate, constraints.Weeks = start, nil
	constraints.Days[0].Weekday, constraints.Days[1].Weekday = pb.Weekday_WEEKDAY_MONDAY, pb.Weekday_WEEKDAY_THURSDAY
	joined := &pb.JoinTrialResponse{}
	l.call(l.key, &pb.JoinTrialRequest{
		Name: l.name, Athlete: x.athlete, Consent: true, Constraints: constraints,
		Goals: []*pb.Goal{{Kind: pb.GoalKind_GOAL_KIND_GROW, Muscle: pb.Muscle_MUSCLE_QUADS}},
	}, joined)
	require.Empty(l.t, joined.GetExcluded())
	require.InDelta(l.t, squat, joined.GetLift().GetKilograms(), 10, "judged by what is stored")
	x.name = joined.GetParticipant().GetName()
	lead := &pb.MakeLeadInProgramResponse{}
	l.call(l.key, &pb.MakeLeadInProgramRequest{Name: x.name}, lead)
	require.Equal(l.t, 3, weeksOf(lead.GetRevision().GetProgram()))
	for range 2 { // repeats give the typical error
		l.measure(x, pb.MeasurementTime_MEASUREMENT_TIME_BASELINE, x.baseline+errorSD*l.z.Next())
	}
	checked := &pb.CheckParticipantResponse{}
	l.call(l.key, &pb.CheckParticipantRequest{Name: x.name}, checked)
	require.Empty(l.t, checked.GetWithoutProgram())
	id := x.name[strings.LastIndex(x.name, "/")+1:]
	l.call(l.key, &pb.EnrolUnitRequest{Name: l.name, Unit: id, Covariates: []int64{int64(x.baseline * 1000), int64(1000 * squat / mass)}}, &pb.EnrolUnitResponse{})
	l.people = append(l.people, x)
}

func weeksOf(p *pb.Program) (n int) {
	for _, phase := range p.GetPhases() {
		n += len(phase.GetWeeks())
	}
	return n
}

// measure is what somebody does who may do nothing else.
func (l *trialLab) measure(x *subject, at pb.MeasurementTime, mm float64) {
	l.t.Helper()
	v := float64(int64(mm*1000)) / 1000
	l.call(l.tester, &pb.RecordTrialMeasurementRequest{Name: x.name, Outcome: "thickness", Time: at, Value: &v, Assessor: "invented assessor", Blind: true}, &pb.RecordTrialMeasurementResponse{})
}

// assign closes enrolment and draws all arms.
func (l *trialLab) assign() {
	none := &pb.AssignArmsResponse{}
	l.call(l.key, &pb.AssignArmsRequest{Name: l.name}, none)
	require.Empty(l.t, none.GetAssignments(), "pairs are made when enrolment is closed")
	l.call(l.key, &pb.CloseEnrolmentRequest{Name: l.name}, &pb.CloseEnrolmentResponse{})
	told := &pb.AssignArmsResponse{}
	l.call(l.key, &pb.AssignArmsRequest{Name: l.name}, told)
	require.Len(l.t, told.GetAssignments(), len(l.people))
	arm, pairs := map[string]string{}, map[int32]map[string]bool{}
	for _, a := range told.GetAssignments() {
		arm[a.GetUnit()] = a.GetArm()
		if pairs[a.GetPair()] == nil {
			pairs[a.GetPair()] = map[string]bool{}
		}
		pairs[a.GetPair()][a.GetArm()] = true
	}
	for pair, arms := range pairs {
		require.Len(l.t, arms, 2, "pair %d has one in each arm", pair)
	}
	for _, x := range l.people {
		x.arm = arm[x.name[strings.LastIndex(x.name, "/")+1:]]
	}
}

// train makes the program of the arm, and logs the first weeks of it.
func (l *trialLab) train(x *subject, logged bool, leadStart time.Time) {
	made := &pb.MakeArmProgramResponse{}
	l.call(l.key, &pb.MakeArmProgramRequest{Name: x.name}, made)
	p := made.GetRevision().GetProgram()
	require.Equal(l.t, 8, weeksOf(p))
	require.Equal(l.t, leadStart.AddDate(0, 0, 21).Format(time.DateOnly), p.GetRequest().GetConstraints().GetStartDate(), "it begins after the lead-in")
	strategy := map[string]string{"size": "constant", "strength-first": "strength-then-size"}[x.arm]
	require.Equal(l.t, strategy+"@1", p.GetRequest().GetPlan().GetTracks()[0].GetSegments()[0].GetStrategy())
	if !logged {
		l.call(l.key, &pb.RecordAdherenceRequest{Name: x.name, Percent: new(92.5), Kept: true}, &pb.RecordAdherenceResponse{})
		return
	}
	sets, done := 0, 0
	for _, phase := range p.GetPhases() {
		for _, w := range phase.GetWeeks() {
			for i, s := range w.GetSessions() {
				log := &pb.SessionLog{Date: s.GetDate(), ProgramRevision: made.GetRevision().GetName(), Week: w.GetNumber(), Session: int32(i + 1)}
				for _, e := range s.GetExercises() {
					entry := &pb.LoggedExercise{ExerciseId: e.GetExerciseId()}
					for _, set := range e.GetSets() {
						if k := set.GetKind(); k == pb.SetKind_SET_KIND_WARMUP || k == pb.SetKind_SET_KIND_TEST {
							continue
						}
						sets++
						entry.Sets = append(entry.Sets, &pb.LoggedSet{Kind: set.GetKind(), Reps: max(1, set.GetReps().GetMin())})
					}
					log.Exercises = append(log.Exercises, entry)
				}
				if w.GetNumber()%2 == 0 { // every other week was missed
					continue
				}
				for _, e := range log.GetExercises() {
					done += len(e.GetSets())
				}
				l.call(l.key, &pb.CreateSessionLogRequest{Parent: x.athlete, SessionLog: log}, &pb.CreateSessionLogResponse{})
			}
		}
	}
	kept := &pb.RecordAdherenceResponse{}
	l.call(l.key, &pb.RecordAdherenceRequest{Name: x.name, Kept: false}, kept)
	require.InDelta(l.t, 100*float64(done)/float64(sets), kept.GetPercent(), 0.06, "counted from the logs")
}

// end measures everyone, looks once in between, and ends the trial.
func (l *trialLab) end(effect float64) {
	for i, x := range l.people {
		gain := 1 + gainSD*l.z.Next()
		if x.arm == "strength-first" {
			gain += effect
		}
		if i == len(l.people)-1 { // one leaves, and is not measured
			l.call(l.key, &pb.WithdrawParticipantRequest{Name: x.name, Reason: "moved away"}, &pb.WithdrawParticipantResponse{})
			break
		}
		l.measure(x, pb.MeasurementTime_MEASUREMENT_TIME_END, x.baseline+gain+errorSD*l.z.Next())
		if i == len(l.people)/2 && len(l.people) > 20 {
			code, text := l.send(l.key, &pb.AnalyseTrialRequest{Name: l.name})
			require.Equal(l.t, http.StatusBadRequest, code, text)
			require.Contains(l.t, text, conduct.ReasonLocked)
			look := &pb.ReadInterimResponse{}
			l.call(l.key, &pb.ReadInterimRequest{Name: l.name}, look)
			require.NotEmpty(l.t, look.GetLook().GetDescription())
			require.Less(l.t, look.GetLook().GetAlphaSpent(), 0.05)
		}
	}
	l.call(l.key, &pb.RecordIncidentRequest{Name: l.people[0].name, Kind: pb.IncidentKind_INCIDENT_KIND_ADVERSE, Description: "sore knee"}, &pb.RecordIncidentResponse{})
	harm := &pb.CompareHarmResponse{}
	l.call(l.key, &pb.CompareHarmRequest{Name: l.name, PlannedLooks: 2}, harm)
	struck := int32(0)
	for _, a := range harm.GetArms() {
		require.False(l.t, a.GetStop(), "one sore knee is no reason")
		struck += a.GetAthletesStruck()
	}
	require.EqualValues(l.t, 1, struck)
	l.call(l.key, &pb.EndTrialRequest{Name: l.name}, &pb.EndTrialResponse{})
}

// read analyses, takes the report and checks the chain as an outsider.
func (l *trialLab) read(effect float64) {
	answer := &pb.AnalyseTrialResponse{}
	l.call(l.key, &pb.AnalyseTrialRequest{Name: l.name}, answer)
	c := answer.GetAnalyses()[0].GetComparisons()[0]
	want := pb.TrialReading_TRIAL_READING_ALIKE
	if effect > 0 {
		want = pb.TrialReading_TRIAL_READING_HIGHER_WORTH
	}
	require.Equal(l.t, want, c.GetReading(), "%v", c.GetPrimary())
	require.InDelta(l.t, effect, c.GetPrimary().GetValue(), 5*c.GetPrimary().GetStandardError())
	require.InDelta(l.t, errorSD, answer.GetAnalyses()[0].GetTypicalError(), 0.4*errorSD, "from the repeats")
	l.call(l.key, &pb.RevealTrialKeyRequest{Name: l.name}, &pb.RevealTrialKeyResponse{})
	v := &pb.VerifyTrialResponse{}
	l.call(l.key, &pb.VerifyTrialRequest{Name: l.name}, v)
	require.True(l.t, v.GetReplayed())
	require.EqualValues(l.t, len(l.people), v.GetArms())
	var file bytes.Buffer
	for token := ""; ; {
		page := &pb.ListTrialEventsResponse{}
		l.call(l.key, &pb.ListTrialEventsRequest{Parent: l.name, PageSize: 100, PageToken: token}, page)
		for _, e := range page.GetEvents() {
			file.WriteString(e.GetJson() + "\n")
		}
		if token = page.GetNextPageToken(); token == "" {
			break
		}
	}
	events, err := conduct.Read(&file)
	require.NoError(l.t, err)
	outside, err := conduct.Verify(events)
	require.NoError(l.t, err)
	require.Equal(l.t, v.GetHash(), outside.Hash)
	require.True(l.t, outside.Replayed)
	files := &pb.ExportTrialReportResponse{}
	l.call(l.key, &pb.ExportTrialReportRequest{Name: l.name}, files)
	require.GreaterOrEqual(l.t, len(files.GetFiles()), 8)
	dir := os.Getenv("PHASEWRIGHT_PLOTS")
	for _, f := range files.GetFiles() {
		require.NotEmpty(l.t, f.GetContent(), f.GetFileName())
		if f.GetFileName() == "report.md" { // the one with logs was measured a week late
			require.Contains(l.t, string(f.GetContent()), "1 of 1 measurements at the end whose last session is logged were not taken 2 to 4 days after it")
		}
		if dir != "" {
			require.NoError(l.t, os.WriteFile(filepath.Join(dir, fmt.Sprintf("trial-%g-%s", effect, f.GetFileName())), f.GetContent(), 0o600))
		}
	}
}

// A trial of 60 invented athletes in matched pairs, from protocol to report, over REST and
// with the engine itself: once with a true effect and once with none.
func TestTrialOverREST(t *testing.T) {
	athletes := 60
	if testing.Short() {
		athletes = 12
	}
	for _, effect := range []float64{1.5, 0} {
		t.Run(fmt.Sprintf("effect %g mm", effect), func(t *testing.T) {
			t.Parallel()
			e, err := NewEngine()
			require.NoError(t, err)
			r, _ := lockedWith(t, e.WithBudget(fuzzBudget))
			l := &trialLab{t: t, r: r, key: r.tenant(t, "gym"), z: draw.Normal{Source: draw.Fast(11, uint64(effect))}}
			_, l.tester = r.makeKey(t, l.key, &pb.ApiKey{Scopes: []pb.Scope{pb.Scope_SCOPE_ASSESS}})
			monday := time.Now().UTC().AddDate(0, 0, -90)
			monday = monday.AddDate(0, 0, -(int(monday.Weekday())+6)%7)
			l.begin()
			for i := range athletes {
				l.enrol(i, monday.Format(time.DateOnly))
			}
			code, text := l.send(l.tester, &pb.GetTrialRequest{Name: l.name})
			require.Equal(t, http.StatusForbidden, code, text)
			l.assign()
			for i, x := range l.people {
				l.train(x, i == 0, monday)
			}
			l.end(effect)
			if athletes < 60 {
				return // too few to tell
			}
			l.read(effect)
		})
	}
}
