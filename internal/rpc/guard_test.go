package rpc

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/internal/service"
)

// The scopes of the schema are those of keys, each once.
func TestScopesAreTheServices(t *testing.T) {
	var got []service.Scope
	for n := range pb.Scope_name {
		if n != 0 {
			got = append(got, scopes[pb.Scope(n)])
			require.Equal(t, pb.Scope(n), scopeToProto(scopes[pb.Scope(n)]))
		}
	}
	require.ElementsMatch(t, service.Scopes(), got)
}

// A method that says nothing of who may call it is not served.
func TestMethodWithoutScopeIsAnError(t *testing.T) {
	at := &registrar{Server: grpc.NewServer(), limits: newLimits(Rate{}, time.Now), callers: Anyone{}}
	at.RegisterService(&grpc.ServiceDesc{
		ServiceName: "grpc.channelz.v1.Channelz", HandlerType: (*any)(nil),
		Methods: []grpc.MethodDesc{{MethodName: "GetServers"}},
	}, nil)
	require.ErrorContains(t, at.err, "Channelz/GetServers")
	_, err := ruleOf("google.longrunning.Operations", "GetOperation")
	require.Error(t, err)
	r, err := ruleOf("phasewright.v1.AccessService", "CreateApiKey")
	require.NoError(t, err)
	require.Equal(t, rule{scope: service.ScopeAdmin, recorded: true}, r)
	r, err = ruleOf("phasewright.v1.ProgramService", "GenerateProgram")
	require.NoError(t, err)
	require.Equal(t, rule{scope: service.ScopeRead}, r)
}

// Who says nothing of callers has none.
func TestNobodyIsTheDefault(t *testing.T) {
	conn, _, _ := started(t, canned{}, Options{Callers: nobody{}})
	_, err := pb.NewCatalogueServiceClient(conn).ListMuscles(context.Background(), &pb.ListMusclesRequest{})
	require.Equal(t, codes.Unauthenticated, status.Code(err))
}

func TestBearer(t *testing.T) {
	for header, want := range map[string]string{
		"Bearer x": "x", "bearer x": "x", "BEARER x": "x", "": "", "Bearer": "", "Basic x": "", "x": "",
	} {
		require.Equal(t, want, Bearer(header), header)
	}
	two := metadata.NewIncomingContext(context.Background(), metadata.Pairs("authorization", "Bearer a", "authorization", "Bearer b"))
	require.Empty(t, bearer(two))
}

func TestOutcomesAreSpelledAsCodes(t *testing.T) {
	for c, want := range map[codes.Code]string{
		codes.OK: "OK", codes.PermissionDenied: "PERMISSION_DENIED", codes.NotFound: "NOT_FOUND", codes.DeadlineExceeded: "DEADLINE_EXCEEDED",
	} {
		require.Equal(t, want, outcome(c))
	}
}
