package stat

import (
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// Against R 4.2.2 and nlme; testdata/reference.R made the file.
func TestReferenceR(t *testing.T) {
	text, err := os.ReadFile("testdata/reference.csv")
	require.NoError(t, err)
	var worst float64
	lists := map[string][]float64{}
	for _, line := range strings.Fields(string(text)) {
		parts := strings.Split(line, ",")
		var x []float64
		for _, p := range parts[1:] {
			v, err := strconv.ParseFloat(p, 64)
			require.NoError(t, err)
			x = append(x, v)
		}
		want := x[len(x)-1]
		var got float64
		switch parts[0] {
		case "pt_ncp":
			got = NoncentralTCDF(x[0], x[1], x[2])
			require.InDelta(t, want, got, 2e-11, line) // R's own sum stops at about 1e-12
			continue
		case "qt":
			got = TQuantile(x[0], x[1])
		case "qchisq":
			got = ChiSquaredQuantile(x[0], x[1])
		case "qf":
			got = FQuantile(x[0], x[1], x[2])
		case "pf_ncp":
			got = NoncentralFUpper(x[0], x[1], x[2], x[3])
			require.InDelta(t, want, got, 1e-9, line) // where R's sum stops
			continue
		case "qnorm":
			got = NormalQuantile(x[0])
		case "fisher":
			f, err := Fisher(int(x[0]), int(x[1]), int(x[2]), int(x[3]))
			require.NoError(t, err)
			got = f.P
		default:
			lists[parts[0]] = x
			continue
		}
		require.InEpsilon(t, want, got, 1e-9, line)
		worst = max(worst, math.Abs(got/want-1))
	}
	t.Logf("largest relative difference %.1e", worst)

	var y, x, w []float64
	var pair, strata []int
	var py, px, pw []float64
	for i := 1; i <= 37; i++ {
		k := float64(i)
		yi := math.Round(100*(10+3*math.Sin(k*1.7)+2*math.Cos(k*0.9)+float64(i%5))) / 100
		xi := math.Round(100*(5+2*math.Cos(k*2.3))) / 100
		y, x, w, strata = append(y, yi), append(x, xi), append(w, float64(i%2)), append(strata, i/13)
		if i != 4 && i != 9 && i != 22 {
			py, px, pw, pair = append(py, yi), append(px, xi), append(pw, float64(i%2)), append(pair, (i-1)/2)
		}
	}
	r, err := RandomIntercepts(Model{py, [][]float64{px, pw}, pair})
	require.NoError(t, err)
	close := func(name string, tol float64, got ...float64) {
		require.Len(t, got, len(lists[name]), name)
		for i, v := range lists[name] {
			require.InEpsilon(t, v, got[i], tol, name)
		}
	}
	close("lme_coef", 1e-4, r.Intercept, r.Coef[0], r.Coef[1])
	close("lme_se", 1e-4, r.InterceptSE, r.SE[0], r.SE[1])
	close("lme_sd", 1e-4, r.SDGroup, r.SDUnit, r.LogLik)
	f, err := LeastSquares(Model{y, [][]float64{x, w}, strata})
	require.NoError(t, err)
	close("lm_coef", 1e-9, f.Coef...)
	close("lm_se", 1e-9, f.SE...)
	close("lm_hc3", 1e-9, f.HC3...)
	d := make([]float64, 20)
	for i := range d {
		d[i] = y[i] - 10.3137 + float64(i+1)/1e4
	}
	s, err := SignedRankTest(d, DropZeros)
	require.NoError(t, err)
	close("rank", 1e-9, s.P)
}

// Towards no noncentrality the distribution is Student's, with a slope of less than 0.4.
func TestNoncentralTNearZero(t *testing.T) {
	for _, x := range [][2]float64{{2, 10}, {0.5, 3}, {-1.3, 200}} {
		want := 1 - TUpper(x[0], x[1])
		for ncp := 1e-3; ncp > 0; ncp /= 10 {
			for _, sign := range []float64{1, -1} {
				require.InDelta(t, want, NoncentralTCDF(x[0], x[1], sign*ncp), 0.4*ncp+1e-13, "%v, %v", x, ncp)
			}
		}
	}
}
