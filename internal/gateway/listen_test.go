package gateway

import (
	"net"
	"net/netip"
	"testing"

	"github.com/stretchr/testify/require"
)

// conns is a listener whose connections come from given addresses.
type conns struct {
	from  chan net.Addr
	close chan struct{}
}

func (c conns) Accept() (net.Conn, error) {
	select {
	case a := <-c.from:
		here, there := net.Pipe()
		return conn{here, there, a}, nil
	case <-c.close:
		return nil, net.ErrClosed
	}
}
func (c conns) Close() error   { close(c.close); return nil }
func (c conns) Addr() net.Addr { return &net.TCPAddr{} }

type conn struct {
	net.Conn
	there net.Conn
	from  net.Addr
}

func (c conn) RemoteAddr() net.Addr { return c.from }

func tcp(ip string) net.Addr {
	return net.TCPAddrFromAddrPort(netip.AddrPortFrom(netip.MustParseAddr(ip), 1))
}

func TestConnectionsPerCaller(t *testing.T) {
	from := conns{make(chan net.Addr, 10), make(chan struct{})}
	l := Limit(from, 100, 2).(*limited)
	accept := func() net.Conn {
		c, err := l.Accept()
		require.NoError(t, err)
		return c
	}
	for _, ip := range []string{"10.0.0.1", "::ffff:10.0.0.1", "10.0.0.1", "10.0.0.2"} {
		from.from <- tcp(ip)
	}
	one, two := accept(), accept()
	other := accept() // the third of the first caller is closed on the way
	require.Equal(t, "10.0.0.2:1", other.RemoteAddr().String())

	require.NoError(t, one.Close())
	_ = one.Close() // counts once
	from.from <- tcp("10.0.0.1")
	again := accept()
	require.Equal(t, "10.0.0.1:1", again.RemoteAddr().String())
	for _, c := range []net.Conn{two, other, again} {
		require.NoError(t, c.Close())
	}
	require.Empty(t, l.open)
	require.Empty(t, l.slots)
}

func TestCallersOfIPv6AreNetworks(t *testing.T) {
	require.Equal(t, caller(tcp("2001:db8::1")), caller(tcp("2001:db8::2")))
	require.NotEqual(t, caller(tcp("2001:db8::1")), caller(tcp("2001:db8:0:1::1")))
	require.Equal(t, caller(tcp("fe80::1%eth0")), caller(tcp("fe80::1")))
	require.Equal(t, caller(tcp("10.0.0.1")), caller(tcp("::ffff:10.0.0.1")))
	require.Equal(t, netip.Addr{}, caller(&net.UnixAddr{Name: "x"}))
}

func TestConnectionsOverall(t *testing.T) {
	from := conns{make(chan net.Addr, 10), make(chan struct{})}
	l := Limit(from, 2, 1)
	unix := &net.UnixAddr{Name: "x"} // bounded overall only
	from.from <- unix
	from.from <- unix
	from.from <- unix
	first, err := l.Accept()
	require.NoError(t, err)
	_, err = l.Accept()
	require.NoError(t, err)
	require.Len(t, from.from, 1, "the third waits")
	next := make(chan error)
	go func() { _, err := l.Accept(); next <- err }()
	require.NoError(t, first.Close())
	require.NoError(t, <-next)

	go func() { _, err := l.Accept(); next <- err }()
	require.NoError(t, l.Close())
	require.ErrorIs(t, <-next, net.ErrClosed)
}
