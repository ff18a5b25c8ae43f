package app

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/store/postgres"
)

// Everything that a request can name a thing by, in every method of the schema, with a
// name of another tenant's in it. What is answered is what is answered to the name of
// nothing, over both transports; with a key that is no good, what is answered to
// everything. A new method comes in by itself; a kind of resource that furnish makes none of
// fails the test.
func TestIsolation(t *testing.T) {
	if testing.Short() {
		t.Skip("thousands of calls")
	}
	stored(t, func(t *testing.T, r *running, _ string) {
		if !strings.HasSuffix(t.Name(), "/memory") && !tools() {
			t.Skip("it waits for the disk thousands of times")
		}
		t.Parallel()
		s := besiege(t, r)
		require.Empty(t, s.leaks, strings.Join(s.leaks, "\n"))
		t.Logf("%d attempts on %d fields of %d methods", s.attempts, s.fields, s.methods)
	})
}

// tools says whether everything is to run that a test may leave out elsewhere.
func tools() bool { return os.Getenv("PHASEWRIGHT_STORE_TOOLS") != "" }

// The same when no statement has a condition on the tenant: row-level security alone.
func TestIsolationByRowSecurityAlone(t *testing.T) {
	if r, ok := unfiltered(t, false); ok {
		s := besiege(t, r)
		require.Empty(t, s.leaks, strings.Join(s.leaks, "\n"))
		t.Logf("%d attempts on %d fields of %d methods", s.attempts, s.fields, s.methods)
	}
}

// The tests above can fail: without that either, they see it.
func TestIsolationCatches(t *testing.T) {
	if r, ok := unfiltered(t, true); ok {
		s := besiege(t, r)
		require.Greater(t, len(s.leaks), 20)
		t.Logf("%d leaks, such as %s", len(s.leaks), s.leaks[0])
	}
}

func unfiltered(t *testing.T, bypass bool) (*running, bool) {
	if !tools() {
		t.Skip("it waits for the disk thousands of times")
	}
	t.Parallel()
	d, ok := postgresData(t)
	if !ok {
		return nil, false
	}
	if bypass {
		d.URL = strings.Replace(d.URL, "app@", "postgres@", 1)
	}
	r, _ := lockedWith(t, quick(t), over(func(ctx context.Context) (service.Store, error) {
		return postgres.OpenUnfiltered(ctx, postgres.Config{URL: d.URL, Now: now}, bypass)
	}))
	return r, true
}

// siege is one tenant's attempts on what another keeps.
type siege struct {
	t        *testing.T
	r        *running
	us, them *holdings
	tame     *holdings         // for requests that may do what they say
	asked    []string          // request ids of theirs
	bad      map[string]string // keys of theirs that are no good, by what is wrong
	refusal  string            // the one answer to those

	leaks                     []string
	attempts, fields, methods int
}

// besiege fills two tenants, tries all that there is, and looks whether what was attacked
// is as it was.
func besiege(t *testing.T, r *running) *siege {
	s := &siege{t: t, r: r}
	s.us = furnish(t, r.conn, "ours", r.tenant(t, "ours"))
	s.them = furnish(t, r.conn, "theirs", r.tenant(t, "theirs"))
	s.tame = furnish(t, r.conn, "tame", r.tenant(t, "tame"))
	for range methods(t) {
		s.asked = append(s.asked, uuid4(t))
		_, err := pb.NewPlanServiceClient(r.conn).UpdatePlan(as(s.them.key), &pb.UpdatePlanRequest{
			RequestId: s.asked[len(s.asked)-1], Plan: &pb.PlanRecord{Name: s.them.names["phasewright/Plan"][0], DisplayName: s.them.text("again")},
		})
		require.NoError(t, err)
	}
	s.bad = s.badKeys()
	before := s.dump(s.them)
	for _, m := range methods(t) {
		s.methods++
		s.control(m)
		for _, p := range textFields(m.Input()) {
			tries := s.pairs(m, p)
			if len(tries) > 0 {
				s.fields++
			}
			for _, try := range tries {
				s.try(m, p, try)
			}
		}
		for what, key := range s.bad {
			s.barred(m, s.base(m, s.them), what, key)
		}
	}
	if after := s.dump(s.them); after != before {
		was, is := strings.Split(before, "\n"), strings.Split(after, "\n")
		for i := range min(len(was), len(is)) {
			if was[i] != is[i] {
				s.leak("what they keep was changed:\n%s\n%s", was[i], is[i])
			}
		}
		if len(was) != len(is) {
			s.leak("what they keep was changed")
		}
	}
	return s
}

func (s *siege) leak(format string, args ...any) {
	s.leaks = append(s.leaks, fmt.Sprintf(format, args...))
}

func (s *siege) badKeys() map[string]string {
	a, ctx := pb.NewAccessServiceClient(s.r.conn), as(s.them.key)
	made, err := a.CreateApiKey(ctx, &pb.CreateApiKeyRequest{ApiKey: &pb.ApiKey{Scopes: allScopes()}})
	require.NoError(s.t, err)
	_, err = a.RevokeApiKey(ctx, &pb.RevokeApiKeyRequest{Name: made.GetApiKey().GetName()})
	require.NoError(s.t, err)
	late, err := s.r.access.Found(context.Background(), service.Tenant(s.them.tenant),
		service.Order{Scopes: service.Scopes(), Expires: service.At(time.Now().Add(50 * time.Millisecond))})
	require.NoError(s.t, err)
	time.Sleep(60 * time.Millisecond)
	return map[string]string{
		"none": "", "revoked": made.GetSecret(), "expired": late.Secret,
		"forged": strings.Replace(s.us.key, "phw_"+s.us.tenant+"_", "phw_"+s.them.tenant+"_", 1),
	}
}

// attempt is a value of another tenant's, and one like it that is nobody's.
type attempt struct{ theirs, nobodys string }

// nobody gives an id like one that a store makes, of nothing.
const nobody = "018f0000-0000-7000-8000-0000000000"

// pairs gives what a text field is tried with, nothing for those that name nothing.
func (s *siege) pairs(m protoreflect.MethodDescriptor, p fieldPath) (out []attempt) {
	f := p[len(p)-1]
	switch of, parent := namedBy(m, f); {
	case of == "phasewright/Exercise": // of the catalogue, or a tenant's own
		return []attempt{{"exercises/" + s.them.own, "exercises/" + like(s.them.own)}}
	case of == "phasewright/Strategy", of == "phasewright/Muscle":
		return nil
	case of != "":
		require.NotEmpty(s.t, s.them.names[of], "furnish keeps no %s", of)
		for i, theirs := range s.them.names[of] {
			out = append(out, mixed(cut(theirs, parent), cut(s.us.names[of][min(i, len(s.us.names[of])-1)], parent))...)
		}
		return out
	}
	switch name := string(f.Name()); {
	case name == "page_token":
		if token := s.token(m, s.them); token != "" && token != s.token(m, s.us) { // of the catalogue they are the same
			return []attempt{{token, token[:len(token)-2] + "AA"}}
		}
	case name == "request_id":
		return []attempt{{s.answered(), uuid4(s.t)}}
	case name == "caller_id":
		return []attempt{{s.them.caller, like(s.them.caller)}}
	case strings.HasSuffix(name, "exercise_id"), strings.HasSuffix(name, "exercise_ids"):
		return []attempt{{s.them.own, like(s.them.own)}}
	}
	return nil
}

// answered gives a request id that was answered to them, another one each time.
func (s *siege) answered() string {
	require.NotEmpty(s.t, s.asked)
	id := s.asked[0]
	s.asked = s.asked[1:]
	return id
}

// like is another text, as near to all others.
func like(s string) string { return s[:len(s)-1] + "y" }

// cut gives the name of the parent.
func cut(name string, parent bool) string {
	if !parent {
		return name
	}
	steps := strings.Split(name, "/")
	return strings.Join(steps[:max(0, len(steps)-2)], "/")
}

// mixed gives a name of theirs, and names of which some parts are ours.
func mixed(theirs, ours string) (out []attempt) {
	a, b := strings.Split(theirs, "/"), strings.Split(ours, "/")
	if len(a) < 2 {
		return nil
	}
	n := len(a) / 2
	for mask := 1; mask < 1<<n; mask++ {
		x, y := slices.Clone(b), slices.Clone(b)
		changed := false
		for i := range n {
			if _, err := service.ParseID(a[2*i+1]); mask&(1<<i) != 0 && err == nil {
				x[2*i+1], y[2*i+1] = a[2*i+1], fmt.Sprintf("%s%02d", nobody, i)
				changed = true
			}
		}
		if changed {
			out = append(out, attempt{strings.Join(x, "/"), strings.Join(y, "/")})
		}
	}
	return out
}

// token gives a page token of a list of somebody's.
func (s *siege) token(m protoreflect.MethodDescriptor, of *holdings) string {
	f := m.Output().Fields().ByName("next_page_token")
	if f == nil {
		return ""
	}
	r := s.base(m, of)
	r.ProtoReflect().Set(m.Input().Fields().ByName("page_size"), protoreflect.ValueOfInt32(1))
	if deleted := m.Input().Fields().ByName("show_deleted"); deleted != nil {
		r.ProtoReflect().Set(deleted, protoreflect.ValueOfBool(true))
	}
	a := newMessage(s.t, m.Output())
	err := s.r.conn.Invoke(as(of.key), pathOf(m), r, a)
	if err != nil && len(s.leaks) > 0 {
		return "" // what it lists from is gone with what leaked
	}
	require.NoError(s.t, err)
	return a.ProtoReflect().Get(f).String()
}

func newMessage(t testing.TB, d protoreflect.MessageDescriptor) proto.Message {
	m, err := protoregistry.GlobalTypes.FindMessageByName(d.FullName())
	require.NoError(t, err)
	return m.New().Interface()
}

// base is a request of a method that is right for what somebody keeps.
func (s *siege) base(m protoreflect.MethodDescriptor, of *holdings) proto.Message {
	return rightRequest(s.t, m, of)
}

// rightRequest makes one from the schema: names are of what of keeps, resources as they
// are stored.
func rightRequest(t testing.TB, m protoreflect.MethodDescriptor, of *holdings) proto.Message {
	r := newMessage(t, m.Input())
	for i := range m.Input().Fields().Len() {
		f := m.Input().Fields().Get(i)
		named, parent := "", false
		if f.Kind() == protoreflect.StringKind {
			named, parent = namedBy(m, f)
		}
		switch {
		case named == "phasewright/Exercise":
			r.ProtoReflect().Set(f, protoreflect.ValueOfString("exercises/back-squat"))
		case named == "phasewright/Strategy":
			r.ProtoReflect().Set(f, protoreflect.ValueOfString("strategies/linear"))
		case named != "":
			require.NotEmpty(t, of.names[named], "furnish keeps no %s", named)
			v := protoreflect.ValueOfString(cut(of.names[named][0], parent))
			if f.IsList() {
				r.ProtoReflect().Mutable(f).List().Append(v)
				break
			}
			r.ProtoReflect().Set(f, v)
		case f.Message() == nil || f.IsList() || f.IsMap():
		default:
			if v := messageFor(f.Message(), of); v != nil {
				r.ProtoReflect().Set(f, protoreflect.ValueOfMessage(v.ProtoReflect()))
			}
		}
	}
	if strings.HasPrefix(string(m.Name()), "Create") {
		renewed(r, uuid4(t))
	}
	if holder, f := stateOf(r.ProtoReflect()); f != nil {
		holder.Clear(f)
	}
	switch r := r.(type) { // what is no name or message is left out, but these are needed
	case *pb.CompareStrategiesRequest:
		for _, strategy := range [...]string{"linear", "constant"} {
			r.Arms = append(r.Arms, &pb.Arm{Label: strategy, Plan: oneStrategy(strategy)})
		}
	case *pb.AmendTrialRequest:
		r.Reason = "a change"
	case *pb.PredictTrialRequest:
		r.Units, r.Spread, r.Runs = 8, 3, 100
	case *pb.EnrolUnitRequest:
		r.Unit, r.Covariates = "unit", []int64{1, 2}
	case *pb.RecordTrialMeasurementRequest:
		r.Outcome, r.Time, r.Value = "thickness", pb.MeasurementTime_MEASUREMENT_TIME_BASELINE, new(25.0)
	case *pb.RecordIncidentRequest:
		r.Kind, r.Description = pb.IncidentKind_INCIDENT_KIND_DEVIATION, "a deviation"
	}
	return r
}

// stateOf finds the etag of a resource in a request: right ones would be wrong soon.
func stateOf(r protoreflect.Message) (protoreflect.Message, protoreflect.FieldDescriptor) {
	for i := range r.Descriptor().Fields().Len() {
		f := r.Descriptor().Fields().Get(i)
		if f.Message() == nil || f.IsList() || f.IsMap() || !r.Has(f) {
			continue
		}
		if etag := f.Message().Fields().ByName("etag"); etag != nil {
			return r.Mutable(f).Message(), etag
		}
	}
	return nil, nil
}

// messageFor gives what a request needs of a message, or nothing.
func messageFor(d protoreflect.MessageDescriptor, of *holdings) proto.Message {
	if v, ok := of.sample[d.FullName()]; ok {
		return proto.Clone(v)
	}
	request := &pb.ProgramRequest{Athlete: adult().GetProfile(), Constraints: twoDays()}
	switch d.FullName() {
	case "phasewright.v1.TrialProtocol":
		v, _ := of.sample["phasewright.v1.Trial"].(*pb.Trial)
		return proto.Clone(v.GetProtocol())
	case "phasewright.v1.Constraints":
		return twoDays()
	case "phasewright.v1.ProgramRequest":
		return request
	case "phasewright.v1.Athlete":
		return &pb.Athlete{AgeBand: pb.AgeBand_AGE_BAND_ADULT, Performances: []*pb.Performance{{ExerciseId: "back-squat", Reps: 5, Rir: new(int32(1)), Load: &pb.Mass{Unit: &pb.Mass_Kilograms{Kilograms: 100}}}}}
	case "phasewright.v1.Rework":
		return &pb.Rework{From: &pb.Rework_FromWeek{FromWeek: 2}}
	case "phasewright.v1.Program":
		v, _ := of.sample["phasewright.v1.ProgramRevision"].(*pb.ProgramRevision)
		return proto.Clone(v.GetProgram())
	}
	return nil
}

// renewed gives what is to be created labels that are not taken.
func renewed(r proto.Message, fresh string) {
	switch r := r.(type) {
	case *pb.CreateAthleteRequest:
		r.Athlete.Profile.CallerId = fresh
	case *pb.CreateOwnExerciseRequest:
		r.OwnExercise.Exercise.Id, r.OwnExercise.Exercise.DisplayName = "own-"+fresh, "Own "+fresh
	case *pb.CreateApiKeyRequest:
		r.ApiKey.ExpireTime = nil
	}
}

// control wants a request with our own names to get beyond the names, so that what is
// attempted with theirs would have had an effect. What takes something away gets a tenant
// for that.
func (s *siege) control(m protoreflect.MethodDescriptor) {
	verb := wordForm.FindString(string(m.Name()))
	who := s.tame
	if m.Input().Fields().ByName("request_id") != nil && !slices.Contains([]string{"Create", "Update", "Undelete", "Revise"}, verb) {
		name := fmt.Sprintf("control-%d", s.methods)
		who = furnish(s.t, s.r.conn, name, s.r.tenant(s.t, name))
	}
	err := s.r.conn.Invoke(as(who.key), pathOf(m), s.base(m, who), newMessage(s.t, m.Output()))
	require.NotContains(s.t, []codes.Code{codes.NotFound, codes.InvalidArgument, codes.Internal, codes.PermissionDenied}, status.Code(err), "%s: %v", m.FullName(), err)
}

var wordForm = regexp.MustCompile(`^[A-Z][a-z]*`)

// try sends theirs and nobody's and compares.
func (s *siege) try(m protoreflect.MethodDescriptor, p fieldPath, with attempt) {
	request := func(value string) proto.Message { // anew each time, as a thing is made only once
		s.attempts++
		r := s.base(m, s.us)
		s.tamed(m, p, r.ProtoReflect())
		p.set(r.ProtoReflect(), value)
		return r
	}
	ask := func(value string) (out [2]string) {
		out[0] = s.grpc(m, request(value), s.us.key, value)
		if of, _ := namedBy(m, p[len(p)-1]); of != "" {
			out[1] = s.rest(m, request(value), value)
		}
		return out
	}
	theirs, nobodys := ask(with.theirs), ask(with.nobodys)
	for i, transport := range [...]string{"gRPC", "REST"} {
		if theirs[i] != nobodys[i] {
			s.leak("%s %s over %s tells %q from %q:\n  %s\n  %s", m.FullName(), p, transport, with.theirs, with.nobodys, theirs[i], nobodys[i])
		}
	}
	r := request(with.theirs)
	for what, key := range s.bad {
		s.barred(m, r, what, key)
	}
}

// tamed keeps an attempt on a field that names no resource from an effect on ours, which
// the next one would feel.
func (s *siege) tamed(m protoreflect.MethodDescriptor, p fieldPath, r protoreflect.Message) {
	if of, _ := namedBy(m, p[len(p)-1]); of != "" {
		return
	}
	name, dry := m.Input().Fields().ByName("name"), m.Input().Fields().ByName("validate_only")
	switch id := p[len(p)-1].Name() == "request_id"; {
	case dry != nil && !id:
		r.Set(dry, protoreflect.ValueOfBool(true))
	case id && name != nil: // a replay would be answered before the name is looked for
		ours := strings.Split(r.Get(name).String(), "/")
		ours[len(ours)-1] = nobody + "00"
		r.Set(name, protoreflect.ValueOfString(strings.Join(ours, "/")))
	}
}

// barred wants the one answer to keys that are no good.
func (s *siege) barred(m protoreflect.MethodDescriptor, r proto.Message, what, key string) {
	s.attempts++
	got := s.grpc(m, r, key, "")
	if s.refusal == "" {
		s.refusal = got
		require.Contains(s.t, got, "Unauthenticated")
	}
	if got != s.refusal {
		s.leak("%s with key %s: %s", m.FullName(), what, got)
	}
}

func (s *siege) grpc(m protoreflect.MethodDescriptor, r proto.Message, key, value string) string {
	a := newMessage(s.t, m.Output())
	err := s.r.conn.Invoke(as(key), pathOf(m), r, a, grpc.MaxCallRecvMsgSize(64<<20))
	text := said(status.Convert(err))
	if err == nil {
		body, bad := protojson.Marshal(a)
		require.NoError(s.t, bad)
		s.look(m, string(body), value)
	}
	return s.look(m, text, value)
}

func (s *siege) rest(m protoreflect.MethodDescriptor, r proto.Message, value string) string {
	verb, target, body, err := asREST(m, r)
	require.NoError(s.t, err)
	q, err := http.NewRequest(verb, s.r.url(target), strings.NewReader(body))
	require.NoError(s.t, err)
	q.Header.Set("Authorization", "Bearer "+s.us.key)
	if body != "" {
		q.Header.Set("Content-Type", "application/json")
	}
	a, err := http.DefaultClient.Do(q)
	require.NoError(s.t, err)
	defer a.Body.Close()
	text, err := io.ReadAll(a.Body)
	require.NoError(s.t, err)
	out := s.look(m, string(text), value)
	if a.StatusCode == 200 {
		out = "" // what was made has a name and a time of its own
	}
	return fmt.Sprint(a.StatusCode, " ", out)
}

// look finds what is theirs in an answer, and gives it without what was asked for.
func (s *siege) look(m protoreflect.MethodDescriptor, text, value string) string {
	out := text
	if value != "" {
		out = strings.ReplaceAll(out, value, "NAME")
		for _, part := range strings.Split(value, "/") {
			if len(part) > 30 || strings.HasPrefix(part, "own-") {
				out = strings.ReplaceAll(out, part, "ID")
			}
		}
	}
	for _, theirs := range append(slices.Concat(s.them.texts, s.them.ids()), s.them.tenant+"_") {
		if strings.Contains(out, theirs) {
			s.leak("%s with %q tells %q", m.FullName(), value, theirs)
		}
	}
	return out
}

// dump is all that the lists of the schema tell of what somebody keeps.
func (s *siege) dump(of *holdings) string {
	var b strings.Builder
	for _, m := range methods(s.t) {
		if m.Output().Fields().ByName("next_page_token") == nil || m.Name() == "ListAuditEvents" {
			continue
		}
		for _, n := range []int{0, 1} { // of both athletes
			r := s.base(m, of)
			if f := m.Input().Fields().ByName("parent"); f != nil {
				named, parent := resourceNamed(f)
				r.ProtoReflect().Set(f, protoreflect.ValueOfString(cut(of.names[named][min(n*2, len(of.names[named])-1)], parent)))
			}
			if f := m.Input().Fields().ByName("show_deleted"); f != nil {
				r.ProtoReflect().Set(f, protoreflect.ValueOfBool(true))
			}
			a := newMessage(s.t, m.Output())
			if err := s.r.conn.Invoke(as(of.key), pathOf(m), r, a); err != nil {
				require.NotEmpty(s.t, s.leaks, "%s: %v", m.Name(), err)
				fmt.Fprintf(&b, "%s is gone\n", m.Name()) // with what leaked
				continue
			}
			body, err := proto.MarshalOptions{Deterministic: true}.Marshal(a)
			require.NoError(s.t, err)
			if k, ok := a.(*pb.ListApiKeysResponse); ok { // the note of a use comes late
				for _, one := range k.GetApiKeys() {
					one.LastUseTime, one.ExpireTime = nil, nil
				}
				body, err = proto.MarshalOptions{Deterministic: true}.Marshal(k)
				require.NoError(s.t, err)
			}
			fmt.Fprintf(&b, "%s %x\n", m.Name(), body)
		}
	}
	return b.String()
}
