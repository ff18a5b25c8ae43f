package rows

import (
	"slices"

	"github.com/phasewright/phasewright/internal/service"
)

// Bearing says what the rows of a table are to athletes.
type Bearing uint8

// Bearings.
const (
	Nobodys Bearing = iota // about no athlete
	Own                    // an athlete's: exported, and deleted by an erasure
	Mention                // name an athlete: exported, and blanked by an erasure
	Trace                  // what an erasure leaves
)

// Table is a table of the schema. The list of them is what export, erasure and the
// rights of the application go by, and tests hold the schema against it: a table that
// is missing here, or has an athlete in it and says otherwise, fails them.
type Table struct {
	Name    string
	Bearing Bearing
	Final   bool   // rows are never changed
	Athlete string // the column that names the athlete, where the bearing has one
	export  func(*Tx, service.ID, func(any) error) error
	blank   string // SET clause of an erasure, for Mention
}

// Tables lists them, parents before children.
func Tables() []Table {
	own := func(k service.Kind, export func(*Tx, service.ID, func(any) error) error) Table {
		return Table{Name: string(k), Bearing: Own, Athlete: "athlete", export: export}
	}
	athlete := own(service.KindAthlete, give[service.Athlete, *service.Athlete])
	athlete.Athlete = "id"
	revision := own(service.KindRevision, giveRevisions)
	revision.Final = true
	hidden := Table{Name: "trial_private", Bearing: Own, Final: true, Athlete: "athlete", export: giveHidden}
	return []Table{
		{Name: "tenant", Final: true},
		athlete,
		own(service.KindPerformance, give[service.Performance, *service.Performance]),
		own(service.KindSessionLog, give[service.SessionLog, *service.SessionLog]),
		own(service.KindMeasurement, give[service.Measurement, *service.Measurement]),
		own(service.KindProgram, give[service.Program, *service.Program]),
		revision,
		{
			Name: string(service.KindEvent), Bearing: Mention, Athlete: "athlete", export: giveEvents,
			blank: "resource = ''",
		},
		{
			Name: string(service.KindAnswer), Bearing: Mention, Athlete: "athlete", export: giveAnswers,
			blank: "body = {empty}, erased = 1",
		},
		{Name: string(service.KindExercise)},
		{Name: string(service.KindPlan)},
		{Name: string(service.KindKey)},
		{Name: string(service.KindJob)},
		{Name: string(service.KindChunk)},
		own(service.KindItem, giveItems),
		{Name: "working"},
		{Name: string(service.KindTrial)},
		{Name: string(service.KindTrialEvent), Final: true},
		hidden,
		own(service.KindParticipant, give[service.Participant, *service.Participant]),
		{Name: string(service.KindErasure), Bearing: Trace, Athlete: "athlete", Final: true},
	}
}

// Unregistered compares the tables of a schema, with their columns, to the registry and
// says what does not fit.
func Unregistered(schema map[string][]string) []string {
	var bad []string
	known := map[string]bool{}
	for _, t := range Tables() {
		known[t.Name] = true
		columns, ok := schema[t.Name]
		about := slices.Contains(columns, "athlete") || t.Name == string(service.KindAthlete)
		switch {
		case !ok:
			bad = append(bad, t.Name+" is registered and not in the schema")
		case about != (t.Bearing != Nobodys):
			bad = append(bad, t.Name+": what it is to athletes is registered wrongly")
		case t.Bearing != Nobodys && !slices.Contains(columns, t.Athlete):
			bad = append(bad, t.Name+" has no column "+t.Athlete)
		case (t.Bearing == Own || t.Bearing == Mention) && t.export == nil:
			bad = append(bad, t.Name+" is not exported")
		}
	}
	for name := range schema {
		if !known[name] {
			bad = append(bad, name+" is not registered: say what it is to athletes")
		}
	}
	slices.Sort(bad)
	return bad
}
