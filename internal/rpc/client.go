package rpc

import (
	"context"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/backoff"
	"google.golang.org/grpc/credentials/insecure"
	_ "google.golang.org/grpc/health" // so that clients ask for it

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/wire"
)

// answerBytes bounds an answer. A program of a year with six days a week has about
// four million bytes, gRPC's own limit.
const answerBytes = 64 << 20

// serviceConfig is what a client does by itself: it takes turns among the addresses that a
// name has, passes by those that say they are leaving, and asks again where a server was not
// there. What changes something carries a request id, so that it has its effect once.
const serviceConfig = `{
	"loadBalancingConfig": [{"round_robin": {}}],
	"healthCheckConfig": {"serviceName": ""},
	"methodConfig": [{
		"name": [{}],
		"retryPolicy": {
			"maxAttempts": 5, "initialBackoff": "0.1s", "maxBackoff": "2s", "backoffMultiplier": 2,
			"retryableStatusCodes": ["UNAVAILABLE"]
		}
	}],
	"retryThrottling": {"maxTokens": 100, "tokenRatio": 0.5}
}`

// reconnect looks for a server that was restarted sooner than gRPC would by itself (after a
// second, then two minutes at most): before the retries of a call are used up.
var reconnect = grpc.ConnectParams{
	Backoff:           backoff.Config{BaseDelay: 100 * time.Millisecond, Multiplier: 1.6, Jitter: 0.2, MaxDelay: 3 * time.Second},
	MinConnectTimeout: 5 * time.Second,
}

// Client answers as service.Service does, from a server. Its faults are the server's,
// with the paths of the domain; Unavailable where none answers.
type Client struct {
	conn       *grpc.ClientConn
	programs   pb.ProgramServiceClient
	strength   pb.StrengthServiceClient
	strategies pb.StrategyServiceClient
	catalogue  pb.CatalogueServiceClient
}

// NewClient makes a client of the server at host:port. It connects with the first
// call, without TLS and without a key where WithTLS and WithKey don't say otherwise.
func NewClient(address string, options ...grpc.DialOption) (*Client, error) {
	conn, err := grpc.NewClient(address, append([]grpc.DialOption{
		grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithDefaultServiceConfig(serviceConfig), grpc.WithConnectParams(reconnect),
		grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(answerBytes)),
	}, options...)...)
	if err != nil {
		return nil, fault.New(fault.Invalid, "ADDRESS", "", "the address of the server: "+err.Error())
	}
	return newClient(conn), nil
}

func newClient(conn *grpc.ClientConn) *Client {
	return &Client{
		conn: conn, programs: pb.NewProgramServiceClient(conn), strength: pb.NewStrengthServiceClient(conn), strategies: pb.NewStrategyServiceClient(conn), catalogue: pb.NewCatalogueServiceClient(conn),
	}
}

// Close ends the connection.
func (c *Client) Close() error { return c.conn.Close() }

// Generate has the program of a request made.
func (c *Client) Generate(ctx context.Context, r plan.Request) (plan.Program, error) {
	answer, err := c.programs.GenerateProgram(ctx, &pb.GenerateProgramRequest{Request: wire.RequestToProto(r)})
	if err != nil {
		return plan.Program{}, Fault(err, "request")
	}
	p, err := wire.ProgramFromProto(answer.GetProgram())
	if err != nil {
		return plan.Program{}, unreadable(err)
	}
	return *p, nil
}

// Regenerate has a program made again from a day on.
func (c *Client) Regenerate(ctx context.Context, base *plan.Program, r plan.Request, how plan.Rework) (service.Regenerated, error) {
	answer, err := c.programs.RegenerateProgram(ctx, &pb.RegenerateProgramRequest{
		Program: wire.ProgramToProto(base), Request: wire.RequestToProto(r), Rework: wire.ReworkToProto(&how),
	})
	if err != nil {
		return service.Regenerated{}, Fault(err, "request")
	}
	p, err := wire.ProgramFromProto(answer.GetProgram())
	if err != nil {
		return service.Regenerated{}, unreadable(err)
	}
	changes, err := wire.ChangesFromProto(answer.GetChanges())
	if err != nil {
		return service.Regenerated{}, unreadable(err)
	}
	return service.Regenerated{Program: *p, Changes: changes}, nil
}

// CompareStrategies has the arms of a comparison made.
func (c *Client) CompareStrategies(ctx context.Context, q plan.ComparisonQuery) (service.Compared, error) {
	answer, err := c.strategies.CompareStrategies(ctx, wire.ComparisonQueryToProto(&q))
	if err != nil {
		return service.Compared{}, Fault(err, "request")
	}
	var out service.Compared
	if out.Comparison, out.Plots, err = wire.ComparisonFromProto(answer); err != nil {
		return service.Compared{}, unreadable(err)
	}
	return out, nil
}

// Relaxations has what changes of a request would gain found out.
func (c *Client) Relaxations(ctx context.Context, r plan.Request) ([]engine.Relaxation, error) {
	answer, err := c.programs.SuggestRelaxations(ctx, &pb.SuggestRelaxationsRequest{Request: wire.RequestToProto(r)})
	if err != nil {
		return nil, Fault(err, "request")
	}
	list, err := wire.RelaxationsFromProto(answer, func(field string) string { return under("request", field) })
	if err != nil {
		return nil, unreadable(err)
	}
	return list, nil
}

// Audit has a program checked.
func (c *Client) Audit(ctx context.Context, p *plan.Program) (service.Audited, error) {
	answer, err := c.programs.AuditProgram(ctx, &pb.AuditProgramRequest{Program: wire.ProgramToProto(p)})
	if err != nil {
		return service.Audited{}, Fault(err, "program")
	}
	var a service.Audited
	if a.Findings, a.Rules, a.Intact, err = wire.AuditedFromProto(answer); err != nil {
		return service.Audited{}, unreadable(err)
	}
	return a, nil
}

// Estimate has the strength of an athlete estimated.
func (c *Client) Estimate(ctx context.Context, q plan.StrengthQuery) (plan.StrengthReport, error) {
	answer, err := c.strength.EstimateStrength(ctx, wire.StrengthQueryToProto(&q))
	if err != nil {
		return plan.StrengthReport{}, Fault(err, "")
	}
	report, err := wire.StrengthReportFromProto(answer)
	if err != nil {
		return plan.StrengthReport{}, unreadable(err)
	}
	return report, nil
}

// Strategies lists the server's strategies.
func (c *Client) Strategies(ctx context.Context) ([]plan.Descriptor, error) {
	var out []plan.Descriptor
	r := &pb.ListStrategiesRequest{}
	for {
		answer, err := c.strategies.ListStrategies(ctx, r)
		if err != nil {
			return nil, Fault(err, "")
		}
		for _, s := range answer.GetStrategies() {
			d, err := wire.StrategyFromProto(s)
			if err != nil {
				return nil, unreadable(err)
			}
			out = append(out, d)
		}
		if r.PageToken = answer.GetNextPageToken(); r.PageToken == "" {
			return out, nil
		}
	}
}

// Catalogue gives the server's exercises.
func (c *Client) Catalogue(ctx context.Context) (*exercise.Catalogue, error) {
	var all []*pb.Exercise
	r := &pb.ListExercisesRequest{}
	for {
		answer, err := c.catalogue.ListExercises(ctx, r)
		if err != nil {
			return nil, Fault(err, "")
		}
		all = append(all, answer.GetExercises()...)
		if r.PageToken = answer.GetNextPageToken(); r.PageToken == "" {
			break
		}
	}
	out, err := wire.CatalogueFromProto(all)
	if err != nil {
		return nil, unreadable(err)
	}
	return out, nil
}

// unreadable is about an answer that this client can't hold, so the server is another
// version of this program, or another program.
func unreadable(err error) error {
	return fault.New(fault.Internal, "UNREADABLE_ANSWER", "", "the server's answer can't be read (is it another version?): "+err.Error())
}
