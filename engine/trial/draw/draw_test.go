package draw

import (
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func vector(t *testing.T, name string, into any) {
	text, err := os.ReadFile("../testdata/stats_vectors.json")
	require.NoError(t, err)
	var raw []json.RawMessage
	require.NoError(t, json.Unmarshal(text, &raw))
	for _, r := range raw {
		var head struct{ Name string }
		require.NoError(t, json.Unmarshal(r, &head))
		if head.Name == name {
			require.NoError(t, json.Unmarshal(r, into))
			return
		}
	}
	t.Fatal(name)
}

// HMAC (RFC 2104) over SHA-256 (FIPS 180-4), made with R's digest.
func TestPublishedStream(t *testing.T) {
	var v struct {
		Inputs struct {
			Key      string
			Messages []string
		}
		Expected struct {
			HMAC  []string `json:"hmac_hex"`
			First []string `json:"first8bytes_hex"`
		}
	}
	vector(t, "seeded_stream_hmac_sha256", &v)
	require.Len(t, v.Inputs.Messages, 4)
	s := Key(v.Inputs.Key).Stream("T1|S1|block0|")
	for i, m := range v.Inputs.Messages {
		require.Equal(t, fmt.Sprintf("T1|S1|block0|%d", i), m)
		got := fmt.Sprintf("%016x", s.Uint64())
		require.Equal(t, v.Expected.First[i], got)
		require.True(t, strings.HasPrefix(v.Expected.HMAC[i], got))
	}
}

// RFC 4231, test case 2.
func TestPublishedHMAC(t *testing.T) {
	mac := Key("Jefe").Stream("").mac
	mac.Write([]byte("what do ya want for nothing?"))
	require.Equal(t, "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843", hex.EncodeToString(mac.Sum(nil)))
}

func TestPublishedBlocks(t *testing.T) {
	var v struct {
		Inputs struct {
			Key               string
			Prefixes, Initial []string
		}
		Expected struct {
			J      [][]uint64
			Blocks [][]string
		}
	}
	vector(t, "seeded_block_fisher_yates", &v)
	for i, prefix := range v.Inputs.Prefixes {
		block := append([]string(nil), v.Inputs.Initial...)
		var js []uint64
		Shuffle(Key(v.Inputs.Key).Stream(prefix), len(block), func(a, b int) {
			js = append(js, uint64(b))
			block[a], block[b] = block[b], block[a]
		})
		require.Equal(t, v.Expected.J[i], js)
		require.Equal(t, v.Expected.Blocks[i], block)
	}
}

// SHA-256 of "abc", FIPS 180-4's own example.
func TestPublishedCommitment(t *testing.T) {
	const abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
	require.Equal(t, abc, Key("abc").Commitment())
	require.NoError(t, Reveal(Key("abc"), abc))
	require.NoError(t, Reveal(Key("abc"), strings.ToUpper(abc)))
	require.Error(t, Reveal(Key("abd"), abc))
}

func TestKeyIsNeverPrinted(t *testing.T) {
	k, err := NewKey([]byte(strings.Repeat("secret!!", 4)))
	require.NoError(t, err)
	for _, verb := range []string{"%v", "%s", "%+v", "%#v"} {
		require.NotContains(t, fmt.Sprintf(verb, k), "secret")
		require.NotContains(t, fmt.Sprintf(verb, struct{ K Key }{k}), "secret")
	}
	_, err = NewKey([]byte("short"))
	require.Error(t, err)
}

// script gives the numbers told, in turn.
type script []uint64

func (s *script) Uint64() uint64 {
	v := (*s)[0]
	*s = (*s)[1:]
	return v
}

func TestBelowRejects(t *testing.T) {
	// 2^64 = 3 * 6148914691236517205 + 1: the last number alone is drawn again.
	require.EqualValues(t, 2, Below(&script{math.MaxUint64, 2}, 3))
	require.EqualValues(t, 2, Below(&script{math.MaxUint64 - 1}, 3))
	require.EqualValues(t, 7, Below(&script{math.MaxUint64}, 8))
	require.EqualValues(t, 0, Below(&script{5}, 1))
}

func TestBelowIsEven(t *testing.T) {
	s := Key("even").Stream("x|")
	var count [6]int
	const n = 60_000
	for range n {
		count[Below(s, 6)]++
	}
	var chi2 float64
	for _, c := range count {
		chi2 += float64((c-n/6)*(c-n/6)) / (n / 6)
	}
	require.Less(t, chi2, 20.5, "chi-squared, 5 df, 0.1 %%: %v", count)
}

func TestNormalMoments(t *testing.T) {
	z := Normal{Source: Fast(1, 2)}
	var s1, s2, s4 float64
	const n = 200_000
	for range n {
		x := z.Next()
		s1, s2, s4 = s1+x, s2+x*x, s4+x*x*x*x
	}
	require.InDelta(t, 0, s1/n, 4/math.Sqrt(n))
	require.InDelta(t, 1, s2/n, 4*math.Sqrt(2.0/n))
	require.InDelta(t, 3, s4/n, 4*math.Sqrt(96.0/n))
}

func TestWeighted(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := rapid.SliceOfN(rapid.Uint64Range(0, 5), 1, 6).Draw(t, "w")
		i := Weighted(Fast(rapid.Uint64().Draw(t, "seed"), 0), w)
		var sum uint64
		for _, x := range w {
			sum += x
		}
		if sum > 0 {
			require.NotZero(t, w[i])
		} else {
			require.Zero(t, i)
		}
	})
}
