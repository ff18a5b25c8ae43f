package rpc

import (
	"fmt"
	"math"
	"sync"
	"time"

	"golang.org/x/time/rate"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/types/known/durationpb"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/internal/service"
)

// ReasonRate is the reason of calls beyond a tenant's rate.
const ReasonRate = "RATE_LIMIT"

// Headers of an answer, as the IETF's draft on rate limit headers has them
// (draft-ietf-httpapi-ratelimit-headers).
const (
	HeaderPolicy = "ratelimit-policy"
	HeaderLimit  = "ratelimit"
)

// Rate bounds the calls of one tenant, on one server. The zero value does not.
type Rate struct {
	PerSecond float64
	Burst     int // at once, after a pause
}

// limits holds a bucket for each tenant that calls. Tenants are known by then, so there
// are no more buckets than tenants.
type limits struct {
	rate   Rate
	now    func() time.Time
	mu     sync.Mutex
	bucket map[service.Tenant]*rate.Limiter
}

func newLimits(r Rate, now func() time.Time) *limits {
	return &limits{rate: r, now: now, bucket: map[service.Tenant]*rate.Limiter{}}
}

// take takes one call out of a tenant's bucket and says in the headers what is left.
func (l *limits) take(s grpc.ServerStream, t service.Tenant) error {
	if l.rate.PerSecond <= 0 {
		return nil
	}
	l.mu.Lock()
	b := l.bucket[t]
	if b == nil {
		b = rate.NewLimiter(rate.Limit(l.rate.PerSecond), l.rate.Burst)
		l.bucket[t] = b
	}
	now := l.now()
	ok := b.AllowN(now, 1)
	left := b.TokensAt(now)
	l.mu.Unlock()

	wait := time.Duration((1 - left) / l.rate.PerSecond * float64(time.Second))
	full := seconds(float64(l.rate.Burst) / l.rate.PerSecond)
	until := seconds((float64(l.rate.Burst) - left) / l.rate.PerSecond) // full again
	if left < 1 {
		until = seconds(wait.Seconds()) // the next one
	}
	remaining := max(0, int(math.Floor(left)))
	if err := s.SetHeader(metadata.Pairs(
		HeaderPolicy, fmt.Sprintf(`"default";q=%d;w=%d`, l.rate.Burst, full),
		HeaderLimit, fmt.Sprintf(`"default";r=%d;t=%d`, remaining, until),
	)); err != nil {
		return err
	}
	if ok {
		return nil
	}
	return with(codes.ResourceExhausted,
		fmt.Sprintf("more calls than %d at once or %g a second; the next is possible in %d s", l.rate.Burst, l.rate.PerSecond, seconds(wait.Seconds())),
		info(fault.Exhausted, ReasonRate, ""),
		&errdetails.RetryInfo{RetryDelay: durationpb.New(wait)},
		&errdetails.QuotaFailure{Violations: []*errdetails.QuotaFailure_Violation{{
			Subject: "tenant:" + string(t), Description: fmt.Sprintf("%g calls a second, %d at once", l.rate.PerSecond, l.rate.Burst),
		}}},
	).Err()
}

// seconds rounds up to whole ones, at least one.
func seconds(s float64) int { return max(1, int(math.Ceil(s))) }
