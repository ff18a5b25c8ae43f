package gateway

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"net/http"
	"regexp"
	"slices"
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
		p["/openapi.json"] = g.openAPI()
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
	}{"phasewright", calls, []string{"GET /livez", "GET /readyz"}, ""}
	if len(g.o.OpenAPI) > 0 {
		where.OpenAPI = "GET /openapi.json"
	}
	data, _ := json.MarshalIndent(where, "", "  ") // text alone always has an encoding
	data = append(data, '\n')
	return func(w http.ResponseWriter, _ *http.Request) { writeJSON(w, http.StatusOK, data) }
}

// openAPI is no athlete's data: it may be kept, if it is asked for again each time.
func (g *gateway) openAPI() page {
	sum := sha256.Sum256(g.o.OpenAPI)
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
		writeJSON(w, http.StatusOK, g.o.OpenAPI)
	}
}
