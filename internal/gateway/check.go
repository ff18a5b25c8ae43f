package gateway

import (
	"context"
	"fmt"
	"mime"
	"net/http"
	"regexp"
	"strings"
	"unicode/utf8"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"github.com/phasewright/phasewright/engine/fault"
)

// Reasons of refusals that only REST knows. Query keys share the reasons of fields in
// a body.
const (
	ReasonRoute           = "UNKNOWN_ROUTE"
	ReasonMethod          = "METHOD_NOT_ALLOWED"
	ReasonPath            = "PATH_MALFORMED"
	ReasonQuery           = "QUERY_MALFORMED"
	ReasonContentType     = "CONTENT_TYPE"
	ReasonContentEncoding = "CONTENT_ENCODING"
	ReasonTimeout         = "TIMEOUT_MALFORMED"
	ReasonBodyUnexpected  = "BODY_UNEXPECTED"
	ReasonBodyIncomplete  = "BODY_INCOMPLETE"
	ReasonNotReady        = "NOT_READY"

	reasonUnknownField = "UNKNOWN_FIELD"
	reasonUnknownValue = "UNKNOWN_VALUE"
	reasonTwice        = "FIELD_TWICE"
	reasonType         = "WRONG_TYPE"
	reasonTooLarge     = "TOO_LARGE"
)

// call is what is learnt about one request on its way.
type call struct {
	route   *route
	written map[string]string // spelling of schema paths
	err     error             // why the body was not taken
	match   bool              // there is an If-Match
	have    string            // If-None-Match
}

type callKey struct{}

func callOf(ctx context.Context) *call {
	c, _ := ctx.Value(callKey{}).(*call)
	return c
}

var timeoutForm = regexp.MustCompile(`^[0-9]{1,8}[HMSmun]$`)

// check stands before every generated handler: it refuses what those let pass.
func (g *gateway) check(next runtime.HandlerFunc) runtime.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request, params map[string]string) {
		if hit := probe(r.Context()); hit != nil {
			*hit = true
			return
		}
		pattern, _ := runtime.HTTPPattern(r.Context())
		rt := g.routes[r.Method+" "+pattern.String()]
		if rt == nil {
			panic("no route for " + pattern.String())
		}
		if a, ok := r.Context().Value(answerKey{}).(*answer); ok {
			a.route = rt.pattern
		}
		if !utf8.ValidString(r.URL.Path) {
			g.refuse(w, http.StatusBadRequest, ReasonPath, "", "the path is not UTF-8 text")
			return
		}
		if t := r.Header.Get("Grpc-Timeout"); t != "" && !timeoutForm.MatchString(t) {
			g.refuse(w, http.StatusBadRequest, ReasonTimeout, "", fmt.Sprintf("the header Grpc-Timeout is %.40q; a number and a unit of H, M, S, m, u, n are needed, such as 20S", t))
			return
		}
		if g.o.Allow != nil {
			if err := g.o.Allow(r.Context(), authorization(r)); err != nil {
				g.fail(w, g.o.Status(err), 0)
				return
			}
		}
		c := &call{route: rt}
		if !g.checkBody(w, r, c) || !g.conditions(w, r, c) {
			return
		}
		written, err := rt.query(r.URL.RawQuery)
		if err != nil {
			g.fail(w, g.o.Status(err), 0)
			return
		}
		c.written = written
		next(w, r.WithContext(context.WithValue(r.Context(), callKey{}, c)), params)
	}
}

// authorization gives the header; two of them are none.
func authorization(r *http.Request) string {
	if all := r.Header.Values("Authorization"); len(all) == 1 {
		return all[0]
	}
	return ""
}

// checkBody looks at the headers of a body and prepares its reading.
func (g *gateway) checkBody(w http.ResponseWriter, r *http.Request, c *call) bool {
	if !c.route.body {
		if r.ContentLength != 0 {
			g.refuse(w, http.StatusBadRequest, ReasonBodyUnexpected, "", r.Method+" takes no body here; send what is needed in the path and the query")
			return false
		}
		r.Body = http.NoBody
		return true
	}
	if e := r.Header.Values("Content-Encoding"); len(e) > 0 && !(len(e) == 1 && strings.EqualFold(e[0], "identity")) {
		w.Header().Set("Accept-Encoding", "identity")
		g.refuse(w, http.StatusUnsupportedMediaType, ReasonContentEncoding, "", fmt.Sprintf("the body is encoded as %.60q; send it as it is, without Content-Encoding", strings.Join(e, ", ")))
		return false
	}
	if says := contentType(r.Header.Values("Content-Type")); says != "" {
		w.Header().Set("Accept-Post", mimeJSON)
		g.refuse(w, http.StatusUnsupportedMediaType, ReasonContentType, "", says)
		return false
	}
	if r.ContentLength > g.o.MaxBody {
		g.fail(w, g.tooLarge(), 0)
		return false
	}
	r.Body = &body{ReadCloser: http.MaxBytesReader(w, r.Body, g.o.MaxBody), g: g, call: c}
	return true
}

const mimeJSON = "application/json"

// contentType says what is wrong with a Content-Type, or nothing.
func contentType(given []string) string {
	const send = "; send Content-Type: " + mimeJSON
	switch len(given) {
	case 0:
		return "the body has no Content-Type" + send
	case 1:
	default:
		return "there are several Content-Types" + send + " once"
	}
	t, param, err := mime.ParseMediaType(given[0])
	if err != nil || t != mimeJSON {
		return fmt.Sprintf("the body's Content-Type is %.80q", given[0]) + send
	}
	if cs, ok := param["charset"]; ok && !strings.EqualFold(cs, "utf-8") {
		return fmt.Sprintf("the body's charset is %.40q; JSON is sent in UTF-8", cs)
	}
	return ""
}

func (g *gateway) tooLarge() *status.Status {
	return g.o.Status(status.Errorf(codes.ResourceExhausted, "the body is larger than %d bytes, the most that is taken", g.o.MaxBody))
}

// refuse answers with a fault of the request itself.
func (g *gateway) refuse(w http.ResponseWriter, httpCode int, reason, field, says string) {
	g.fail(w, g.o.Status(fault.New(fault.Invalid, reason, field, says)), httpCode)
}
