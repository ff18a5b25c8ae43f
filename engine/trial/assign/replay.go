package assign

import (
	"fmt"
	"reflect"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/trial/draw"
)

// Replay makes every arm anew from the design, the key and the enrolments in order, and
// compares them with what was recorded, in any order. What differs, is recorded twice or
// was never enrolled is an Invalid fault that names the entry; arms that are drawn but
// not recorded are fine, as nobody may have asked.
func Replay(d Design, k draw.Key, enrolled []Unit, closed bool, recorded []Assignment) error {
	m, err := New(d, Keyed(k))
	if err != nil {
		return err
	}
	for i, u := range enrolled {
		if err := m.Enrol(u); err != nil {
			return fault.Within(fmt.Sprintf("enrolled[%d]", i), err)
		}
	}
	if closed {
		if err := m.Close(); err != nil {
			return err
		}
	}
	drawn := map[string]Assignment{}
	for _, a := range m.Assigned() {
		drawn[a.Unit] = a
	}
	c := fault.NewCollector(fault.Invalid)
	seen := map[string]bool{}
	for i, r := range recorded {
		field := fmt.Sprintf("recorded[%d]", i)
		a, in := drawn[r.Unit]
		switch {
		case seen[r.Unit]:
			c.Add(ReasonReplay, field, fmt.Sprintf("assigns %q a second time", r.Unit))
		case !in:
			c.Add(ReasonReplay, field, fmt.Sprintf("assigns %q, which the enrolments give no arm", r.Unit))
		case !same(a, r):
			c.Add(ReasonReplay, field, fmt.Sprintf("of %q is %+v; the key gives %+v", r.Unit, r, a))
		}
		seen[r.Unit] = true
	}
	return c.Err()
}

// same compares all but the number of the pair where the record was made before the
// pair was.
func same(drawn, recorded Assignment) bool {
	if recorded.Pair == 0 {
		drawn.Pair = 0
	}
	return reflect.DeepEqual(drawn, recorded)
}
