package service

import (
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"io"
	"sync"
	"time"
)

// ParseID reads a UUID in the one spelling that String prints.
func ParseID(s string) (ID, error) {
	var id ID
	if len(s) == 36 && s[8] == '-' && s[13] == '-' && s[18] == '-' && s[23] == '-' {
		digits := s[:8] + s[9:13] + s[14:18] + s[19:23] + s[24:]
		if _, err := hex.Decode(id[:], []byte(digits)); err == nil && id.String() == s {
			return id, nil
		}
	}
	return ID{}, fmt.Errorf("%q is not a UUID in lower-case hex digits", s)
}

// Mint makes ids: UUIDs of version 7 (RFC 9562), each greater than the one before,
// also when the clock steps back. 62 bits are random. Safe for concurrent use.
type Mint struct {
	mu     sync.Mutex
	now    func() time.Time
	random io.Reader
	last   uint64 // 48 bits of milliseconds, then 12 of a counter within them
}

// NewMint takes a clock and a source of random bytes.
func NewMint(now func() time.Time, random io.Reader) *Mint { return &Mint{now: now, random: random} }

// New makes an id. The error is the random source's.
func (m *Mint) New() (ID, error) {
	var id ID
	m.mu.Lock()
	defer m.mu.Unlock()
	if _, err := io.ReadFull(m.random, id[8:]); err != nil {
		return ID{}, err
	}
	t := uint64(m.now().UnixMilli()) << 12
	if t <= m.last {
		t = m.last + 1
	}
	m.last = t
	binary.BigEndian.PutUint64(id[:8], t>>12<<16|t&0xfff)
	id[6] |= 0x70
	id[8] = id[8]&0x3f | 0x80
	return id, nil
}
