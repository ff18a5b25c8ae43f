package assign

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"math/big"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// auditor draws arms again from what the package comment says and nothing else.
type auditor struct {
	key, prefix string
	i           int
}

func (a *auditor) below(m int64) int {
	all := new(big.Int).Lsh(big.NewInt(1), 64)
	limit := new(big.Int).Mul(new(big.Int).Div(all, big.NewInt(m)), big.NewInt(m))
	for {
		h := hmac.New(sha256.New, []byte(a.key))
		fmt.Fprintf(h, "%s%d", a.prefix, a.i)
		a.i++
		u := new(big.Int).SetUint64(binary.BigEndian.Uint64(h.Sum(nil)))
		if u.Cmp(limit) < 0 {
			return int(new(big.Int).Mod(u, big.NewInt(m)).Int64())
		}
	}
}

func (a *auditor) shuffle(s string) string {
	b := []byte(s)
	for i := len(b) - 1; i > 0; i-- {
		j := a.below(int64(i + 1))
		b[i], b[j] = b[j], b[i]
	}
	return string(b)
}

func TestAnAuditorDrawsTheSameArms(t *testing.T) {
	k := string(key)
	arms := func(d Design, units []Unit) string {
		m := run(t, d, units, Keyed(key))
		require.NoError(t, m.Close())
		out := ""
		for _, a := range m.Assigned() {
			out += d.Arms[a.Arm].ID
		}
		return out
	}
	blocks := designs()[3]
	want := ""
	for b := 0; len(want) < 100; b++ {
		size := blocks.Blocks[(&auditor{k, fmt.Sprintf("t||block%dsize|", b), 0}).below(2)]
		want += (&auditor{k, fmt.Sprintf("t||block%d|", b), 0}).shuffle(strings.Repeat("A", size/2) + strings.Repeat("B", size/2))
	}
	require.Equal(t, want[:100], arms(blocks, people(blocks, 100, 2)))

	complete := designs()[0]
	want = ""
	for u := range 50 {
		want += string("AB"[(&auditor{k, fmt.Sprintf("t|all|unit%d|", u), 0}).below(2)])
	}
	require.Equal(t, want, arms(complete, people(complete, 50, 2)))

	// Totals: 2 to 1 of 31 leaves one place, whose arm is drawn first.
	totals := designs()[1]
	a := &auditor{k, "t|all|totals|", 0}
	last := a.shuffle("AAB")
	require.Equal(t, a.shuffle(strings.Repeat("A", 20)+strings.Repeat("B", 10)+last[:1]), arms(totals, people(totals, 31, 2)))

	// Pairs, in the order in which matching gives them: by their earlier unit.
	pairs := designs()[4]
	units := people(pairs, 20, 2)
	m := run(t, pairs, units, Keyed(key))
	require.NoError(t, m.Close())
	next := 0
	for _, x := range m.Assigned() {
		if x.Pair == next+1 {
			require.Equal(t, (&auditor{k, fmt.Sprintf("t|all|pair%d|", next), 0}).below(2), x.Arm)
			next++
		}
	}
	require.Equal(t, 10, next)
}
