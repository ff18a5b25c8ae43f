package storetest

import (
	"fmt"
	"math/rand/v2"
	"time"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/trial/conduct"
	"github.com/phasewright/phasewright/internal/service"
)

// record is a pointer to something that lies on a shelf.
type record[T any] interface {
	*T
	service.Record
}

// begin is the moment at which the tests' clocks stand.
var begin = time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)

// Clock is a clock that moves only when told.
type Clock struct{ at service.Instant }

// NewClock stands at a fixed moment.
func NewClock() *Clock { return &Clock{at: service.At(begin)} }

// Now tells the time.
func (c *Clock) Now() service.Instant { return c.at }

// Move goes forward.
func (c *Clock) Move(d time.Duration) { c.at += service.Instant(d.Milliseconds()) }

// source draws bytes for ids; seeded, so that a run can be repeated.
type source struct{ *rand.Rand }

func (s source) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = byte(s.Uint32())
	}
	return len(p), nil
}

// maker makes things to store.
type maker struct {
	*rand.Rand
	mint *service.Mint
}

func newMaker(seed uint64, c *Clock) *maker {
	r := rand.New(rand.NewPCG(seed, 7))
	return &maker{Rand: r, mint: service.NewMint(func() time.Time { return c.Now().Time() }, source{r})}
}

func (m *maker) id() service.ID {
	id, err := m.mint.New()
	if err != nil {
		panic(err) // the source never fails
	}
	return id
}

func (m *maker) head() service.Head { return service.Head{ID: m.id()} }

// texts are awkward ones.
var texts = []string{"", "bench", "Kniebeuge – tief", "O'Brien; --", `"quoted" \ back`, "名前", "a\nb\tc", "%_?$1", "<b>&amp;</b>", "\u2028"}

func (m *maker) text() string { return texts[m.IntN(len(texts))] }

// label is one of few, so that they clash.
func (m *maker) label() string {
	if m.IntN(4) == 0 {
		return m.text()
	}
	return fmt.Sprintf("label-%d", m.IntN(12))
}

func (m *maker) day() plan.Date { return plan.Date(20500 + m.IntN(12)) }

func (m *maker) load() plan.Opt[plan.Load] {
	if m.IntN(3) == 0 {
		return plan.Opt[plan.Load]{}
	}
	return plan.Some(plan.Load{Milli: int64(m.IntN(200)) * 500, Unit: plan.Kilogram})
}

func (m *maker) athlete() service.Athlete {
	return service.Athlete{Head: m.head(), Profile: plan.Athlete{
		CallerID: m.label(), Name: m.text(), Sex: plan.Sex(m.IntN(3)), BirthYear: plan.Some(int32(1950 + m.IntN(50))),
		BodyMass: m.load(), Status: plan.Status(m.IntN(4)),
		Restrictions: []plan.Restriction{{ExerciseID: "back-squat", Severity: plan.SeverityMild, Note: m.text()}},
		Screening:    plan.Some(plan.Screening{Symptoms: plan.Some(false), Conditions: []plan.Condition{plan.Diabetes}}),
	}}
}

func (m *maker) performance(a service.ID) service.Performance {
	return service.Performance{Head: m.head(), Athlete: a, Shown: plan.Performance{
		ExerciseID: m.label(), Load: m.load(), Reps: int32(m.IntN(20)), RIR: plan.Some(int32(m.IntN(4))), Date: plan.Some(m.day()),
	}}
}

func (m *maker) log(a, program service.ID) service.SessionLog {
	return service.SessionLog{Head: m.head(), Athlete: a, Date: m.day(), Program: program, Revision: 1, Week: 2, Session: 1, Note: m.text(),
		Exercises: []service.LoggedExercise{{ExerciseID: "bench-press", Sets: []service.LoggedSet{{Reps: 8, Load: m.load()}, {Reps: 7, ToFailure: true}}}}}
}

func (m *maker) measurement(a service.ID) service.Measurement {
	return service.Measurement{Head: m.head(), Athlete: a, What: m.label(), Date: m.day(), Milli: m.Int64N(100000), Unit: "kg", Note: m.text()}
}

func (m *maker) exercise() service.OwnExercise {
	e := exercise.Exercise{ID: m.label(), Name: m.text(), Pattern: plan.Pattern(m.IntN(5)), Equipment: [][]plan.Equipment{{1, 2}, {3}}, StepMilliKg: 2500}
	e.Involvement[1], e.Stress[2] = 2, 1
	return service.OwnExercise{Head: m.head(), Exercise: e}
}

func (m *maker) plan() service.SavedPlan {
	return service.SavedPlan{Head: m.head(), Name: m.label(), Plan: plan.Plan{
		Tracks: []plan.Track{{Segments: []plan.Segment{{Strategy: "linear", Weeks: plan.Some(int32(4))}}}}, Shorten: m.IntN(2) == 0,
	}}
}

func (m *maker) program(a service.ID) service.Program {
	return service.Program{Head: m.head(), Athlete: a, Name: m.text()}
}

func (m *maker) key() service.Key {
	return service.Key{Head: m.head(), Name: m.text(), Hash: []byte{byte(m.IntN(256)), 0, 255}, Scopes: []string{"read", "write"}, Expires: service.Instant(m.Int64N(1e12))}
}

// revision makes one whose program has so many weeks of three sessions.
func (m *maker) revision(weeks int) service.Revision {
	name := m.text()
	r := service.Revision{Facts: service.Facts{Reason: m.text(), From: m.day()}}
	r.Asked = plan.Request{Athlete: plan.Athlete{Name: name}, Seed: m.Uint32()}
	p := &r.Made
	*p = plan.Program{
		Versions: plan.Versions{Document: plan.DocumentVersion, Engine: "test"}, RequestDigest: "sha256:00", Seed: r.Asked.Seed, Request: r.Asked,
		Phases: []plan.Phase{{Name: "all", Aim: m.text()}},
	}
	for w := range weeks {
		week := plan.Week{Number: int32(w + 1), Dose: 1000}
		for d := range 3 {
			s := plan.Session{Label: fmt.Sprintf("day %d", d+1), Day: int32(d), PlaceID: "gym"}
			for e := range 5 {
				x := plan.ProgramExercise{ExerciseID: fmt.Sprintf("exercise-%d", e), Name: name}
				for range 4 {
					x.Sets = append(x.Sets, plan.Set{Reps: plan.Range{Min: 8, Max: 12}, Load: m.load(), RIR: plan.Some(int32(2)), Rest: plan.Seconds(m.IntN(12) * 15)})
				}
				s.Exercises = append(s.Exercises, x)
			}
			week.Sessions = append(week.Sessions, s)
		}
		p.Phases[0].Weeks = append(p.Phases[0].Weeks, week)
	}
	if err := p.Seal(); err != nil {
		panic(err) // a program of the test's own making
	}
	return r
}

func (m *maker) trial() service.Trial {
	return service.Trial{Head: m.head(), Title: m.label(), Sealed: []byte{0, byte(m.IntN(256))}}
}

func (m *maker) participant(a, trial service.ID) service.Participant {
	return service.Participant{Head: m.head(), Athlete: a, Trial: trial, Unit: m.text(), Request: plan.Request{Seed: m.Uint32()}}
}

// links are the first two events of a trial; the second says something of an athlete.
func (m *maker) links(trial, a service.ID, text func() string) []service.TrialEvent {
	first := conduct.Event{Number: 1, At: 5, Actor: "a key", Body: conduct.Body{Excluded: &conduct.Excluded{}}, Hash: "first"}
	second := conduct.Event{Number: 2, At: 6, Actor: "a key", Body: conduct.Body{Closed: &conduct.Closed{}}, Prev: "first", Hash: "second", Sealed: "sealed",
		Private: &conduct.Private{Text: text()}, Salt: "salt"}
	return []service.TrialEvent{{Trial: trial, Event: first}, {Trial: trial, Athlete: a, Event: second}}
}

func (m *maker) event(a service.ID) service.Event {
	return service.Event{ID: m.id(), Actor: m.id(), Method: "CreateProgram", Resource: "athletes/" + a.String(), Athlete: a, Outcome: "OK"}
}

func (m *maker) answer(a service.ID) service.Answer {
	out := service.Answer{RequestID: fmt.Sprintf("request-%d", m.IntN(40)), Method: "CreateAthlete", Body: []byte(m.text()), Athlete: a}
	out.Digest[m.IntN(32)] = byte(m.IntN(256))
	if m.IntN(2) == 0 {
		out.Expires = service.At(begin) + service.Instant(m.IntN(48))*3600_000
	}
	return out
}
