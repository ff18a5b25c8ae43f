package rpc

import (
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"

	"github.com/phasewright/phasewright/engine/fault"
)

// Requests that only name a trial have no field of what it holds.
func TestFaultsOfTrialData(t *testing.T) {
	told := func(err error) fault.Violation {
		f, ok := fault.As(inTrial(ofData(err), trialResource, "trials/x", ""))
		require.True(t, ok)
		return f.Violations[0]
	}
	require.Equal(t, fault.Violation{Field: "name", Reason: "TOO_FEW", Says: "its arms[0] has no outcomes"},
		told(fault.New(fault.Infeasible, "TOO_FEW", "arms[0]", "has no outcomes")))
	require.Equal(t, fault.Violation{Field: "name", Reason: "TRIAL_ORDER", Says: "has not ended"},
		told(fault.New(fault.Infeasible, "TRIAL_ORDER", "trial", "has not ended")))
	gone := inTrial(ofData(fault.New(fault.NotFound, "UNKNOWN", "", "is not there")), trialResource, "trials/x", "")
	require.Equal(t, codes.NotFound, Status(gone).Code())
}
