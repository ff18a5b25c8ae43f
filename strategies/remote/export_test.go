package remote

import (
	"time"

	sp "github.com/phasewright/phasewright/gen/phasewright/strategy/v1"

	"github.com/phasewright/phasewright/engine/plan"
)

// Decode reads an answer as it comes off the wire.
func Decode(raw []byte) error { return unmarshal(raw, new(sp.OutlineResponse)) }

// ReadAnswer makes an outline of an answer as it comes off the wire.
func ReadAnswer(raw []byte, d plan.Descriptor, r plan.OutlineRequest) (plan.Outline, error) {
	a := new(sp.OutlineResponse)
	p := &Plugin{config: Config{Name: d.Name, Timeout: time.Second}}
	if err := unmarshal(raw, a); err != nil {
		return plan.Outline{}, p.broken(ReasonFailed, "strategy", err.Error())
	}
	return (&Strategy{plugin: p, d: d}).read(a, r)
}
