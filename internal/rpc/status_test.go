package rpc

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine/fault"
)

func TestTableHasEveryKind(t *testing.T) {
	for k := fault.Internal; k <= fault.Exhausted; k++ {
		s := Status(fault.New(k, "WHY", "a.b", "says"))
		require.NotEqual(t, codes.OK, s.Code(), k)
		require.NotEqual(t, codes.Unknown, s.Code(), k)
		infoOf(t, s.Err())
	}
}

// What a server refuses is what its client says.
func TestFaultComesBackWhole(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := &fault.Error{Kind: rapid.SampledFrom([]fault.Kind{fault.Invalid, fault.Infeasible, fault.Refused, fault.NotFound, fault.Exists, fault.Stale}).Draw(t, "kind")}
		n := rapid.IntRange(1, 5).Draw(t, "violations")
		if f.Kind != fault.Invalid && f.Kind != fault.Infeasible && f.Kind != fault.Refused {
			n = 1
		}
		for i := range n {
			f.Violations = append(f.Violations, fault.Violation{
				Field:  rapid.SampledFrom([]string{"", "a", "a.b[1]", "request.x"}).Draw(t, fmt.Sprint("field", i)),
				Reason: rapid.StringMatching(`[A-Z]{2,8}`).Draw(t, fmt.Sprint("reason", i)),
				Says:   rapid.StringMatching(`[a-z ü"]{1,40}`).Draw(t, fmt.Sprint("says", i)),
			})
		}
		back, ok := fault.As(Fault(Status(fault.Within("request", f)).Err(), "request"))
		if !ok || back.Kind != f.Kind {
			t.Fatalf("%v became %v", f, back)
		}
		if f.Error() != back.Error() {
			t.Fatalf("%q became %q", f, back)
		}
	})
}

// Details travel as a header; many clients take no more than 8 KiB of those.
func TestManyViolationsFitIntoAHeader(t *testing.T) {
	f := &fault.Error{Kind: fault.Invalid}
	for i := range 2000 {
		f.Violations = append(f.Violations, fault.Violation{Field: fmt.Sprintf("request.constraints.days[%d].minutes", i), Reason: "OUT_OF_RANGE", Says: "is 7; must be greater than or equal to 15"})
	}
	s := Status(f)
	require.Less(t, proto.Size(s.Proto())*4/3+3*len(s.Message()), 8<<10)
	i := infoOf(t, s.Err())
	require.Equal(t, "2000", i.GetMetadata()["violations"])
	require.NotEmpty(t, i.GetMetadata()["shown"])
	require.True(t, strings.HasSuffix(s.Message(), "; and 1997 more"), s.Message())

	f.Violations = f.Violations[:20]
	require.Empty(t, infoOf(t, Status(f).Err()).GetMetadata()["shown"])
}

func TestStatusesOfOthers(t *testing.T) {
	for c := codes.Canceled; c <= codes.Unauthenticated; c++ {
		infoOf(t, Status(status.Error(c, "x")).Err())
	}
	require.Equal(t, codes.Internal, Status(fmt.Errorf("a table of the database")).Code())
	require.NotContains(t, Status(fmt.Errorf("a table of the database")).Message(), "table")
	require.Equal(t, codes.Canceled, Status(context.Canceled).Code())
	require.Equal(t, codes.DeadlineExceeded, Status(fmt.Errorf("while solving: %w", context.DeadlineExceeded)).Code())
	require.NoError(t, Fault(nil, ""))
}
