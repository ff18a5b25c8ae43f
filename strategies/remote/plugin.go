package remote

import (
	"context"
	"crypto/tls"
	"fmt"
	"slices"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/backoff"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"

	sp "github.com/phasewright/phasewright/gen/phasewright/strategy/v1"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/internal/wire"
)

// Protocol is the version of the contract that this package speaks.
const Protocol = 1

// DefaultTimeout is for one call, retries included.
const DefaultTimeout = 5 * time.Second

// maxProtocols bounds what a plug-in says that it speaks.
const maxProtocols = 16

// Config says where a plug-in is.
type Config struct {
	Name    string        // of the strategy; the plug-in has to describe itself by it. Empty: any
	Address string        // host:port
	TLS     *tls.Config   // nil: plain text
	Timeout time.Duration // of one call, retries included; 0: DefaultTimeout
	Dial    []grpc.DialOption
}

// Plugin is a connection to the process of a strategy. It is safe for concurrent use.
type Plugin struct {
	config Config
	conn   *grpc.ClientConn
	client sp.StrategyPluginServiceClient
}

// retries: a call that found nobody is made again, three times in all. gRPC also makes
// another attempt by itself where it is sure that nothing was sent.
const retries = `{"methodConfig": [{
	"name": [{"service": "phasewright.strategy.v1.StrategyPluginService"}],
	"retryPolicy": {"maxAttempts": 3, "initialBackoff": "0.1s", "maxBackoff": "1s", "backoffMultiplier": 3, "retryableStatusCodes": ["UNAVAILABLE"]}
}]}`

// New makes a plug-in and opens no connection yet. The error is about the address.
func New(c Config) (*Plugin, error) {
	if c.Timeout == 0 {
		c.Timeout = DefaultTimeout
	}
	secure := insecure.NewCredentials()
	if c.TLS != nil {
		secure = credentials.NewTLS(c.TLS)
	}
	conn, err := grpc.NewClient(c.Address, append([]grpc.DialOption{
		grpc.WithTransportCredentials(secure),
		grpc.WithDisableServiceConfig(),
		grpc.WithDefaultServiceConfig(retries),
		grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(maxBytes), grpc.ForceCodecV2(newCodec())),
		grpc.WithMaxHeaderListSize(16 << 10),
		grpc.WithConnectParams(grpc.ConnectParams{
			Backoff:           backoff.Config{BaseDelay: 100 * time.Millisecond, Multiplier: 1.6, Jitter: 0.2, MaxDelay: 2 * time.Second},
			MinConnectTimeout: c.Timeout,
		}),
	}, c.Dial...)...)
	if err != nil {
		return nil, fmt.Errorf("%q is not HOST:PORT: %w", c.Address, err)
	}
	return &Plugin{config: c, conn: conn, client: sp.NewStrategyPluginServiceClient(conn)}, nil
}

// Close ends the connection; calls under way fail.
func (p *Plugin) Close() error { return p.conn.Close() }

// Name gives the strategy's name, as the configuration has it.
func (p *Plugin) Name() string { return p.config.Name }

// Address gives where the process is.
func (p *Plugin) Address() string { return p.config.Address }

// Connect shakes hands and asks for the description. Faults are those of the package;
// Broken also where no version of the contract is spoken by both, and where the strategy
// has another name than the configuration says.
func (p *Plugin) Connect(ctx context.Context) (*Strategy, error) {
	hello, err := call(ctx, p, p.client.Handshake, &sp.HandshakeRequest{ProtocolVersions: []int32{Protocol}, EngineVersion: engine.Version})
	if err != nil {
		return nil, err
	}
	if spoken := hello.GetProtocolVersions(); !slices.Contains(spoken[:min(len(spoken), maxProtocols)], Protocol) {
		return nil, p.broken(ReasonProtocol, "protocol_versions", "are "+versions(spoken)+fmt.Sprintf("; this engine speaks %d", Protocol))
	}
	answer, err := call(ctx, p, p.client.Describe, &sp.DescribeRequest{ProtocolVersion: Protocol})
	if err != nil {
		return nil, err
	}
	if answer.GetDescription() == nil {
		return nil, p.broken(ReasonDescription, "description", "is missing")
	}
	d, err := wire.DescriptionFromProto(answer.GetDescription())
	if err != nil {
		return nil, p.brokenBy(fault.Within("description", err))
	}
	if err := engine.CheckDescriptor(&d); err != nil {
		return nil, p.brokenBy(err)
	}
	if p.config.Name != "" && d.Name != p.config.Name {
		return nil, p.broken(ReasonDescription, "description.name", fmt.Sprintf("is %q; this server was told that it is %q", d.Name, p.config.Name))
	}
	return &Strategy{plugin: p, d: d}, nil
}

func versions(list []int32) string {
	if len(list) == 0 {
		return "none"
	}
	var out []string
	for _, v := range list[:min(len(list), maxProtocols)] {
		out = append(out, fmt.Sprint(v))
	}
	return strings.Join(out, ", ")
}

// call makes one call within the plug-in's time.
func call[Q, A any](ctx context.Context, p *Plugin, method func(context.Context, *Q, ...grpc.CallOption) (*A, error), q *Q) (*A, error) {
	if err := ctx.Err(); err != nil {
		return nil, fault.Wrap(fault.Canceled, ReasonCanceled, err)
	}
	within, cancel := context.WithTimeout(ctx, p.config.Timeout)
	defer cancel()
	a, err := method(within, q)
	if err != nil {
		return nil, p.failed(ctx, err)
	}
	return a, nil
}
