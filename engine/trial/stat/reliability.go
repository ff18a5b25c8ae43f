package stat

import (
	"fmt"
	"math"
)

// Reliability is what repeats tell of a measurement: n subjects, each measured k times.
type Reliability struct {
	Subjects, Trials int
	// Mean squares between subjects, between trials, of what is left, and within subjects.
	BMS, JMS, EMS, WMS float64
	// Intraclass correlations of Shrout & Fleiss 1979 (Psychol Bull 86:420-428) of one
	// measurement, and of the mean of k. (1,1): trials nested; (2,1): agreement, other
	// assessors would do; (3,1): consistency, these assessors.
	ICC11, ICC21, ICC31 Interval
	ICC1k, ICC2k, ICC3k float64
	TypicalError        Interval // root of EMS, in the outcome's unit: noise of one measurement
	MDC                 float64  // minimal detectable change of one athlete at the level
	Shift               float64  // mean of the last trial less the first: learning, or fatigue
	Level               float64
}

// Interval is a value with its bounds.
type Interval struct{ Value, Low, High float64 }

// Repeats gives the reliability of repeated measurements, a row for each subject and as
// many columns as trials. An individual's change is beyond noise if it is larger than
// MDC; that is no proof of a response.
func Repeats(rows [][]float64, level float64) (*Reliability, error) {
	if err := checkLevel(level); err != nil {
		return nil, err
	}
	if len(rows) < 2 || len(rows[0]) < 2 {
		return nil, infeasible(ReasonFew, "repeats", "are of %d subjects; want 2 or more with 2 trials or more", len(rows))
	}
	n, k := len(rows), len(rows[0])
	r := &Reliability{Subjects: n, Trials: k, Level: level}
	for i, row := range rows {
		if len(row) != k {
			return nil, invalid(fmt.Sprintf("repeats[%d]", i), "has %d trials; want %d as the first", len(row), k)
		}
		if err := finite(fmt.Sprintf("repeats[%d]", i), row...); err != nil {
			return nil, err
		}
	}
	r.squares(rows)
	if r.BMS == 0 && r.EMS == 0 {
		return nil, infeasible(ReasonSpread, "repeats", "don't vary: no reliability")
	}
	r.correlations(level)
	df := float64((n - 1) * (k - 1))
	te := math.Sqrt(r.EMS)
	r.TypicalError = Interval{te,
		te * math.Sqrt(df/ChiSquaredQuantile(0.5+float64(level/2), df)),
		te * math.Sqrt(df/ChiSquaredQuantile(0.5-float64(level/2), df))}
	r.MDC = MinimalDetectableChange(te, level)
	return r, nil
}

// MinimalDetectableChange is the change that noise of a typical error alone exceeds with
// a chance of 1-level: z sqrt(2) TE.
func MinimalDetectableChange(typicalError, level float64) float64 {
	return NormalUpperQuantile((1-level)/2) * math.Sqrt2 * typicalError
}

// TypicalErrorFrom gives the typical error that a published ICC implies for athletes with
// a spread of sd: sd sqrt(1-ICC). Repeats of one's own are better.
func TypicalErrorFrom(icc, sd float64) (float64, error) {
	if err := finite("icc", icc, sd); err != nil {
		return 0, err
	}
	if icc < 0 || icc > 1 || sd < 0 {
		return 0, invalid("icc", "is %v with an SD of %v; want 0 to 1 and no negative SD", icc, sd)
	}
	return sd * math.Sqrt(1-icc), nil
}

// CoefficientOfVariation turns a typical error of log values into per cent.
func CoefficientOfVariation(logTypicalError float64) float64 {
	return 100 * math.Expm1(logTypicalError)
}

func (r *Reliability) squares(rows [][]float64) {
	n, k := float64(r.Subjects), float64(r.Trials)
	all := make([]float64, 0, r.Subjects*r.Trials)
	subject := make([]float64, r.Subjects)
	trial := make([]float64, r.Trials)
	for i, row := range rows {
		all = append(all, row...)
		subject[i] = mean(row)
		for j, x := range row {
			trial[j] += x / n
		}
	}
	grand := mean(all)
	between, trials := float64(k*squares(subject, grand)), float64(n*squares(trial, grand))
	var rest float64
	for i, row := range rows {
		for j, x := range row {
			e := x - subject[i] - trial[j] + grand
			rest += float64(e * e)
		}
	}
	tiny := float64(1e-24 * (between + trials + float64(n*k*grand*grand)))
	if rest <= tiny {
		rest = 0
	}
	if between <= tiny {
		between = 0
	}
	r.BMS, r.JMS = float64(between/(n-1)), float64(trials/(k-1))
	r.EMS = float64(rest / ((n - 1) * (k - 1)))
	r.WMS = float64((trials + rest) / (n * (k - 1)))
	r.Shift = trial[r.Trials-1] - trial[0]
}

func (r *Reliability) correlations(level float64) {
	n, k := float64(r.Subjects), float64(r.Trials)
	// Ratios all: a power of two taken out keeps products of huge squares finite.
	_, power := math.Frexp(max(r.BMS, r.JMS, r.EMS, r.WMS))
	small := func(x float64) float64 { return math.Ldexp(x, -power) }
	b, j, e, w := small(r.BMS), small(r.JMS), small(r.EMS), small(r.WMS)
	a := float64((1 - level) / 2)
	r.ICC11.Value = (b - w) / (b + float64((k-1)*w))
	r.ICC31.Value = (b - e) / (b + float64((k-1)*e))
	r.ICC21.Value = (b - e) / (b + float64((k-1)*e) + k*(j-e)/n)
	if b > 0 {
		r.ICC1k, r.ICC3k, r.ICC2k = (b-w)/b, (b-e)/b, (b-e)/(b+(j-e)/n)
	}
	ends := func(f, df1, df2 float64) (float64, float64) {
		lo, hi := float64(f/FQuantile(1-a, df1, df2)), float64(f*FQuantile(1-a, df2, df1))
		return (lo - 1) / (lo + k - 1), (hi - 1) / (hi + k - 1)
	}
	if w > 0 {
		r.ICC11.Low, r.ICC11.High = ends(b/w, n-1, n*(k-1))
	} else {
		r.ICC11 = Interval{1, 1, 1}
	}
	if e == 0 {
		r.ICC31 = Interval{1, 1, 1}
		r.ICC21.Low, r.ICC21.High = r.ICC21.Value, r.ICC21.Value
		return
	}
	r.ICC31.Low, r.ICC31.High = ends(b/e, n-1, (n-1)*(k-1))
	// Agreement: Satterthwaite's df (Shrout & Fleiss 1979; McGraw & Wong 1996).
	icc, fj := r.ICC21.Value, j/e
	up := float64(k*icc*fj) + float64(n*(1+float64((k-1)*icc))) - float64(k*icc)
	v := (n - 1) * (k - 1) * up * up / (float64((n-1)*k*k*icc*icc*fj*fj) + float64((float64(n*(1+float64((k-1)*icc)))-float64(k*icc))*(float64(n*(1+float64((k-1)*icc)))-float64(k*icc))))
	if !(v > 0) {
		r.ICC21.Low, r.ICC21.High = -1/(k-1), 1
		return
	}
	hi, lo := FQuantile(1-a, n-1, v), FQuantile(1-a, v, n-1)
	r.ICC21.Low = n * (b - float64(hi*e)) / (float64(hi*(float64(k*j)+float64((float64(k*n)-k-n)*e))) + float64(n*b))
	r.ICC21.High = n * (float64(lo*b) - e) / (float64(k*j) + float64((float64(k*n)-k-n)*e) + float64(n*lo*b))
}

// ResponseSpread compares the spread of changes between two arms. It estimates how much
// the variance of true responses differs between them; with two active arms that is no
// variance of responses, and where the interval reaches below 0 nothing may be called a
// responder.
type ResponseSpread struct {
	VarDiff    float64
	SD         float64 // root of VarDiff, with its sign
	SE         float64 // of VarDiff
	Low, High  float64 // of SD, with sign
	LogRatio   float64 // lnVR: of the SDs, corrected for small samples
	VarOfRatio float64
}

// CompareSpread compares the SDs of changes of a treated and a control arm (Atkinson &
// Batterham 2015, Exp Physiol 100:577-588; Hopkins 2015, J Appl Physiol 118:1444-1446).
func CompareSpread(sdT float64, nT int, sdC float64, nC int, level float64) (ResponseSpread, error) {
	if err := first(finite("sd", sdT, sdC), checkLevel(level)); err != nil {
		return ResponseSpread{}, err
	}
	if nT < 2 || nC < 2 || !(sdT > 0 && sdC > 0) {
		return ResponseSpread{}, infeasible(ReasonSpread, "sd", "are %v of %d and %v of %d; want SDs above 0 of 2 or more", sdT, nT, sdC, nC)
	}
	t, c := float64(nT-1), float64(nC-1)
	v := ResponseSpread{VarDiff: float64(sdT*sdT) - float64(sdC*sdC), SE: math.Sqrt(2 * (math.Pow(sdT, 4)/t + math.Pow(sdC, 4)/c))}
	z := NormalUpperQuantile((1 - level) / 2)
	v.SD, v.Low, v.High = signedRoot(v.VarDiff), signedRoot(v.VarDiff-float64(z*v.SE)), signedRoot(v.VarDiff+float64(z*v.SE))
	v.LogRatio = math.Log(sdT/sdC) + 1/(2*t) - 1/(2*c)
	v.VarOfRatio = 1/(2*t) + 1/(2*c)
	return v, nil
}

func signedRoot(x float64) float64 { return math.Copysign(math.Sqrt(math.Abs(x)), x) }
