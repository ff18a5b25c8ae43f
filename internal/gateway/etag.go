package gateway

import (
	"context"
	"errors"
	"net/http"
	"regexp"
	"strings"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"github.com/phasewright/phasewright/internal/service"
)

// Conditions of a request, as RFC 9110, section 13, has them: what a resource is now goes
// out as ETag, If-None-Match is answered here, and If-Match travels to the call, where it
// is the field etag.

// ReasonCondition is of a condition that is not taken where it stands.
const ReasonCondition = "CONDITION"

// errNotModified ends an answer that the caller has already.
var errNotModified = errors.New("not modified")

// conditions reads what a request makes its answer depend on.
func (g *gateway) conditions(w http.ResponseWriter, r *http.Request, c *call) bool {
	c.match = len(r.Header.Values("If-Match")) > 0
	c.have = strings.Join(r.Header.Values("If-None-Match"), ", ")
	if c.have != "" && c.route.method != http.MethodGet {
		g.refuse(w, http.StatusBadRequest, ReasonCondition, "", "If-None-Match is taken by GET only; If-Match with the ETag of what is changed keeps a change from overwriting another")
		return false
	}
	return true
}

// tagged puts the etag of the one resource of an answer into its header.
func tagged(ctx context.Context, w http.ResponseWriter, m proto.Message) error {
	tag := etagIn(m.ProtoReflect())
	if tag == "" {
		return nil
	}
	w.Header().Set("ETag", tag)
	if c := callOf(ctx); c != nil && c.has(tag) {
		return errNotModified
	}
	return nil
}

// etagIn finds the etag of what an answer holds; lists have none.
func etagIn(m protoreflect.Message) string {
	for i := range m.Descriptor().Fields().Len() {
		f := m.Descriptor().Fields().Get(i)
		if f.Message() == nil || f.IsList() || f.IsMap() || !m.Has(f) {
			continue
		}
		if e := f.Message().Fields().ByName("etag"); e != nil && e.Kind() == protoreflect.StringKind {
			return m.Get(f).Message().Get(e).String()
		}
	}
	return ""
}

var tagForm = regexp.MustCompile(`(?:W/)?("[^"]*")`)

// has says whether the caller has what the tag is of: compared weakly, as for
// If-None-Match it is to be.
func (c *call) has(tag string) bool {
	if strings.TrimSpace(c.have) == "*" {
		return true
	}
	for _, one := range tagForm.FindAllStringSubmatch(c.have, -1) {
		if one[1] == tag {
			return true
		}
	}
	return false
}

// notModified answers who has it already.
func notModified(w http.ResponseWriter) {
	w.Header().Del("Content-Type")
	w.WriteHeader(http.StatusNotModified)
}

// unmatched says whether a call failed because of its If-Match.
func (c *call) unmatched(st *status.Status) bool {
	if !c.match || st.Code() != codes.Aborted {
		return false
	}
	for _, d := range st.Details() {
		if i, ok := d.(*errdetails.ErrorInfo); ok {
			return i.GetReason() == service.ReasonStale
		}
	}
	return false
}
