package rpc

import (
	"context"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/wire"
)

// kind is one kind of stored thing between its messages and the service. field is where
// requests have it. Messages of failed calls are not looked at.
type kind[T any, P service.RecordOf[T], M proto.Message] struct {
	things  service.Collection[T, P]
	pattern string
	field   string
	from    func(M) (T, error)
	to      func(*T) M
}

func (k kind[T, P, M]) create(ctx context.Context, r proto.Message, parent string, sent M, own func(*T, service.ID)) (M, error) {
	var none M
	v, err := k.from(sent)
	if err != nil {
		return none, fault.Within(k.field, err)
	}
	if own != nil {
		n, err := wire.ParseName(wire.AthletePattern, "parent", parent)
		if err != nil {
			return none, err
		}
		own(&v, n.ID)
	}
	if v, err = k.things.Create(ctx, writeOf(r), v); err != nil {
		return none, k.explain(parentGone(err, parent), "")
	}
	return k.to(&v), nil
}

func (k kind[T, P, M]) get(ctx context.Context, name string) (M, error) {
	var none M
	n, err := wire.ParseName(k.pattern, "name", name)
	if err != nil {
		return none, err
	}
	v, err := k.things.Get(ctx, n.Owner, n.ID)
	if err != nil {
		return none, missing(k.resource(), name, err)
	}
	return k.to(&v), nil
}

// deleting is what a request for a list of stored things carries.
type deleting interface {
	paging
	GetShowDeleted() bool
}

func (k kind[T, P, M]) list(ctx context.Context, q service.Query, r deleting) ([]M, string, error) {
	q.Size, q.Deleted = size(r), r.GetShowDeleted()
	items, next, err := k.things.List(ctx, q, r.GetPageToken())
	if err != nil {
		if c, ok := r.(interface{ GetParent() string }); ok {
			err = parentGone(err, c.GetParent())
		}
		return nil, "", err
	}
	out := make([]M, len(items))
	for i := range items {
		out[i] = k.to(&items[i])
	}
	return out, next, nil
}

type updating interface {
	proto.Message
	GetUpdateMask() *fieldmaskpb.FieldMask
}

func (k kind[T, P, M]) update(ctx context.Context, r updating, sent interface {
	proto.Message
	GetName() string
	GetEtag() string
}) (M, error) {
	var none M
	n, err := wire.ParseName(k.pattern, k.field+".name", sent.GetName())
	if err != nil {
		return none, err
	}
	w := writeOf(r)
	w.Etag = sent.GetEtag()
	v, err := k.things.Update(ctx, w, n.Owner, n.ID, func(old T) (T, error) {
		p := k.to(&old)
		if err := wire.Merge(p, sent, r.GetUpdateMask()); err != nil {
			return old, err
		}
		if err := wire.Validate(p); err != nil {
			return old, fault.Within(k.field, err)
		}
		v, err := k.from(p)
		if err != nil {
			return old, fault.Within(k.field, err)
		}
		return k.keep(&old, v), nil
	})
	if err != nil {
		return none, k.explain(err, sent.GetName())
	}
	return k.to(&v), nil
}

// keep gives what is new the things of the old that no message holds.
func (k kind[T, P, M]) keep(old *T, v T) T {
	switch v := any(&v).(type) {
	case *service.Performance:
		v.Athlete = P(old).Owner()
	case *service.SessionLog:
		v.Athlete = P(old).Owner()
	case *service.Measurement:
		v.Athlete = P(old).Owner()
	case *service.Program:
		v.Athlete, v.Latest = P(old).Owner(), any(old).(*service.Program).Latest
	}
	return v
}

type naming interface {
	proto.Message
	GetName() string
	GetEtag() string
}

func (k kind[T, P, M]) change(ctx context.Context, r naming, do func(context.Context, service.Write, service.ID, service.ID) (T, error)) (M, error) {
	var none M
	n, err := wire.ParseName(k.pattern, "name", r.GetName())
	if err != nil {
		return none, err
	}
	w := writeOf(r)
	w.Etag = r.GetEtag()
	v, err := do(ctx, w, n.Owner, n.ID)
	if err != nil {
		return none, missing(k.resource(), r.GetName(), err)
	}
	return k.to(&v), nil
}

func (k kind[T, P, M]) resource() string {
	words := strings.Split(k.field, "_")
	for i, w := range words {
		words[i] = strings.ToUpper(w[:1]) + w[1:]
	}
	return "phasewright/" + strings.Join(words, "")
}

// inside are the paths of faults that the service and the stores speak about a thing, and
// what they are in its message.
var inside = map[string]string{
	"caller_id": "profile.caller_id", "id": "exercise.id",

	// The catalogue speaks of columns.
	"exercise.name": "exercise.display_name", "exercise.prime": "exercise.prime_muscles", "exercise.flags": "exercise.traits",
	"exercise.added_needs": "exercise.added_load_equipment", "exercise.body_mass_permille": "exercise.body_mass_share_percent",
	"exercise.max_plausible_kg": "exercise.max_plausible_kilograms", "exercise.related": "exercise.related_to",
	"exercise.related_permille": "exercise.related_percent",
}

// explain gives a fault about what was sent the paths of the request.
func (k kind[T, P, M]) explain(err error, name string) error {
	f, ok := fault.As(err)
	if !ok {
		return err
	}
	switch f.Kind {
	case fault.NotFound:
		return missingAt(k.resource(), name, k.field+".name", err)
	case fault.Invalid, fault.Exists, fault.Stale:
	default:
		return err
	}
	out := &fault.Error{Kind: f.Kind, Violations: append([]fault.Violation(nil), f.Violations...)}
	for i := range out.Violations {
		v := &out.Violations[i]
		if at, ok := inside[v.Field]; ok {
			v.Field = at
		}
		if !k.ofRequest(v.Field) {
			v.Field = k.field + "." + v.Field
		}
	}
	return out
}

// ofRequest reports paths that start at the request already: its own fields, and those
// of what was sent, unless its message has a field of that name itself.
func (k kind[T, P, M]) ofRequest(path string) bool {
	switch path {
	case "update_mask", "request_id", "parent":
		return true
	}
	rest, ok := strings.CutPrefix(path, k.field)
	var m M
	return ok && (rest == "" || rest[0] == '.') && !(m.ProtoReflect().Descriptor().Fields().ByName(protoreflect.Name(k.field)) != nil && !strings.HasPrefix(rest, "."+k.field) && rest != ".name")
}

// writeOf reads what every mutating request has.
func writeOf(r proto.Message) service.Write {
	w := service.Write{Method: string(r.ProtoReflect().Descriptor().FullName())}
	if v, ok := r.(interface{ GetRequestId() string }); ok {
		w.RequestID = strings.ToLower(v.GetRequestId())
	}
	if v, ok := r.(interface{ GetValidateOnly() bool }); ok {
		w.DryRun = v.GetValidateOnly()
	}
	if w.RequestID != "" {
		w.Body, _ = proto.MarshalOptions{Deterministic: true}.Marshal(r) // it was a message a moment ago
	}
	return w
}

const usualItems = 100

func size(r paging) int {
	switch n := int(r.GetPageSize()); {
	case n <= 0:
		return usualItems
	default:
		return min(n, mostItems)
	}
}

func ofAthlete(parent string) (service.Query, error) {
	n, err := wire.ParseName(wire.AthletePattern, "parent", parent)
	return service.Query{Athlete: n.ID}, err
}

// days reads whose things of which days are asked for.
func days(r interface {
	GetParent() string
	GetFromDate() string
	GetToDate() string
}) (service.Query, error) {
	q, err := ofAthlete(r.GetParent())
	if err != nil {
		return q, err
	}
	bad := fault.NewCollector(fault.Invalid)
	read := func(field, text string) (d plan.Opt[plan.Date]) {
		if text == "" {
			return d
		}
		v, err := plan.ParseDate(text)
		if err != nil {
			bad.Add(wire.ReasonDate, field, err.Error())
			return d
		}
		return plan.Some(v)
	}
	q.From, q.To = read("from_date", r.GetFromDate()), read("to_date", r.GetToDate())
	return q, bad.Err()
}

// parentGone says which athlete, or program, there is none of.
func parentGone(err error, parent string) error {
	f, ok := fault.As(err)
	if !ok || f.Kind != fault.NotFound || len(f.Violations) == 0 {
		return err
	}
	resource := "phasewright/Athlete"
	if strings.Contains(parent, "/programs/") {
		resource = "phasewright/Program"
	}
	return missingAt(resource, parent, "parent", err)
}
