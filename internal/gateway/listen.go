package gateway

import (
	"net"
	"net/netip"
	"sync"
)

// Connections open at once.
const (
	MaxConns      = 10_000
	MaxConnsPerIP = 200
)

// Limit bounds the connections of a listener that are open at once: beyond total it
// accepts no more until one closes, so that they queue in the kernel; beyond perIP it
// closes the new one. An IPv6 caller is its /64, as one has all of it.
func Limit(l net.Listener, total, perIP int) net.Listener {
	return &limited{Listener: l, slots: make(chan struct{}, total), perIP: perIP, open: map[netip.Addr]int{}, closed: make(chan struct{})}
}

type limited struct {
	net.Listener
	slots  chan struct{}
	perIP  int
	closed chan struct{}
	once   sync.Once

	mu   sync.Mutex
	open map[netip.Addr]int
}

func (l *limited) Accept() (net.Conn, error) {
	for {
		select {
		case l.slots <- struct{}{}:
		case <-l.closed:
			return nil, net.ErrClosed
		}
		c, err := l.Listener.Accept()
		if err != nil {
			<-l.slots
			return nil, err
		}
		ip := caller(c.RemoteAddr())
		if l.enter(ip) {
			return &limitedConn{Conn: c, l: l, ip: ip}, nil
		}
		<-l.slots
		_ = c.Close()
	}
}

func (l *limited) Close() error {
	l.once.Do(func() { close(l.closed) })
	return l.Listener.Close()
}

func (l *limited) enter(ip netip.Addr) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	if ip.IsValid() && l.open[ip] >= l.perIP {
		return false
	}
	l.open[ip]++
	return true
}

func (l *limited) leave(ip netip.Addr) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.open[ip]--; l.open[ip] == 0 {
		delete(l.open, ip)
	}
	<-l.slots
}

// caller gives what is counted for an address; the zero value, without a bound of its
// own, where there is no IP.
func caller(a net.Addr) netip.Addr {
	t, ok := a.(*net.TCPAddr)
	if !ok {
		return netip.Addr{}
	}
	ip := t.AddrPort().Addr().Unmap().WithZone("")
	if ip.Is6() {
		p, _ := ip.Prefix(64)
		return p.Addr()
	}
	return ip
}

type limitedConn struct {
	net.Conn
	l    *limited
	ip   netip.Addr
	once sync.Once
}

func (c *limitedConn) Close() error {
	err := c.Conn.Close()
	c.once.Do(func() { c.l.leave(c.ip) })
	return err
}
