package wire

import (
	"strconv"
	"strings"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/internal/service"
)

// ReasonName is of what is no resource name of the kind that is needed.
const ReasonName = "RESOURCE_NAME"

// Patterns of the names of stored things.
const (
	AthletePattern     = "athletes/{athlete}"
	PerformancePattern = "athletes/{athlete}/performances/{performance}"
	SessionLogPattern  = "athletes/{athlete}/sessionLogs/{session_log}"
	MeasurementPattern = "athletes/{athlete}/measurements/{measurement}"
	OwnExercisePattern = "ownExercises/{own_exercise}"
	PlanPattern        = "plans/{plan}"
	ProgramPattern     = "athletes/{athlete}/programs/{program}"
	RevisionPattern    = "athletes/{athlete}/programs/{program}/revisions/{revision}"
)

// Name is a resource name as far as ids go: of the athlete that something belongs to,
// where it belongs to one, its own, and the number of a revision.
type Name struct {
	Owner, ID service.ID
	Number    int32
}

// ParseName reads a name of a pattern. The fault is Invalid RESOURCE_NAME about a field.
func ParseName(pattern, field, name string) (Name, error) {
	var n Name
	wrong := fault.New(fault.Invalid, ReasonName, field, "has to be "+pattern+", as the server gave it")
	want, got := strings.Split(pattern, "/"), strings.Split(name, "/")
	if len(want) != len(got) {
		return n, wrong
	}
	for i := range want {
		if i%2 == 0 {
			if want[i] != got[i] {
				return n, wrong
			}
			continue
		}
		if want[i] == "{revision}" {
			number, err := strconv.ParseInt(got[i], 10, 32)
			if err != nil || number < 1 || strconv.FormatInt(number, 10) != got[i] {
				return n, wrong
			}
			n.Number = int32(number)
			continue
		}
		id, err := service.ParseID(got[i])
		if err != nil || id.Check(field) != nil {
			return n, wrong
		}
		n.Owner, n.ID = n.ID, id
	}
	return n, nil
}

// String writes the name in a pattern.
func (n Name) String(pattern string) string {
	steps := strings.Split(pattern, "/")
	ids := []string{n.Owner.String(), n.ID.String()}
	if n.Owner == (service.ID{}) {
		ids = ids[1:]
	}
	for i := 1; i < len(steps); i += 2 {
		if k := i / 2; k < len(ids) {
			steps[i] = ids[k]
		} else {
			steps[i] = strconv.Itoa(int(n.Number))
		}
	}
	return strings.Join(steps, "/")
}
