package app

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/schedule"
)

// posed is an allocation problem as the engine poses it.
type posed struct {
	model *schedule.Model
	prior *schedule.Assignment
}

// posedProblems collects the problems of all scenarios and protocols, by days a week.
func posedProblems(b *testing.B) map[int][]posed {
	all := map[int][]posed{}
	e, err := NewEngine()
	require.NoError(b, err)
	e = e.Watched(func(m *schedule.Model, prior *schedule.Assignment) {
		all[len(m.Days)] = append(all[len(m.Days)], posed{m, prior})
	})
	for _, name := range scenarioNames(b) {
		_, _ = generate(e, name) // some are refused, after or before there is a problem
	}
	files, err := filepath.Glob(filepath.Join(protocols, "*.yaml"))
	require.NoError(b, err)
	for _, file := range files {
		data, err := os.ReadFile(file)
		require.NoError(b, err)
		s, err := readStudy(data)
		require.NoError(b, err)
		for i := range s.Arms {
			_, _ = e.Generate(context.Background(), s.Arms[i].request(b))
		}
	}
	return all
}

// BenchmarkAllocation solves what the scenarios and protocols pose, by days a week, once
// an iteration: shares of problems proven up to a level, the mean gap where one is left
// (of the value), median and 99th percentile of the time.
func BenchmarkAllocation(b *testing.B) {
	all := posedProblems(b)
	for days := range 8 {
		list := all[days]
		if len(list) == 0 {
			continue
		}
		b.Run(fmt.Sprintf("days=%d/problems=%d", days, len(list)), func(b *testing.B) {
			b.ReportAllocs()
			var times []float64
			var proven [schedule.LevelCount]int
			var gap [schedule.LevelCount]float64
			for b.Loop() {
				for _, p := range list {
					start := time.Now()
					a, err := schedule.Solve(context.Background(), p.model, p.prior, 0)
					times = append(times, time.Since(start).Seconds()*1000)
					if err != nil {
						continue
					}
					for l := range proven {
						if a.Proven[l] {
							proven[l]++
						} else if l == 0 || a.Proven[l-1] {
							gap[l] += float64(a.Value[l]-a.Bound[l]) / float64(a.Value[l])
						}
					}
				}
			}
			slices.Sort(times)
			n := float64(len(times))
			for l := range proven {
				b.ReportMetric(100*float64(proven[l])/n, fmt.Sprintf("%%proven-%d", l+1))
				before := len(times)
				if l > 0 {
					before = proven[l-1]
				}
				if open := before - proven[l]; open > 0 {
					b.ReportMetric(100*gap[l]/float64(open), fmt.Sprintf("%%gap-%d", l+1))
				}
			}
			b.ReportMetric(times[len(times)/2], "ms-median")
			b.ReportMetric(times[int(math.Ceil(0.99*n))-1], "ms-p99")
		})
	}
}
