// Package draw makes the random numbers of a trial so that a stranger can make them again.
//
// A language's own generator may change between versions, so a trial stores no seed of
// one. Number i of a stream is the first eight bytes, big-endian, of
//
//	HMAC-SHA256(key, prefix + decimal(i)),   i = 0, 1, 2 ...
//
// (HMAC: RFC 2104; SHA-256: FIPS 180-4). The prefix says what the stream is for, as in
// "T1|S1|block0|": trial, stratum, block. Whole numbers below m come by rejection and
// orders by Fisher and Yates's shuffle, so every outcome is as likely as every other and
// anyone with the key and forty lines of any language gets the same arms.
//
// The key is made once, where a trial is frozen, from the system's secure generator,
// which lies outside this package. Its Commitment is published before the first athlete
// enrols and the key itself after the last outcome: Reveal compares the two.
//
// Simulation needs many numbers and no secret: Fast gives a seeded PCG behind the same
// interface.
package draw

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"hash"
	"math/rand/v2"
	"strconv"
	"strings"

	"github.com/phasewright/phasewright/engine/fault"
)

// KeyBytes is the length of a trial's key.
const KeyBytes = 32

// Reasons of faults.
const (
	ReasonKey        = "TRIAL_KEY"
	ReasonCommitment = "TRIAL_COMMITMENT"
)

// Source gives numbers that are uniform over all of uint64.
type Source interface{ Uint64() uint64 }

// Key is the secret of a trial.
type Key []byte

// NewKey takes the bytes of a key; fewer or more than KeyBytes are an Invalid fault.
func NewKey(b []byte) (Key, error) {
	if len(b) != KeyBytes {
		return nil, fault.New(fault.Invalid, ReasonKey, "key", fmt.Sprintf("has %d bytes; a trial's key has %d from a secure generator", len(b), KeyBytes))
	}
	return Key(append([]byte(nil), b...)), nil
}

// String hides the key, wherever it is printed.
func (Key) String() string { return "(key of a trial)" }

// GoString hides the key from %#v.
func (k Key) GoString() string { return k.String() }

// Commitment is the SHA-256 of the key in lower-case hexadecimal. It tells nothing of
// the key and fits no other.
func (k Key) Commitment() string {
	sum := sha256.Sum256(k)
	return hex.EncodeToString(sum[:])
}

// Reveal checks a key shown at the end against the commitment published at the start;
// another key is an Invalid fault.
func Reveal(k Key, commitment string) error {
	if got := k.Commitment(); got != strings.ToLower(commitment) {
		return fault.New(fault.Invalid, ReasonCommitment, "key", "is not the key that was committed to: its SHA-256 is "+got)
	}
	return nil
}

// Stream opens the stream of a prefix at its first number.
func (k Key) Stream(prefix string) *Stream {
	return &Stream{mac: hmac.New(sha256.New, k), prefix: prefix}
}

// Stream is a keyed sequence of numbers.
type Stream struct {
	mac    hash.Hash
	prefix string
	next   uint64
	buf    []byte
}

// Uint64 gives the next number.
func (s *Stream) Uint64() uint64 {
	s.buf = strconv.AppendUint(append(s.buf[:0], s.prefix...), s.next, 10)
	s.next++
	s.mac.Reset()
	s.mac.Write(s.buf)
	s.buf = s.mac.Sum(s.buf[:0])
	return binary.BigEndian.Uint64(s.buf)
}

// Fast is a seeded source for simulation: PCG-DXSM (O'Neill 2014) in Go's math/rand/v2.
// Streams of one seed are independent of each other.
func Fast(seed, stream uint64) Source { return rand.NewPCG(seed, stream) }

// Below gives a whole number from 0 to m-1, each as likely: what lies beyond the last
// whole multiple of m is drawn again. m is at least 1.
func Below(s Source, m uint64) uint64 {
	rest := -m % m // 2^64 modulo m
	for {
		if u := s.Uint64(); rest == 0 || u < -rest {
			return u % m
		}
	}
}

// Shuffle puts n things in one of the n! orders, each as likely: from the last place
// downwards, each changes with one of the places up to its own.
func Shuffle(s Source, n int, swap func(i, j int)) {
	for i := n - 1; i > 0; i-- {
		swap(i, int(Below(s, uint64(i+1))))
	}
}

// Weighted gives an index with the chance weights[i] / sum, and 0 where all are zero.
func Weighted(s Source, weights []uint64) int {
	var sum uint64
	for _, w := range weights {
		sum += w
	}
	if sum == 0 {
		return 0
	}
	u := Below(s, sum)
	for i, w := range weights {
		if u < w {
			return i
		}
		u -= w
	}
	return len(weights) - 1
}
