package gateway

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"net/http"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/phasewright/phasewright/engine/fault"
)

// page is something the gateway answers itself.
type page func(w http.ResponseWriter, r *http.Request)

func (g *gateway) ownPages() map[string]page {
	p := map[string]page{
		"/": g.index(),
		"/livez": func(w http.ResponseWriter, _ *http.Request) {
			writeJSON(w, http.StatusOK, []byte("{\"status\":\"live\"}\n"))
		},
		"/readyz": g.ready,
	}
	if len(g.o.OpenAPI) > 0 {
		p["/openapi.json"] = kept(g.o.OpenAPI, func(w http.ResponseWriter) { writeJSON(w, http.StatusOK, g.o.OpenAPI) })
	}
	for path, d := range g.o.Docs {
		p[path] = kept(d.Body, func(w http.ResponseWriter) { writeDoc(w, d) })
	}
	return p
}

func (g *gateway) servePage(w http.ResponseWriter, r *http.Request, p page) {
	allow := withUsual([]string{http.MethodGet})
	switch r.Method {
	case http.MethodGet:
		p(w, r)
	case http.MethodOptions:
		w.Header().Set("Allow", strings.Join(allow, ", "))
		w.WriteHeader(http.StatusNoContent)
	default:
		g.noMethod(w, r, allow)
	}
}

func (g *gateway) ready(w http.ResponseWriter, _ *http.Request) {
	if g.o.Ready != nil && !g.o.Ready() {
		g.fail(w, g.o.Status(fault.New(fault.Unavailable, ReasonNotReady, "", "not ready: starting or stopping")), http.StatusServiceUnavailable)
		return
	}
	writeJSON(w, http.StatusOK, []byte("{\"status\":\"ready\"}\n"))
}

// resourceName is {name=exercises/*} in a pattern; people read exercises/*.
var resourceName = regexp.MustCompile(`\{[a-z_.]+=([^}]+)\}`)

func (g *gateway) index() page {
	var calls []string
	for k := range g.routes {
		calls = append(calls, resourceName.ReplaceAllString(k, "$1"))
	}
	slices.Sort(calls)
	where := struct {
		Service string   `json:"service"`
		Calls   []string `json:"calls"`
		Health  []string `json:"health"`
		OpenAPI string   `json:"openapi,omitempty"`
		Docs    string   `json:"docs,omitempty"`
	}{"phasewright", calls, []string{"GET /livez", "GET /readyz"}, "", ""}
	if len(g.o.OpenAPI) > 0 {
		where.OpenAPI = "GET /openapi.json"
	}
	if len(g.o.Docs) > 0 {
		where.Docs = "GET " + docsHome
	}
	data, _ := json.MarshalIndent(where, "", "  ") // text alone always has an encoding
	data = append(data, '\n')
	return func(w http.ResponseWriter, _ *http.Request) { writeJSON(w, http.StatusOK, data) }
}

const (
	docsHome  = "/docs"
	docsRoute = "/docs/*"
)

// kept is a page that is no athlete's data: it may be kept, if it is asked for again
// each time.
func kept(body []byte, write func(http.ResponseWriter)) page {
	sum := sha256.Sum256(body)
	tag := `"` + hex.EncodeToString(sum[:8]) + `"`
	return func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Cache-Control", "no-cache")
		w.Header().Set("ETag", tag)
		for _, t := range strings.Split(strings.Join(r.Header.Values("If-None-Match"), ","), ",") {
			if t = strings.TrimPrefix(strings.TrimSpace(t), "W/"); t == tag || t == "*" {
				w.WriteHeader(http.StatusNotModified)
				return
			}
		}
		write(w)
	}
}

func writeDoc(w http.ResponseWriter, d Doc) {
	h := w.Header()
	h.Set("Content-Type", d.Type)
	h.Set("Content-Length", strconv.Itoa(len(d.Body)))
	h.Set("Content-Security-Policy", "default-src 'none'; style-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'")
	h.Set("Referrer-Policy", "no-referrer")
	_, _ = w.Write(d.Body) // the caller may have gone
}
