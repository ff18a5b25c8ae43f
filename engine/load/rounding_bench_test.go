package load

import (
	"testing"

	"github.com/phasewright/phasewright/engine/plan"
)

// BenchmarkRoundings reports how many loads a second one core rounds to what the bar
// and plates give, in kilograms with fractional and in mixed plates.
func BenchmarkRoundings(b *testing.B) {
	plates := append(stock(plan.Kilogram, 8, 25_000, 20_000, 15_000, 10_000, 5_000, 2_500, 1_250, 500), stock(plan.Pound, 4, 45_000, 25_000, 10_000)...)
	m := BarMenu([]plan.Bar{{Mass: plan.Kg(20_000)}}, plates)
	found := 0
	for i := 0; b.Loop(); i++ {
		if _, ok := m.Nearest(plan.Kg(20_000+int64(i)*7%300_000), i%2 == 0); ok {
			found++
		}
	}
	if found == 0 {
		b.Fatal("nothing found")
	}
	b.ReportMetric(float64(found)/b.Elapsed().Seconds(), "roundings/s")
}
