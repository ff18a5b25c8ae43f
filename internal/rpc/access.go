package rpc

import (
	"context"
	"encoding/hex"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/internal/service"
)

const keyType = "phasewright/ApiKey"

type access struct {
	pb.UnimplementedAccessServiceServer
	access *service.Access
}

func (a *access) CreateApiKey(ctx context.Context, r *pb.CreateApiKeyRequest) (*pb.CreateApiKeyResponse, error) {
	o := service.Order{RequestID: r.GetRequestId(), Name: r.GetApiKey().GetDisplayName()}
	for _, s := range r.GetApiKey().GetScopes() {
		o.Scopes = append(o.Scopes, scopes[s])
	}
	if at := r.GetApiKey().GetExpireTime(); at != nil {
		if !at.IsValid() || at.AsTime().UnixMilli() <= 0 {
			return nil, fault.New(fault.Invalid, service.ReasonExpiry, "api_key.expire_time", "is no time that is possible here")
		}
		o.Expires = service.At(at.AsTime())
	}
	made, err := a.access.CreateKey(ctx, o)
	if err != nil {
		if f, ok := fault.As(err); ok && f.Kind == fault.Invalid {
			err = fault.Within("api_key", err)
		}
		return nil, err
	}
	return &pb.CreateApiKeyResponse{ApiKey: keyToProto(&made.Key), Secret: made.Secret}, nil
}

func (a *access) GetApiKey(ctx context.Context, r *pb.GetApiKeyRequest) (*pb.GetApiKeyResponse, error) {
	id, err := keyID(r.GetName())
	if err != nil {
		return nil, err
	}
	k, err := a.access.Key(ctx, id)
	if err != nil {
		return nil, missing(keyType, r.GetName(), err)
	}
	return &pb.GetApiKeyResponse{ApiKey: keyToProto(&k)}, nil
}

func (a *access) ListApiKeys(ctx context.Context, r *pb.ListApiKeysRequest) (*pb.ListApiKeysResponse, error) {
	q, collection, err := stored(ctx, "apiKeys", r)
	if err != nil {
		return nil, err
	}
	page, err := a.access.Keys(ctx, q)
	if err != nil {
		return nil, err
	}
	out := &pb.ListApiKeysResponse{NextPageToken: nextToken(collection, page.Next)}
	for i := range page.Items {
		out.ApiKeys = append(out.ApiKeys, keyToProto(&page.Items[i]))
	}
	return out, nil
}

func (a *access) RevokeApiKey(ctx context.Context, r *pb.RevokeApiKeyRequest) (*pb.RevokeApiKeyResponse, error) {
	id, err := keyID(r.GetName())
	if err != nil {
		return nil, err
	}
	k, err := a.access.RevokeKey(ctx, r.GetRequestId(), id)
	if err != nil {
		return nil, missing(keyType, r.GetName(), err)
	}
	return &pb.RevokeApiKeyResponse{ApiKey: keyToProto(&k)}, nil
}

func (a *access) ListAuditEvents(ctx context.Context, r *pb.ListAuditEventsRequest) (*pb.ListAuditEventsResponse, error) {
	newest := r.GetOrderBy() == "create_time desc"
	name := "auditEvents"
	if newest {
		name = "auditEvents desc"
	}
	q, collection, err := stored(ctx, name, r)
	if err != nil {
		return nil, err
	}
	q.Newest = newest
	page, err := a.access.Events(ctx, q)
	if err != nil {
		return nil, err
	}
	out := &pb.ListAuditEventsResponse{NextPageToken: nextToken(collection, page.Next)}
	for i := range page.Items {
		out.AuditEvents = append(out.AuditEvents, eventToProto(&page.Items[i]))
	}
	return out, nil
}

// stored makes the query for a page of a list that the store sorts by id. Its tokens are
// good for one tenant, list and order.
func stored(ctx context.Context, list string, r paging) (q service.Query, collection string, err error) {
	c, _ := service.CallerOf(ctx)
	collection = string(c.Tenant) + "/" + list
	if q.Size = int(r.GetPageSize()); q.Size <= 0 || q.Size > mostItems {
		q.Size = mostItems
	}
	if t := r.GetPageToken(); t != "" {
		after, ok := openToken(collection, t)
		if n, err := hex.Decode(q.After.ID[:], []byte(after[:min(len(after), 2*len(q.After.ID))])); !ok || err != nil || n != len(q.After.ID) || len(after) != 2*n {
			return q, "", fault.New(fault.Invalid, "PAGE_TOKEN", "page_token", "is not a next_page_token of this list; leave it out to start at the beginning")
		}
	}
	return q, collection, nil
}

func nextToken(collection string, next service.Cursor) string {
	if next.ID == (service.ID{}) {
		return ""
	}
	return token(collection, hex.EncodeToString(next.ID[:]))
}

// keyID reads the name of a key. A name that no key can have is not found.
func keyID(name string) (service.ID, error) {
	s, err := idOf("apiKeys", name)
	if err != nil {
		return service.ID{}, err
	}
	id, err := service.ParseID(s)
	if err != nil {
		return service.ID{}, missing(keyType, name, service.Unknown(service.KindKey))
	}
	return id, nil
}

func instant(i service.Instant) *timestamppb.Timestamp {
	if i == 0 {
		return nil
	}
	return timestamppb.New(i.Time())
}

func keyToProto(k *service.Key) *pb.ApiKey {
	out := &pb.ApiKey{
		Name: service.KeyName(k.ID), DisplayName: k.Name, ExpireTime: instant(k.Expires),
		CreateTime: instant(k.Created), RevokeTime: instant(k.Revoked), LastUseTime: instant(k.Used),
	}
	for _, s := range k.Scopes {
		out.Scopes = append(out.Scopes, scopeToProto(service.Scope(s)))
	}
	return out
}

func scopeToProto(s service.Scope) pb.Scope {
	for p, ours := range scopes {
		if ours == s {
			return p
		}
	}
	return pb.Scope_SCOPE_UNSPECIFIED
}

func eventToProto(e *service.Event) *pb.AuditEvent {
	out := &pb.AuditEvent{
		Name: "auditEvents/" + e.ID.String(), CreateTime: instant(e.At), Method: e.Method, Resource: e.Resource, Outcome: e.Outcome,
	}
	if e.Actor != (service.ID{}) {
		out.ApiKey = service.KeyName(e.Actor)
	}
	return out
}
