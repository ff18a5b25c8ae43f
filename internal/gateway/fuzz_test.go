package gateway

import (
	"bufio"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// FuzzBody: whatever a body holds, the answer is a program or a refusal in the shape
// that all have.
func FuzzBody(f *testing.F) {
	for _, s := range []string{
		minimal(f), "", "{", "null", "[]", `{"request":{"seed":1e999}}`, "{\"request\":{\"\\u0000\":\"\\ud800\"}}",
		`{"request":{"plan":{"tracks":[{"segments":[{"parameters":{"a.b[0]":{"":null}}}]}]}}}`,
		`{"request":{"constraints":{"place_periods":[{"fromWeek":-1}]}}}`,
	} {
		f.Add([]byte(s))
	}
	h := serve(f, &fake{})
	f.Fuzz(func(t *testing.T, data []byte) {
		w := post(h, generate, string(data))
		if w.Code == 200 {
			return
		}
		require.Less(t, w.Code, 500, w.Body.String())
		failed(t, w)
	})
}

// FuzzTarget: the same for whatever stands behind the host's name.
func FuzzTarget(f *testing.F) {
	for _, s := range []string{"/v1/exercises?pageSize=1", "/v1/exercises/%00?a[b]=c", "/v1/{name=exercises/*}", "/v1/programs:generate?x", "/%ff?%ff=%ff", "//", "/v1/strategies/:generate"} {
		f.Add("GET", s)
	}
	h := serve(f, &fake{})
	f.Fuzz(func(t *testing.T, method, target string) {
		r, ok := request(method, target)
		if !ok {
			return
		}
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		if w.Code < 400 {
			return
		}
		require.Less(t, w.Code, 500, w.Body.String())
		if method != "HEAD" {
			failed(t, w)
		}
	})
}

// request makes one as net/http reads it; false for what it refuses itself.
func request(method, target string) (*http.Request, bool) {
	r, err := http.ReadRequest(bufio.NewReader(strings.NewReader(method + " " + target + " HTTP/1.1\r\nHost: x\r\n\r\n")))
	return r, err == nil
}
