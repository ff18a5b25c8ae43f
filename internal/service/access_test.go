package service

import (
	"bytes"
	"crypto/aes"
	"crypto/cipher"
	"crypto/hkdf"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// A key reads back as it was printed, and in no other spelling.
func TestCredentialHasOneSpelling(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := credential{tenant: Tenant(rapid.StringMatching(`[a-z][a-z0-9-]{0,62}`).Draw(t, "tenant"))}
		copy(c.id[:], rapid.SliceOfN(rapid.Byte(), 16, 16).Draw(t, "id"))
		c.id[6], c.id[8] = c.id[6]&0x0f|0x70, c.id[8]&0x3f|0x80
		copy(c.secret[:], rapid.SliceOfN(rapid.Byte(), SecretBytes, SecretBytes).Draw(t, "secret"))
		s := c.String()
		if got, ok := parseCredential(s); !ok || got != c {
			t.Fatalf("%s became %v", s, got)
		}
		at := rapid.IntRange(0, len(s)-1).Draw(t, "at")
		to := rapid.ByteRange(' ', '~').Draw(t, "to")
		changed := s[:at] + string(to) + s[at+1:]
		if _, ok := parseCredential(changed); ok && changed != s {
			t.Fatalf("%s is taken too", changed)
		}
	})
}

func FuzzCredential(f *testing.F) {
	c := credential{tenant: MainTenant}
	c.id[6], c.id[8] = 0x70, 0x80
	f.Add(c.String())
	f.Add("phw_main___")
	f.Fuzz(func(t *testing.T, s string) {
		if got, ok := parseCredential(s); ok && got.String() != s {
			t.Fatalf("%q is another spelling of %q", s, got.String())
		}
	})
}

// What is stored fits one pepper, tenant, id and secret only.
func TestHashIsBound(t *testing.T) {
	var p, q Pepper
	q[0] = 1
	c := credential{tenant: "a"}
	seen := [][]byte{p.hash(&c), q.hash(&c)}
	for _, change := range []func(*credential){
		func(c *credential) { c.tenant = "b" }, func(c *credential) { c.id[0] = 1 }, func(c *credential) { c.secret[31] = 1 },
	} {
		other := c
		change(&other)
		seen = append(seen, p.hash(&other))
	}
	mac := hmac.New(sha256.New, q[:])
	mac.Write(slices.Concat([]byte("key\x00a\x00"), c.id[:], c.secret[:]))
	require.Equal(t, mac.Sum(nil), seen[1], "HMAC-SHA256 under the pepper")
	for i := range seen {
		for j := range i {
			require.False(t, bytes.Equal(seen[i], seen[j]), "%d and %d", i, j)
		}
	}
}

// A secret that is kept for retries is opened by the same server for the same request
// only.
func TestSealedSecret(t *testing.T) {
	var p, q Pepper
	q[5] = 1
	sealed, err := p.seal("a", "r1", "hush", rand.Reader)
	require.NoError(t, err)
	require.NotContains(t, string(sealed), "hush")
	got, err := p.open("a", "r1", sealed)
	require.NoError(t, err)
	require.Equal(t, "hush", got)
	key, err := hkdf.Key(sha256.New, p[:], nil, "answer\x00a\x00r1", 32) // of 256 bits
	require.NoError(t, err)
	block, err := aes.NewCipher(key)
	require.NoError(t, err)
	box, err := cipher.NewGCM(block)
	require.NoError(t, err)
	plain, err := box.Open(nil, sealed[:12], sealed[12:], nil)
	require.NoError(t, err, "AES-256-GCM")
	require.Equal(t, "hush", string(plain))
	for _, try := range []func() (string, error){
		func() (string, error) { return q.open("a", "r1", sealed) },
		func() (string, error) { return p.open("b", "r1", sealed) },
		func() (string, error) { return p.open("a", "r2", sealed) },
		func() (string, error) { return p.open("a", "r1", sealed[:5]) },
		func() (string, error) { return p.open("a", "r1", append([]byte{0}, sealed...)) },
	} {
		_, err := try()
		require.Error(t, err)
	}
}

// The audit log takes resource names and no other text.
func TestOnlyNamesAreRecorded(t *testing.T) {
	const id = "018f0000-0000-7000-8000-000000000000"
	for name, want := range map[string]string{
		"athletes/" + id:                        id,
		"athletes/" + id + "/sessionLogs/" + id: id,
		"apiKeys/" + id:                         ID{}.String(),
	} {
		got, athlete := named(name)
		require.Equal(t, name, got)
		require.Equal(t, want, athlete.String())
	}
	for _, name := range []string{"", "athletes/Jane Doe", "athletes", "Jane Doe/" + id, "athletes/" + strings.ToUpper(id), "athletes/" + id + "/", strings.Repeat("a/"+id+"/", 4) + "a/" + id} {
		got, _ := named(name)
		require.Empty(t, got, name)
	}
}
