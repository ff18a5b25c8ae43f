package app

import (
	"crypto/tls"
	"fmt"
	"log/slog"
	"net"
	"os"
	"sync"
	"time"
)

// certificate is a key pair that follows its files.
type certificate struct {
	cert, key string
	log       *slog.Logger

	mu      sync.Mutex
	pair    *tls.Certificate
	read    stamp
	checked time.Time
}

// stamp tells two states of the files apart.
type stamp struct {
	cert, key         time.Time
	certSize, keySize int64
}

const lookEvery = time.Second

func loadCertificate(cert, key string, log *slog.Logger) (*certificate, error) {
	c := &certificate{cert: cert, key: key, log: log}
	if err := c.load(); err != nil {
		return nil, fmt.Errorf("tls-cert, tls-key: %w", err)
	}
	return c, nil
}

func (c *certificate) load() error {
	at, err := c.stamp()
	if err != nil {
		return err
	}
	pair, err := tls.LoadX509KeyPair(c.cert, c.key)
	if err != nil {
		return err
	}
	c.pair, c.read = &pair, at
	return nil
}

func (c *certificate) stamp() (stamp, error) {
	cert, err := os.Stat(c.cert)
	if err != nil {
		return stamp{}, err
	}
	key, err := os.Stat(c.key)
	if err != nil {
		return stamp{}, err
	}
	return stamp{cert.ModTime(), key.ModTime(), cert.Size(), key.Size()}, nil
}

// get is asked at each handshake. Files that changed are read again; while they don't fit
// together the pair of before stays.
func (c *certificate) get(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if now := time.Now(); now.Sub(c.checked) >= lookEvery {
		c.checked = now
		at, err := c.stamp()
		if err == nil && at == c.read {
			return c.pair, nil
		}
		if err == nil {
			err = c.load()
		}
		if err != nil {
			c.log.Error("the new certificate can't be used; the one before stays", "error", err.Error())
		} else {
			c.log.Info("certificate read again")
		}
	}
	return c.pair, nil
}

// around puts TLS around what is accepted; nil puts nothing.
func (c *certificate) around(l net.Listener, protocol string) net.Listener {
	if c == nil {
		return l
	}
	return tls.NewListener(l, &tls.Config{MinVersion: tls.VersionTLS13, GetCertificate: c.get, NextProtos: []string{protocol}})
}
