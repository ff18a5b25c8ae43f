package service

import (
	"bytes"
	"crypto/rand"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestMintGrows(t *testing.T) {
	at := time.UnixMilli(1_770_000_000_123)
	steps := []time.Duration{0, 0, time.Millisecond, -time.Hour, 0, 2 * time.Hour, -time.Millisecond}
	i := 0
	m := NewMint(func() time.Time { at = at.Add(steps[i%len(steps)]); i++; return at }, rand.Reader)
	var last ID
	for range 20_000 {
		id, err := m.New()
		require.NoError(t, err)
		require.NoError(t, id.Check("id"))
		require.Negative(t, bytes.Compare(last[:], id[:]), "%s after %s", id, last)
		last = id
	}
}

func TestMintTellsTheTime(t *testing.T) {
	m := NewMint(func() time.Time { return time.UnixMilli(0x0123456789ab) }, rand.Reader)
	id, err := m.New()
	require.NoError(t, err)
	require.Equal(t, "01234567-89ab-7000-", id.String()[:19])
	_, err = NewMint(time.Now, bytes.NewReader(nil)).New()
	require.Error(t, err, "no id without randomness")
}

func TestIDsReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var id ID
		copy(id[:], rapid.SliceOfN(rapid.Byte(), 16, 16).Draw(t, "id"))
		got, err := ParseID(id.String())
		require.NoError(t, err)
		require.Equal(t, id, got)
	})
	for _, bad := range []string{"", "0", "01234567-89ab-7000-8000-00000000000", "01234567-89AB-7000-8000-000000000000", "0123456789ab70008000000000000000----", "g1234567-89ab-7000-8000-000000000000"} {
		_, err := ParseID(bad)
		require.Error(t, err, bad)
	}
}

func TestInstantsKeepMilliseconds(t *testing.T) {
	at := time.Date(2026, 3, 2, 9, 0, 0, 123_999_999, time.FixedZone("", 3600))
	require.Equal(t, time.Date(2026, 3, 2, 8, 0, 0, 123_000_000, time.UTC), At(at).Time())
}
