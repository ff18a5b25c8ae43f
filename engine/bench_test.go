package engine_test

import (
	"context"
	"runtime/metrics"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/plan"
)

// twelveWeeks is the program that the benchmarks make: 12 weeks, 4 days of an hour.
func twelveWeeks() plan.Request {
	r := fit()
	r.Constraints.Weeks = plan.Some(int32(12))
	r.Constraints.Days = []plan.Day{{Weekday: plan.Monday, Minutes: 60}, {Weekday: plan.Tuesday, Minutes: 60},
		{Weekday: plan.Thursday, Minutes: 60}, {Weekday: plan.Friday, Minutes: 60}}
	r.Plan = plan.Plan{Tracks: []plan.Track{{Segments: []plan.Segment{{Strategy: "constant"}}}}}
	return r
}

// BenchmarkGenerate makes a whole program; time and allocations of each stage stand
// beside it as metrics.
func BenchmarkGenerate(b *testing.B) {
	type cost struct {
		took   time.Duration
		allocs uint64
	}
	sum := map[string]cost{}
	var order []string
	sample := []metrics.Sample{{Name: "/gc/heap/allocs:objects"}}
	objects := func() uint64 { metrics.Read(sample); return sample[0].Value.Uint64() }
	var last time.Time
	var before uint64
	e := newEngine(b).Observed(func(stage string) {
		now, n := time.Now(), objects()
		c, seen := sum[stage]
		if !seen {
			order = append(order, stage)
		}
		sum[stage] = cost{c.took + now.Sub(last), c.allocs + n - before}
		last, before = time.Now(), objects()
	})
	r := twelveWeeks()
	b.ReportAllocs()
	for b.Loop() {
		last, before = time.Now(), objects()
		_, err := e.Generate(context.Background(), r)
		require.NoError(b, err)
	}
	for _, s := range order {
		b.ReportMetric(float64(sum[s].took.Microseconds())/float64(b.N), s+"-µs/op")
		b.ReportMetric(float64(sum[s].allocs)/float64(b.N), s+"-allocs/op")
	}
}
