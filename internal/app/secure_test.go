package app

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/base32"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"encoding/pem"
	"io"
	"math/big"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/internal/rpc"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/store/memory"
	"github.com/phasewright/phasewright/internal/store/storetest"
)

// What others could reach is refused where it would be open to them.
func TestOpenAddressesAreRefused(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*Config)
		want   string
	}{
		{"dev for all", func(c *Config) { c.Dev, c.GRPCAddr = true, "0.0.0.0:0" }, "grpc-addr"},
		{"dev without an address", func(c *Config) { c.Dev, c.HTTPAddr = true, ":0" }, "http-addr"},
		{"dev for all, version 6", func(c *Config) { c.Dev, c.HTTPAddr = true, "[::]:0" }, "http-addr"},
		{"dev insecure", func(c *Config) { c.Dev, c.Insecure, c.HTTPAddr = true, true, "0.0.0.0:0" }, "http-addr"},
		{"plain text", func(c *Config) { c.Data.Dir, c.HTTPAddr = "x", "0.0.0.0:0" }, "plain text"},
		{"half a certificate", func(c *Config) { c.Data.Dir, c.TLSCert = "x", "cert.pem" }, "tls-key"},
		{"nowhere to keep keys", func(*Config) {}, "data-dir"},
		{"no burst", func(c *Config) { c.Dev, c.Burst = true, 0 }, "burst"},
	} {
		config := DefaultConfig()
		config.GRPCAddr, config.HTTPAddr = "127.0.0.1:0", "127.0.0.1:0"
		c.change(&config)
		_, err := New(config)
		require.ErrorContains(t, err, c.want, c.name)
	}
	for name, change := range map[string]func(*Config){
		"certificates":       func(c *Config) { c.HTTPAddr, c.TLSCert, c.TLSKey = "0.0.0.0:0", "cert.pem", "key.pem" },
		"a proxy":            func(c *Config) { c.GRPCAddr, c.HTTPAddr, c.Insecure = "0.0.0.0:0", "0.0.0.0:0", true },
		"metrics, of nobody": func(c *Config) { c.Admin = "0.0.0.0:0" },
	} {
		config := DefaultConfig()
		config.Data.Dir = "x"
		change(&config)
		require.NoError(t, config.Check(), name)
	}
}

// The first key comes once; without its pepper a directory is not opened.
func TestFirstKey(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	made := 0
	open := func() error {
		c := DefaultConfig()
		c.GRPCAddr, c.HTTPAddr, c.Data.Dir = "127.0.0.1:0", "127.0.0.1:0", dir
		c.FirstKey = func(string) error { made++; return nil }
		a, err := New(c)
		if err != nil {
			return err
		}
		return a.Close()
	}
	require.NoError(t, open())
	require.Equal(t, 1, made)
	require.NoError(t, open())
	require.Equal(t, 1, made)
	pepper := filepath.Join(dir, pepperFile)
	require.NoError(t, os.Chmod(pepper, 0o644))
	require.ErrorContains(t, open(), "chmod 600")
	require.NoError(t, os.Remove(pepper))
	require.ErrorContains(t, open(), "pepper")
}

// The secret of a key is 256 bits, none of them always the same.
func TestSecretsAreRandom(t *testing.T) {
	a := service.NewAccess(memory.New(now), service.Pepper{}, time.Now)
	var ones, zeros [32]byte
	seen := map[string]bool{}
	for range 100 { // a bit that is random is the same in all with 2 to the -99th
		made, err := a.Found(context.Background(), service.MainTenant, order())
		require.NoError(t, err)
		secret, err := base32.StdEncoding.WithPadding(base32.NoPadding).DecodeString(strings.ToUpper(strings.Split(made.Secret, "_")[3]))
		require.NoError(t, err)
		require.Len(t, secret, len(ones))
		for i, b := range secret {
			ones[i] |= b
			zeros[i] |= ^b
		}
		seen[string(secret)] = true
	}
	require.Len(t, seen, 100)
	for i := range ones {
		require.EqualValues(t, 0xff, ones[i]&zeros[i], "byte %d", i)
	}
}

// The pepper is in its own file, and in no other and in no backup; under another one the
// same database takes none of its keys.
func TestPepperIsInNoBackup(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	r, admin := locked(t, func(c *Config) { c.Data.Dir = dir })
	backups := t.TempDir()
	require.NoError(t, Backup(context.Background(), dir, filepath.Join(backups, "copy.db")))
	require.NoError(t, r.stop())
	pepper, err := readPepper(filepath.Join(dir, pepperFile))
	require.NoError(t, err)
	forms := []string{string(pepper[:]), hex.EncodeToString(pepper[:]), base64.StdEncoding.EncodeToString(pepper[:])}
	require.NotEmpty(t, storetest.Found(t, dir, forms), "the search finds what is there")
	require.Empty(t, storetest.Found(t, backups, forms))
	require.NoError(t, os.Remove(filepath.Join(dir, pepperFile)))
	require.Empty(t, storetest.Found(t, dir, forms))

	for _, c := range []struct {
		pepper service.Pepper
		taken  bool
	}{{pepper, true}, {service.Pepper{1}, false}} {
		require.NoError(t, writePepper(filepath.Join(dir, pepperFile), c.pepper))
		s, p, err := Data{Dir: dir}.Open(context.Background())
		require.NoError(t, err)
		_, err = service.NewAccess(s, p, time.Now).Authenticate(context.Background(), admin)
		require.Equal(t, c.taken, err == nil, "%v", err)
		require.NoError(t, s.Close())
	}
}

// A key is followed by another while both work; then the first is revoked.
func TestKeysAreRotated(t *testing.T) {
	r, admin := locked(t)
	call := func(key string) codes.Code {
		_, err := pb.NewCatalogueServiceClient(r.conn).ListMuscles(as(key), &pb.ListMusclesRequest{})
		return status.Code(err)
	}
	same := &pb.ApiKey{DisplayName: "desk", Scopes: []pb.Scope{pb.Scope_SCOPE_READ}}
	old, first := r.makeKey(t, admin, same)
	_, second := r.makeKey(t, admin, same)
	require.Equal(t, []codes.Code{codes.OK, codes.OK}, []codes.Code{call(first), call(second)})
	_, err := pb.NewAccessServiceClient(r.conn).RevokeApiKey(as(admin), &pb.RevokeApiKeyRequest{Name: old.GetName()})
	require.NoError(t, err)
	require.Equal(t, []codes.Code{codes.Unauthenticated, codes.OK}, []codes.Code{call(first), call(second)})
}

// A tenant that calls too often is told how long to wait, alike over both transports, and
// another one is not slowed down.
func TestRates(t *testing.T) {
	r, admin := locked(t, func(c *Config) { c.Rate, c.Burst = 0.5, 3 })
	var header metadata.MD
	call := func(key string) error {
		_, err := pb.NewCatalogueServiceClient(r.conn).ListMuscles(as(key), &pb.ListMusclesRequest{}, grpc.Header(&header))
		return err
	}
	require.NoError(t, call(admin))
	require.Equal(t, []string{`"default";q=3;w=6`}, header.Get(rpc.HeaderPolicy))
	require.Equal(t, []string{`"default";r=2;t=2`}, header.Get(rpc.HeaderLimit))
	require.NoError(t, call(admin))
	require.NoError(t, call(admin))
	err := call(admin)
	require.Equal(t, codes.ResourceExhausted, status.Code(err))
	require.Equal(t, []string{`"default";r=0;t=2`}, header.Get(rpc.HeaderLimit))
	var info, retry, quota int
	for _, d := range status.Convert(err).Details() {
		switch d := d.(type) {
		case *errdetails.ErrorInfo:
			info++
			require.Equal(t, rpc.ReasonRate, d.GetReason())
		case *errdetails.RetryInfo:
			retry++
			require.InDelta(t, 2, d.GetRetryDelay().AsDuration().Seconds(), 1)
		case *errdetails.QuotaFailure:
			quota++
		}
	}
	require.Equal(t, []int{1, 1, 1}, []int{info, retry, quota})

	q, err := http.NewRequest("GET", r.url("/v1/muscles"), nil)
	require.NoError(t, err)
	q.Header.Set("Authorization", "Bearer "+admin)
	a, err := http.DefaultClient.Do(q)
	require.NoError(t, err)
	body, err := io.ReadAll(a.Body)
	require.NoError(t, err)
	require.NoError(t, a.Body.Close())
	require.Equal(t, http.StatusTooManyRequests, a.StatusCode, string(body))
	wait, err := strconv.Atoi(a.Header.Get("Retry-After"))
	require.NoError(t, err)
	require.Contains(t, []int{1, 2}, wait)
	require.Equal(t, `"default";q=3;w=6`, a.Header.Get("RateLimit-Policy"))
	require.True(t, strings.HasPrefix(a.Header.Get("RateLimit"), `"default";r=0;t=`), a.Header.Get("RateLimit"))
	var answer struct {
		Details []map[string]any `json:"details"`
	}
	require.NoError(t, json.Unmarshal(body, &answer))
	require.Len(t, answer.Details, 3)

	// Wrong keys don't use up what the tenant has, and another tenant has its own.
	other, err := r.access.Found(context.Background(), "gym", order())
	require.NoError(t, err)
	require.NoError(t, call(other.Secret))
}

// pair writes a certificate for this machine and its key, and gives what trusts it.
func pair(t *testing.T, cert, key string, serial int64) *tls.Config {
	t.Helper()
	private, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	form := &x509.Certificate{
		SerialNumber: big.NewInt(serial), NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true,
		KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign,
	}
	der, err := x509.CreateCertificate(rand.Reader, form, form, private.Public(), private)
	require.NoError(t, err)
	raw, err := x509.MarshalPKCS8PrivateKey(private)
	require.NoError(t, err)
	write := func(name, kind string, data []byte) {
		require.NoError(t, os.WriteFile(name+".new", pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: data}), 0o600))
		require.NoError(t, os.Rename(name+".new", name))
	}
	write(cert, "CERTIFICATE", der)
	write(key, "PRIVATE KEY", raw)
	pool := x509.NewCertPool()
	parsed, err := x509.ParseCertificate(der)
	require.NoError(t, err)
	pool.AddCert(parsed)
	return &tls.Config{RootCAs: pool}
}

// TLS 1.3 on both ports, nothing older, and a new certificate without a new start.
func TestTLS(t *testing.T) {
	dir := t.TempDir()
	cert, key := filepath.Join(dir, "cert.pem"), filepath.Join(dir, "key.pem")
	trust := pair(t, cert, key, 1)
	r, admin := locked(t, func(c *Config) { c.TLSCert, c.TLSKey = cert, key })

	client, err := rpc.NewClient(r.GRPCAddr(), rpc.WithTLS(trust), rpc.WithKey(admin))
	require.NoError(t, err)
	defer client.Close()
	_, err = client.Strategies(context.Background())
	require.NoError(t, err)
	keys, err := client.Keys(context.Background())
	require.NoError(t, err)
	require.Len(t, keys, 1)

	web := &http.Client{Transport: &http.Transport{TLSClientConfig: trust}}
	a, err := web.Get("https://" + r.HTTPAddr() + "/readyz")
	require.NoError(t, err)
	require.NoError(t, a.Body.Close())
	require.Equal(t, 200, a.StatusCode)
	for _, at := range []string{r.GRPCAddr(), r.HTTPAddr()} {
		_, err = tls.Dial("tcp", at, &tls.Config{RootCAs: trust.RootCAs, MaxVersion: tls.VersionTLS12})
		require.Error(t, err, "TLS 1.2")
	}
	_, err = r.conn.NewStream(as(admin), &grpc.StreamDesc{}, "/phasewright.v1.CatalogueService/ListMuscles")
	require.Error(t, err, "plain text")

	renewed := pair(t, cert, key, 2)
	require.Eventually(t, func() bool {
		c, err := tls.Dial("tcp", r.HTTPAddr(), renewed)
		if err != nil {
			return false
		}
		return c.Close() == nil
	}, 10*time.Second, 50*time.Millisecond)
	require.NoError(t, os.WriteFile(cert, []byte("nothing"), 0o600))
	require.Eventually(t, func() bool {
		c, err := tls.Dial("tcp", r.HTTPAddr(), renewed) // the one before stays
		require.NoError(t, err)
		require.NoError(t, c.Close())
		return strings.Contains(r.log.String(), "the one before stays")
	}, 10*time.Second, 50*time.Millisecond)
}

// Probes see when the store does not answer; whether the process lives is another question.
func TestReadinessFollowsTheStore(t *testing.T) {
	r, _ := locked(t)
	ready := func() int { code, _ := get(t, r.url("/readyz")); return code }
	require.Equal(t, 200, ready())
	require.NoError(t, r.store.Close())
	require.Eventually(t, func() bool { return ready() == 503 }, 5*time.Second, 20*time.Millisecond)
	live, _ := get(t, r.url("/livez"))
	require.Equal(t, 200, live)
}

func order() service.Order { return service.Order{Scopes: service.Scopes()} }

// A key over REST, with a time at which it ends.
func TestKeyOverREST(t *testing.T) {
	r, admin := locked(t)
	post := func(path, body string) (int, string) {
		q, err := http.NewRequest("POST", r.url(path), strings.NewReader(body))
		require.NoError(t, err)
		q.Header.Set("Authorization", "Bearer "+admin)
		q.Header.Set("Content-Type", "application/json")
		a, err := http.DefaultClient.Do(q)
		require.NoError(t, err)
		defer a.Body.Close()
		got, err := io.ReadAll(a.Body)
		require.NoError(t, err)
		return a.StatusCode, string(got)
	}
	code, body := post("/v1/apiKeys", `{"apiKey": {"displayName": "desk", "scopes": ["SCOPE_READ"], "expireTime": "2999-01-02T03:04:05Z"}}`)
	require.Equal(t, 200, code, body)
	var made struct {
		APIKey struct{ Name, ExpireTime string }
		Secret string
	}
	require.NoError(t, json.Unmarshal([]byte(body), &made))
	require.Equal(t, "2999-01-02T03:04:05Z", made.APIKey.ExpireTime)
	code, body = post("/v1/apiKeys", `{"apiKey": {"scopes": ["SCOPE_READ"], "expireTime": "1999-01-02T03:04:05Z"}}`)
	require.Equal(t, 400, code)
	require.Contains(t, body, `"field":"apiKey.expireTime"`)
	code, body = post("/v1/apiKeys", `{"apiKey": {"scopes": ["SCOPE_READ"], "expireTime": "soon"}}`)
	require.Equal(t, 400, code)
	require.Contains(t, body, "a time is needed")
	code, body = post("/v1/"+made.APIKey.Name+":revoke", `{}`)
	require.Equal(t, 200, code, body)
	require.Contains(t, body, "revokeTime")
}
