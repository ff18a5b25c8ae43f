package rpc

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/trial/conduct"
	"github.com/phasewright/phasewright/internal/service"
)

// What trials hold of an athlete is exported whole.
func TestTrialsAreExported(t *testing.T) {
	e := service.TrialEvent{Trial: service.ID{1}, Event: conduct.Event{Number: 4, Hash: "h", Private: &conduct.Private{Text: "knee pain"}}}
	s := exported(e).GetTrialStatement()
	require.Equal(t, e.Trial.String(), s.GetTrialId())
	require.Contains(t, string(s.GetEvent()), `"text":"knee pain"`)
	p := service.Participant{Head: service.Head{ID: service.ID{2}}, Trial: e.Trial, Request: plan.Request{Seed: 77}}
	m := exported(p).GetTrialMembership()
	require.Equal(t, p.ID.String(), m.GetParticipantId())
	require.Contains(t, string(m.GetRequest()), `"seed":77`)
}
