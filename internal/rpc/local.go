package rpc

import (
	"context"
	"net"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/peer"
	"google.golang.org/grpc/test/bufconn"
)

const localBuffer = 1 << 20

// Local is a listener in memory, for callers in the same process that are to go the
// same way as all others.
type Local struct{ *bufconn.Listener }

// NewLocal makes one.
func NewLocal() Local { return Local{bufconn.Listen(localBuffer)} }

// Made says whether a call on a server came in over such a listener.
func (l Local) Made(ctx context.Context) bool {
	p, ok := peer.FromContext(ctx)
	return ok && p.Addr.Network() == l.Addr().Network()
}

// Connect makes a connection to what is served on it.
func (l Local) Connect(options ...grpc.DialOption) (*grpc.ClientConn, error) {
	return grpc.NewClient("passthrough:///in-memory", append([]grpc.DialOption{
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return l.DialContext(ctx) }),
		grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(answerBytes)),
	}, options...)...)
}
