package rpc

import (
	"context"
	"strings"

	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"github.com/phasewright/phasewright/engine/fault"
)

// Headers that REST callers know fields of a request by.
const (
	idempotencyKey = "idempotency-key" // request_id
	ifMatch        = "if-match"        // etag
)

// Reasons of faults of headers.
const (
	reasonTwice     = "FIELD_TWICE"
	reasonCondition = "CONDITION"
)

// keyed puts an Idempotency-Key into the request_id of a request that has one.
func keyed(ctx context.Context, m proto.Message) error {
	given := metadata.ValueFromIncomingContext(ctx, idempotencyKey)
	f := m.ProtoReflect().Descriptor().Fields().ByName("request_id")
	if len(given) == 0 || f == nil {
		return nil
	}
	id := strings.Trim(given[0], `"`) // a text of a structured field is quoted
	if old := m.ProtoReflect().Get(f).String(); len(given) > 1 || old != "" && old != id {
		return fault.New(fault.Invalid, reasonTwice, "request_id", "is given by an Idempotency-Key too, another one; once is right")
	}
	m.ProtoReflect().Set(f, protoreflect.ValueOfString(strings.ToValidUTF8(id, "\uFFFD")))
	return nil
}

// matched puts an If-Match into the etag that a request holds what it changes against.
func matched(ctx context.Context, m proto.Message) error {
	given := metadata.ValueFromIncomingContext(ctx, ifMatch)
	if len(given) == 0 {
		return nil
	}
	holder, f, path := etagField(m.ProtoReflect())
	switch {
	case f == nil:
		return fault.New(fault.Invalid, reasonCondition, "", "If-Match is not taken here, as nothing is changed that has an ETag; leave it out")
	case len(given) > 1 || strings.Contains(given[0], ","):
		return fault.New(fault.Invalid, reasonCondition, path, "If-Match holds several ETags; send the one that was read last")
	}
	tag := strings.ToValidUTF8(strings.TrimSpace(given[0]), "\uFFFD")
	if tag == "*" {
		return nil // whatever there is; and without that it is not found
	}
	if old := holder.Get(f).String(); old != "" && old != tag {
		return fault.New(fault.Invalid, reasonTwice, path, "is given by an If-Match too, another one; once is right")
	}
	holder.Set(f, protoreflect.ValueOfString(tag))
	return nil
}

// etagField finds where a request has the etag of what it changes: beside the name, or in
// the resource of an update.
func etagField(m protoreflect.Message) (holder protoreflect.Message, f protoreflect.FieldDescriptor, path string) {
	fields := m.Descriptor().Fields()
	if f := fields.ByName("etag"); f != nil {
		return m, f, "etag"
	}
	if fields.ByName("update_mask") == nil {
		return nil, nil, ""
	}
	for i := range fields.Len() {
		at := fields.Get(i)
		if at.Message() == nil || at.IsList() || at.IsMap() {
			continue
		}
		if f := at.Message().Fields().ByName("etag"); f != nil {
			return m.Mutable(at).Message(), f, string(at.Name()) + ".etag"
		}
	}
	return nil, nil, ""
}
