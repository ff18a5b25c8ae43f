package rpc

import (
	"context"
	"crypto/tls"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/internal/service"
)

// WithKey has a client send an API key with every call. Who uses it without WithTLS
// answers for the way to the server.
func WithKey(key string) grpc.DialOption { return grpc.WithPerRPCCredentials(apiKey(key)) }

// WithTLS has a client connect with TLS.
func WithTLS(c *tls.Config) grpc.DialOption {
	return grpc.WithTransportCredentials(credentials.NewTLS(c))
}

type apiKey string

func (k apiKey) GetRequestMetadata(context.Context, ...string) (map[string]string, error) {
	return map[string]string{"authorization": "Bearer " + string(k)}, nil
}

func (apiKey) RequireTransportSecurity() bool { return false }

// CreateKey has a key made, as service.Access does.
func (c *Client) CreateKey(ctx context.Context, o service.Order) (service.MadeKey, error) {
	r := &pb.CreateApiKeyRequest{ApiKey: &pb.ApiKey{DisplayName: o.Name}, RequestId: o.RequestID}
	for _, s := range o.Scopes {
		r.ApiKey.Scopes = append(r.ApiKey.Scopes, scopeToProto(s))
	}
	if o.Expires != 0 {
		r.ApiKey.ExpireTime = timestamppb.New(o.Expires.Time())
	}
	answer, err := pb.NewAccessServiceClient(c.conn).CreateApiKey(ctx, r)
	if err != nil {
		return service.MadeKey{}, Fault(err, "api_key")
	}
	k, err := keyFromProto(answer.GetApiKey())
	return service.MadeKey{Key: k, Secret: answer.GetSecret()}, err
}

// Keys lists keys, as service.Access does, all from a place on.
func (c *Client) Keys(ctx context.Context) ([]service.Key, error) {
	var out []service.Key
	r := &pb.ListApiKeysRequest{}
	for {
		answer, err := pb.NewAccessServiceClient(c.conn).ListApiKeys(ctx, r)
		if err != nil {
			return nil, Fault(err, "")
		}
		for _, p := range answer.GetApiKeys() {
			k, err := keyFromProto(p)
			if err != nil {
				return nil, err
			}
			out = append(out, k)
		}
		if r.PageToken = answer.GetNextPageToken(); r.PageToken == "" {
			return out, nil
		}
	}
}

// RevokeKey has a key revoked, as service.Access does.
func (c *Client) RevokeKey(ctx context.Context, requestID string, id service.ID) (service.Key, error) {
	answer, err := pb.NewAccessServiceClient(c.conn).RevokeApiKey(ctx, &pb.RevokeApiKeyRequest{Name: service.KeyName(id), RequestId: requestID})
	if err != nil {
		return service.Key{}, Fault(err, "")
	}
	return keyFromProto(answer.GetApiKey())
}

func keyFromProto(p *pb.ApiKey) (service.Key, error) {
	s, err := idOf("apiKeys", p.GetName())
	if err != nil {
		return service.Key{}, unreadable(err)
	}
	id, err := service.ParseID(s)
	if err != nil {
		return service.Key{}, unreadable(err)
	}
	at := func(t *timestamppb.Timestamp) service.Instant {
		if t == nil {
			return 0
		}
		return service.At(t.AsTime())
	}
	k := service.Key{
		Head: service.Head{ID: id, Created: at(p.GetCreateTime())}, Name: p.GetDisplayName(),
		Expires: at(p.GetExpireTime()), Revoked: at(p.GetRevokeTime()), Used: at(p.GetLastUseTime()),
	}
	for _, s := range p.GetScopes() {
		ours, ok := scopes[s]
		if !ok {
			return service.Key{}, unreadable(fault.New(fault.Invalid, service.ReasonScope, "", "a scope that is unknown here"))
		}
		k.Scopes = append(k.Scopes, string(ours))
	}
	return k, nil
}
