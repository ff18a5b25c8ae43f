package app

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/plan"
)

// What an athlete can do, worked out anew in floating point from the anchors and the
// numbers of the set-to-set drop in testdata: nothing of package load is used here.

type xy struct{ x, y float64 }

// curveModel is the files, read in two ways: between the anchors a cubic, or a straight
// line on the log scale. What is published leaves open which.
type curveModel struct {
	anchors map[string][]xy // repetitions, share of 1RM; from one repetition at 1 on
	slopes  map[string][]float64
	drop    map[string][]xy
}

// reading is a way to fill in between anchors.
type reading int

const (
	cubic reading = iota
	logLinear
	readings
)

func readCurveModel(t *testing.T) *curveModel {
	read := func(name string) [][]string {
		f, err := os.Open("../../engine/load/testdata/" + name)
		require.NoError(t, err)
		defer f.Close()
		r := csv.NewReader(f)
		r.Comment = '#'
		all, err := r.ReadAll()
		require.NoError(t, err)
		return all
	}
	number := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		require.NoError(t, err)
		return v
	}
	m := &curveModel{anchors: map[string][]xy{}, slopes: map[string][]float64{}, drop: map[string][]xy{}}
	for _, r := range read("anchors.csv") {
		if m.anchors[r[0]] == nil {
			m.anchors[r[0]] = []xy{{1, 1}}
		}
		m.anchors[r[0]] = append(m.anchors[r[0]], xy{number(r[2]), number(r[1]) / 100})
	}
	for family, points := range m.anchors {
		m.slopes[family] = steffen(points)
	}
	for _, r := range read("fatigue.csv") {
		m.drop[r[0]] = append(m.drop[r[0]], xy{number(r[1]), number(r[2])})
	}
	return m
}

// steffen gives the slopes of a monotone piecewise cubic (Steffen, Astron Astrophys
// 239:443-450, 1990). The engine takes Fritsch & Butland's: another curve through the
// same anchors.
func steffen(p []xy) []float64 {
	n := len(p)
	h, s := make([]float64, n-1), make([]float64, n-1)
	for i := range h {
		h[i] = p[i+1].x - p[i].x
		s[i] = (p[i+1].y - p[i].y) / h[i]
	}
	out := make([]float64, n)
	for i := 1; i < n-1; i++ {
		q := (s[i-1]*h[i] + s[i]*h[i-1]) / (h[i-1] + h[i])
		out[i] = -min(2*math.Abs(s[i-1]), 2*math.Abs(s[i]), math.Abs(q)) // all secants fall
	}
	end := func(h0, h1, s0, s1 float64) float64 {
		q := s0*(1+h0/(h0+h1)) - s1*h0/(h0+h1)
		return max(min(q, 0), 2*s0)
	}
	out[0] = end(h[0], h[1], s[0], s[1])
	out[n-1] = end(h[n-2], h[n-3], s[n-2], s[n-3])
	return out
}

// curveReps is where the curves end.
const curveReps = 30.0

// share gives the share of the 1RM at which so many repetitions are possible.
func (m *curveModel) share(r reading, family string, slope, reps float64) float64 {
	p, s := m.anchors[family], m.slopes[family]
	x := 1 + (reps-1)/slope
	i := 0
	for i < len(p)-2 && x > p[i+1].x {
		i++
	}
	h := p[i+1].x - p[i].x
	u := (x - p[i].x) / h
	if r == logLinear {
		return p[i].y * math.Pow(p[i+1].y/p[i].y, u)
	}
	return p[i].y*(1+2*u)*(1-u)*(1-u) + h*s[i]*u*(1-u)*(1-u) + p[i+1].y*u*u*(3-2*u) + h*s[i+1]*u*u*(u-1)
}

// fresh gives the repetitions possible fresh at a share of the 1RM, by bisection.
func (m *curveModel) fresh(r reading, family string, slope, share float64) float64 {
	if share > 1 {
		return 0
	}
	lo, hi := 1.0, curveReps
	if m.share(r, family, slope, hi) >= share {
		return hi
	}
	for range 60 {
		if mid := (lo + hi) / 2; m.share(r, family, slope, mid) >= share {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo
}

// debt is what sets have left, in shares of the fresh repetitions.
type debt struct{ fast, slow float64 }

func (m *curveModel) capacity(fresh float64, d debt) float64 {
	return max(0, fresh*(1-d.fast-d.slow))
}

// after gives the debt after a set and its rest.
func (m *curveModel) after(d debt, fresh, reps float64, rest plan.Seconds) debt {
	if can := m.capacity(fresh, d); reps > 0 {
		s := 1.0
		if reps < can {
			s = reps / can * m.at("nearness", can-reps)
		}
		s *= m.at("weight", fresh)
		d.fast += (1 - d.fast) * s
		d.slow += m.at("slow", 0) * s
	}
	return debt{d.fast * m.at("fast-left", float64(rest)), d.slow * m.at("slow-left", float64(rest))}
}

// at fills a table linearly.
func (m *curveModel) at(table string, x float64) float64 {
	p := m.drop[table]
	if x <= p[0].x {
		return p[0].y
	}
	for i := 1; i < len(p); i++ {
		if x <= p[i].x {
			return p[i-1].y + (p[i].y-p[i-1].y)*(x-p[i-1].x)/(p[i].x-p[i-1].x)
		}
	}
	return p[len(p)-1].y
}
