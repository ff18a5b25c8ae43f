package stat

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// all checks numbers of a vector's expectation by name.
func (v vector) all(t *testing.T, got map[string]float64) {
	t.Helper()
	require.NotEmpty(t, got)
	for field, x := range got {
		v.near(t, field, read[float64](t, v.Expected, field), x)
	}
}

func (v vector) list(t *testing.T, field string, got []float64) {
	t.Helper()
	want := read[[]float64](t, v.Expected, field)
	require.Len(t, got, len(want), field)
	for i := range want {
		v.near(t, fmt.Sprintf("%s[%d]", field, i), want[i], got[i])
	}
}

func (e Estimate) fields(prefix ...string) map[string]float64 {
	return map[string]float64{"t": e.T, "df": e.DF, "p": e.P, "estimate": e.Value, "ci_lower": e.Low, "ci_upper": e.High}
}

func summary(t *testing.T, xs []float64) Summary {
	s, err := Summarise(xs)
	require.NoError(t, err)
	return s
}

// Student 1908, Biometrika 6:1-25, and R 4.2.2 on the same data; ToothGrowth of R.
func TestPublishedTTests(t *testing.T) {
	v := published(t, "sleep_paired_t")
	x, y := read[[]float64](t, v.Inputs, "x"), read[[]float64](t, v.Inputs, "y")
	e, err := Paired(x, y, 0.95)
	require.NoError(t, err)
	v.all(t, e.fields())

	v = published(t, "sleep_welch")
	e, err = Welch(summary(t, x), summary(t, y), 0.95)
	require.NoError(t, err)
	v.all(t, e.fields())

	v = published(t, "sleep_student_pooled")
	e, err = Pooled(summary(t, x), summary(t, y), 0.95)
	require.NoError(t, err)
	v.all(t, e.fields())

	v = published(t, "toothgrowth_welch")
	e, err = Welch(summary(t, read[[]float64](t, v.Inputs, "OJ")), summary(t, read[[]float64](t, v.Inputs, "VC")), 0.95)
	require.NoError(t, err)
	v.all(t, e.fields())

	v = published(t, "darwin_maize_paired_t")
	e, err = OneSample(read[[]float64](t, v.Inputs, "d"), 0.95)
	require.NoError(t, err)
	v.all(t, e.fields())
}

// Hand et al. 1994, anorexia, as shipped with R's MASS.
func TestPublishedAncova(t *testing.T) {
	for _, name := range []string{"anorexia_ancova_cbt", "anorexia_ancova_ft"} {
		v := published(t, name)
		a, err := Ancova(Comparison{Y: read[[]float64](t, v.Inputs, "post"), Arm: read[[]int](t, v.Inputs, "treated"), Arms: 2,
			Covariates: [][]float64{read[[]float64](t, v.Inputs, "pre")}}, 0.95)
		require.NoError(t, err)
		e := a.Effects[0]
		v.all(t, map[string]float64{"effect": e.Value, "se": e.SE, "t": e.T, "df": e.DF, "p": e.P, "ci_lower": e.Low, "ci_upper": e.High,
			"slope": a.Slopes[0].Value, "slope_se": a.Slopes[0].SE, "resid_sd": a.Sigma, "adj_mean_control": a.Means[0], "adj_mean_treated": a.Means[1]})
	}
	v := published(t, "anorexia_ancova_3arm")
	pre, post := read[[]float64](t, v.Inputs, "pre"), read[[]float64](t, v.Inputs, "post")
	var arm []int
	for _, a := range read[[]string](t, v.Inputs, "arm") {
		arm = append(arm, map[string]int{"Cont": 0, "CBT": 1, "FT": 2}[a])
	}
	a, err := Ancova(Comparison{Y: post, Arm: arm, Arms: 3, Covariates: [][]float64{pre}}, 0.95)
	require.NoError(t, err)
	v.all(t, map[string]float64{
		"coef_intercept": a.Means[0] - a.Slopes[0].Value*mean(pre), "slope": a.Slopes[0].Value,
		"effect_CBT": a.Effects[0].Value, "se_CBT": a.Effects[0].SE, "p_CBT": a.Effects[0].P,
		"effect_FT": a.Effects[1].Value, "se_FT": a.Effects[1].SE, "p_FT": a.Effects[1].P,
		"F_arm": a.Overall.F, "df1": a.Overall.DF1, "df2": a.Overall.DF2, "p_arm": a.Overall.P, "resid_sd": a.Sigma,
	})
}

// Yates 1935/37, npk as shipped with R: nitrogen within blocks.
func TestPublishedBlocks(t *testing.T) {
	data := published(t, "npk_block_randomisation_exact")
	v := published(t, "npk_block_anova")
	a, err := Ancova(Comparison{Y: read[[]float64](t, data.Inputs, "yield"), Arm: read[[]int](t, data.Inputs, "treated"), Arms: 2, Group: read[[]int](t, data.Inputs, "block")}, 0.95)
	require.NoError(t, err)
	v.all(t, map[string]float64{"effect": a.Effects[0].Value, "F": a.Overall.F, "p": a.Overall.P, "df2": a.Overall.DF2, "mse": a.Sigma * a.Sigma})
}

// Potthoff & Roy 1964, Orthodont as shipped with R's nlme.
// orthodont are 27 children measured at four ages (Potthoff & Roy 1964, Biometrika
// 51:313-326): subjects numbered, and who is a girl.
func orthodont(t *testing.T) (y, age, female []float64, subject []int) {
	t.Helper()
	v := published(t, "orthodont_random_intercept")
	for _, s := range read[[]string](t, v.Inputs, "sex") {
		female = append(female, map[string]float64{"Female": 1}[s])
	}
	number := map[string]int{}
	for _, s := range read[[]string](t, v.Inputs, "subject") {
		if _, in := number[s]; !in {
			number[s] = len(number)
		}
		subject = append(subject, number[s])
	}
	return read[[]float64](t, v.Inputs, "distance"), read[[]float64](t, v.Inputs, "age"), female, subject
}

func TestPublishedRandomIntercept(t *testing.T) {
	v := published(t, "orthodont_random_intercept")
	y, age, female, group := orthodont(t)
	both := make([]float64, len(age))
	for i := range age {
		both[i] = female[i] * age[i]
	}
	r, err := RandomIntercepts(Model{y, [][]float64{age, female, both}, group})
	require.NoError(t, err)
	v.all(t, map[string]float64{"intercept": r.Intercept, "age": r.Coef[0], "sexFemale": r.Coef[1], "age_x_sexFemale": r.Coef[2],
		"sd_subject": r.SDGroup, "sd_resid": r.SDUnit, "logLik_reml": r.LogLik})
	v.list(t, "se", append([]float64{r.InterceptSE}, r.SE...))
}

// visitMeans are columns of a mean for each visit and what girls have more at each, and
// the weights of the last.
func visitMeans(age, female []float64) (visit []int, columns [][]float64, last []float64) {
	columns = make([][]float64, 8)
	for i, a := range age {
		k := int(a-8) / 2
		visit = append(visit, k)
		for j := range 4 {
			at := map[bool]float64{true: 1}[j == k]
			columns[j], columns[4+j] = append(columns[j], at), append(columns[4+j], at*female[i])
		}
	}
	return visit, columns, []float64{0, 0, 0, 0, 0, 0, 0, 1}
}

// With nothing missing the contrast at a visit is that of the means there, with 25
// degrees of freedom, and the covariance that of the rests.
func TestPublishedRepeated(t *testing.T) {
	v := published(t, "orthodont_mmrm_unstructured")
	y, age, female, subject := orthodont(t)
	visit, columns, last := visitMeans(age, female)
	f, err := Unstructured(Repeated{y, subject, visit, columns})
	require.NoError(t, err)
	e, err := f.Contrast(last, 0.95)
	require.NoError(t, err)
	v.all(t, map[string]float64{"diff_female_minus_male_age14": e.Value, "se": e.SE, "logLik_reml": f.LogLik})
	require.InEpsilon(t, 25, e.DF, 1e-3)
	var groups [2][]float64
	for i := range y {
		if visit[i] == 3 {
			groups[int(female[i])] = append(groups[int(female[i])], y[i])
		}
	}
	pooled, err := Pooled(summary(t, groups[1]), summary(t, groups[0]), 0.95)
	require.NoError(t, err)
	require.InEpsilon(t, pooled.SE, e.SE, 1e-5)
	require.InEpsilon(t, pooled.P, e.P, 1e-2)
}

func TestPublishedEquivalence(t *testing.T) {
	for name, test := range map[string]func(a, b Summary, level float64) (Estimate, error){"tost_lakens2017_pooled": Pooled, "tost_lakens2017_welch": Welch} {
		v := published(t, name)
		in := func(f string) float64 { return read[float64](t, v.Inputs, f) }
		e, err := test(Summary{int(in("n1")), in("m1"), in("sd1")}, Summary{int(in("n2")), in("m2"), in("sd2")}, 0.95)
		require.NoError(t, err)
		q, err := TOST(e, in("low"), in("high"), in("alpha"))
		require.NoError(t, err)
		v.all(t, map[string]float64{"diff": e.Value, "se": e.SE, "df": e.DF, "t_lower": q.TLower, "p_lower": q.PLower, "t_upper": q.TUpper, "p_upper": q.PUpper,
			"p_tost": q.P, "ci90_lower": q.Low, "ci90_upper": q.High, "t_nhst": e.T, "p_nhst": e.P})
	}
}

func TestPublishedHedgesJ(t *testing.T) {
	v := published(t, "hedges_J_exact")
	var exact, near []float64
	for _, df := range read[[]float64](t, v.Inputs, "df") {
		exact, near = append(exact, J(df)), append(near, 1-3/(4*df-1))
	}
	v.list(t, "J_exact", exact)
	v.list(t, "J_approx", near)
	require.InEpsilon(t, J(9.99e6), J(1.01e7), 1e-8, "no step where the approximation takes over")
}

// Borenstein, Hedges, Higgins & Rothstein 2009, chapter 4; Student's sleep.
func TestPublishedStandardisedDifferences(t *testing.T) {
	for _, name := range []string{"g_borenstein2009_independent", "g_sleep_independent"} {
		v := published(t, name)
		in := func(f string) float64 { return read[float64](t, v.Inputs, f) }
		e, err := StandardisedDifference(Summary{int(in("n1")), in("m1"), in("sd1")}, Summary{int(in("n2")), in("m2"), in("sd2")}, in("conf"))
		require.NoError(t, err)
		v.all(t, map[string]float64{"sd_pooled": e.SD, "d": e.D, "df": e.DF, "J_exact": e.J, "g": e.G, "t": e.T, "var_d_borenstein": e.VarD,
			"var_g_hedges_LS": e.VarGLS, "d_ci_lower": e.DLow, "d_ci_upper": e.DHigh, "g_ci_lower": e.GLow, "g_ci_upper": e.GHigh, "var_g_borenstein": e.VarG})
	}
	v := published(t, "g_borenstein2009_paired")
	in := func(f string) float64 { return read[float64](t, v.Inputs, f) }
	p, err := PrePostFromDifference(in("mean_diff"), in("sd_diff"), int(in("n")), in("r"))
	require.NoError(t, err)
	v.all(t, map[string]float64{"sd_within": p.SDWithin, "d": p.D, "var_d": p.VarD, "J": p.J, "g": p.G, "var_g": p.VarG})

	v = published(t, "paired_dz_dav_sleep")
	e, err := PairedDifference(read[[]float64](t, v.Inputs, "x"), read[[]float64](t, v.Inputs, "y"), 0.95)
	require.NoError(t, err)
	v.all(t, map[string]float64{"dz": e.DZ, "gz": e.GZ, "dz_ci_lower": e.DZLow, "dz_ci_upper": e.DZHigh, "d_av": e.DAv, "d_rm": e.DRM, "r": e.R})

	v = published(t, "nct_ci")
	k := math.Sqrt(1/in2(t, v, "n1") + 1/in2(t, v, "n2"))
	low, high, err := NoncentralTInterval(in2(t, v, "t"), in2(t, v, "df"), in2(t, v, "conf"))
	require.NoError(t, err)
	v.all(t, map[string]float64{"ncp_lower": low, "ncp_upper": high, "d": k * in2(t, v, "t"), "d_lower": k * low, "d_upper": k * high})
}

func in2(t *testing.T, v vector, f string) float64 { return read[float64](t, v.Inputs, f) }

// Morris 2008, Table 5; Becker 1988 by R's metafor.
func TestPublishedPrePost(t *testing.T) {
	v := published(t, "morris2008_dppc2")
	type side struct{ Pre, Post, SD, N, R []float64 }
	tr, c := read[side](t, v.Inputs, "treat"), read[side](t, v.Inputs, "control")
	got := map[string][]float64{}
	for i := range tr.Pre {
		p, err := PrePostControlled(Change{tr.Pre[i], tr.Post[i], tr.SD[i], int(tr.N[i])}, Change{c.Pre[i], c.Post[i], c.SD[i], int(c.N[i])}, tr.R[i])
		require.NoError(t, err)
		for f, x := range map[string]float64{"sd_pre_pooled": p.SD, "c_P_approx": p.C, "d_ppc2": p.D, "var_eq25": p.Var, "d_ppc2_exactJ": p.DExactJ} {
			got[f] = append(got[f], x)
		}
	}
	for f, xs := range got {
		v.list(t, f, xs)
	}
	v = published(t, "smcr_becker1988")
	at := func(f string, i int) float64 { return read[[]float64](t, v.Inputs, f)[i] }
	var ys, vs []float64
	for i := range read[[]float64](t, v.Inputs, "n") {
		d, s, err := StandardisedChange(Change{at("m_pre", i), at("m_post", i), at("sd_pre", i), int(at("n", i))}, at("r", i))
		require.NoError(t, err)
		ys, vs = append(ys, d), append(vs, s)
	}
	v.list(t, "yi", ys)
	v.list(t, "vi", vs)
}

// Shrout & Fleiss 1979, Table 2; Bland & Altman 1986, the large peak flow meter.
func TestPublishedReliability(t *testing.T) {
	v := published(t, "icc_shrout_fleiss1979")
	r, err := Repeats(read[[][]float64](t, v.Inputs, "ratings"), 0.95)
	require.NoError(t, err)
	v.all(t, map[string]float64{"BMS": r.BMS, "JMS": r.JMS, "EMS": r.EMS, "WMS": r.WMS, "ICC11": r.ICC11.Value, "ICC21": r.ICC21.Value,
		"ICC31": r.ICC31.Value, "ICC1k": r.ICC1k, "ICC2k": r.ICC2k, "ICC3k": r.ICC3k})
	for f, i := range map[string]Interval{"ICC11_ci": r.ICC11, "ICC21_ci": r.ICC21, "ICC31_ci": r.ICC31} {
		v.list(t, f, []float64{i.Low, i.High})
	}

	v = published(t, "typical_error_bland_altman1986")
	one, two := read[[]float64](t, v.Inputs, "trial1"), read[[]float64](t, v.Inputs, "trial2")
	var rows, logs [][]float64
	var all, d []float64
	var meanSquare float64
	for i := range one {
		rows = append(rows, []float64{one[i], two[i]})
		logs = append(logs, []float64{math.Log(one[i]), math.Log(two[i])})
		all = append(all, one[i], two[i])
		d = append(d, two[i]-one[i])
		meanSquare += (one[i] - two[i]) * (one[i] - two[i]) / float64(len(one))
	}
	r, err = Repeats(rows, 0.95)
	require.NoError(t, err)
	te := r.TypicalError
	v.all(t, map[string]float64{"mean_change": r.Shift, "sd_diff": summary(t, d).SD, "typical_error": te.Value, "mdc95_exact_z": r.MDC,
		"mdc90": MinimalDetectableChange(te.Value, 0.90), "icc31": r.ICC31.Value, "icc21": r.ICC21.Value, "te_ci_lower": te.Low, "te_ci_upper": te.High,
		"mdc95": 1.96 * math.Sqrt2 * te.Value, "coef_repeatability_zero_mean": 2 * math.Sqrt(meanSquare)})
	// sem_from_icc: the between-subject SD that goes with ICC(3,1) is that of one trial's
	// variance components.
	sd := math.Sqrt((r.BMS + r.EMS) / 2)
	sem, err := TypicalErrorFrom(r.ICC31.Value, sd)
	require.NoError(t, err)
	v.near(t, "sem_from_icc", read[float64](t, v.Expected, "sem_from_icc"), sem)
	v.near(t, "cv_percent", read[float64](t, v.Expected, "cv_percent"), 100*te.Value/mean(all))
	// On the log scale the same noise is close to that.
	l, err := Repeats(logs, 0.95)
	require.NoError(t, err)
	require.InDelta(t, 100*te.Value/mean(all), CoefficientOfVariation(l.TypicalError.Value), 0.2)
}

func TestPublishedResponseSpread(t *testing.T) {
	v := published(t, "sd_individual_response")
	s, err := CompareSpread(in2(t, v, "sd_change_treat"), int(in2(t, v, "n_treat")), in2(t, v, "sd_change_control"), int(in2(t, v, "n_control")), 0.90)
	require.NoError(t, err)
	v.all(t, map[string]float64{"var_diff": s.VarDiff, "sd_ir": s.SD, "se_var_diff": s.SE, "ci90_lower_signed": s.Low, "ci90_upper_signed": s.High,
		"lnVR": s.LogRatio, "var_lnVR": s.VarOfRatio})
}

// Wilcoxon's test of Darwin's maize, of Hollander & Wolfe 1973 p. 29, and of Student's
// sleep with a zero and a tie.
func TestPublishedSignedRank(t *testing.T) {
	for _, name := range []string{"darwin_maize_signed_rank", "hollander_wolfe_signed_rank"} {
		v := published(t, name)
		var d []float64
		if _, has := v.Inputs["d"]; has {
			d = read[[]float64](t, v.Inputs, "d")
		} else {
			var err error
			d, err = differences(read[[]float64](t, v.Inputs, "x"), read[[]float64](t, v.Inputs, "y"))
			require.NoError(t, err)
		}
		s, err := SignedRankTest(d, DropZeros)
		require.NoError(t, err)
		v.all(t, map[string]float64{"n_used": float64(s.N), "W_plus": s.Plus, "W_minus": s.Minus, "p_two_sided": s.P, "p_greater": s.PGreater})
	}
	v := published(t, "sleep_signed_rank")
	for field, zeros := range map[string]Zeros{"drop_zeros": DropZeros, "pratt": PrattZeros} {
		s, err := SignedRankTest(read[[]float64](t, v.Inputs, "d"), zeros)
		require.NoError(t, err)
		want := read[map[string]float64](t, v.Expected, field)
		for f, x := range map[string]float64{"n_used": float64(s.N), "W_plus": s.Plus, "W_minus": s.Minus, "p_two_sided": s.P, "p_greater": s.PGreater} {
			v.near(t, f, want[f], x)
		}
	}
}

// Fisher 1935, the lady tasting tea.
func TestPublishedFisher(t *testing.T) {
	v := published(t, "fisher_tea")
	f, err := Fisher(3, 1, 1, 3)
	require.NoError(t, err)
	all, err := Fisher(4, 0, 0, 4)
	require.NoError(t, err)
	v.all(t, map[string]float64{"p_greater_3_of_4": f.PGreater, "p_two_sided": f.P, "p_greater_4_of_4": all.PGreater, "cond_mle_odds_ratio": f.OddsRatio.Value})
	require.False(t, all.OddsRatio.Set)
}

// Benjamini & Hochberg 1995, section 4; R's p.adjust.
func TestPublishedAdjustments(t *testing.T) {
	v := published(t, "bh1995_adjust")
	p := read[[]float64](t, v.Inputs, "p")
	reject := map[string]int{}
	for field, by := range map[string]Adjustment{"holm": Holm, "bh": BenjaminiHochberg, "bonferroni": Bonferroni, "hochberg": Hochberg, "by": BenjaminiYekutieli} {
		got, err := Adjust(by, p)
		require.NoError(t, err)
		v.list(t, field, got)
		for _, x := range got {
			if x <= in2(t, v, "alpha") {
				reject[field]++
			}
		}
		// The order given is kept.
		back := make([]float64, len(p))
		for i := range p {
			back[i] = p[len(p)-1-i]
		}
		turned, err := Adjust(by, back)
		require.NoError(t, err)
		for i := range got {
			require.Equal(t, got[i], turned[len(p)-1-i])
		}
	}
	require.Equal(t, read[int](t, v.Expected, "n_reject_bh"), reject["bh"])
	require.Equal(t, read[int](t, v.Expected, "n_reject_holm"), reject["holm"])
}

// Rubin 1987; Barnard & Rubin 1999.
func TestPublishedRubin(t *testing.T) {
	v := published(t, "rubin_rules")
	c, err := Combine(read[[]float64](t, v.Inputs, "estimates"), read[[]float64](t, v.Inputs, "variances"), in2(t, v, "df_complete"), 0.95)
	require.NoError(t, err)
	v.all(t, map[string]float64{"estimate": c.Value, "within": c.Within, "between": c.Between, "total_var": c.Total, "se": c.SE, "riv": c.Increase,
		"lambda": c.Lambda, "df_rubin1987": c.DFLarge, "df_barnard_rubin": c.DF, "ci_lower": c.Low, "ci_upper": c.High})
}

// Pocock & Spiegelhalter 1992, BMJ 305:1015 (the GREAT trial); Schmidli et al. 2014.
func TestPublishedBayes(t *testing.T) {
	v := published(t, "bayes_normal_great")
	prior := Plain(Normal{in2(t, v, "prior_mean"), in2(t, v, "prior_sd")})
	post, err := prior.Posterior(in2(t, v, "estimate"), in2(t, v, "se"))
	require.NoError(t, err)
	b := post.Believe(0, 0.95)
	se := in2(t, v, "se")
	v.all(t, map[string]float64{"mean": b.Mean, "sd": b.SD, "ci_lower": b.Low, "ci_upper": b.High, "prob_gt_threshold": post.Above(in2(t, v, "threshold")),
		"prior_weight": se * se / (se*se + prior[0].SD*prior[0].SD), "posterior_or": math.Exp(b.Mean), "or_lower": math.Exp(b.Low), "or_upper": math.Exp(b.High)})

	v = published(t, "bayes_robust_mixture")
	post, err = Robust(in2(t, v, "w_informative"), Normal{in2(t, v, "m_informative"), in2(t, v, "sd_informative")}, Normal{in2(t, v, "m_vague"), in2(t, v, "sd_vague")}).Posterior(in2(t, v, "estimate"), in2(t, v, "se"))
	require.NoError(t, err)
	m := post.Moments()
	v.all(t, map[string]float64{"weight_informative": post[0].Weight, "post_mean_informative": post[0].Mean, "post_sd_informative": post[0].SD,
		"post_mean_vague": post[1].Mean, "post_sd_vague": post[1].SD, "mixture_mean": m.Mean, "mixture_sd": m.SD, "prob_gt0": post.Above(0)})
}

// Thall & Wathen 2007, and inverse probability weights, by R.
func TestPublishedAdaptive(t *testing.T) {
	v := published(t, "thompson_beta_prob")
	type beta struct{ Alpha, Beta float64 }
	a, b := read[beta](t, v.Inputs, "A"), read[beta](t, v.Inputs, "B")
	v.all(t, map[string]float64{"prob_B_better": BetaBetter(a.Alpha, a.Beta, int(b.Alpha), b.Beta)})

	v = published(t, "thompson_normal_floor")
	p := NormalBetter(Normal{in2(t, v, "mean_A"), in2(t, v, "sd_A")}, Normal{in2(t, v, "mean_B"), in2(t, v, "sd_B")})
	c, floor := in2(t, v, "n")/(2*in2(t, v, "N")), in2(t, v, "floor")
	v.all(t, map[string]float64{"prob_B_better": p, "c": c, "alloc_B_tempered": Tempered(p, c), "alloc_B_thompson_floored": Floored(p, floor), "alloc_B_tempered_floored": Floored(Tempered(p, c), floor)})

	v = published(t, "ipw_adaptive")
	var treated []bool
	for _, x := range read[[]int](t, v.Inputs, "treated") {
		treated = append(treated, x == 1)
	}
	w, err := InverseProbability(read[[]float64](t, v.Inputs, "y"), treated, read[[]float64](t, v.Inputs, "prob_treated"))
	require.NoError(t, err)
	v.all(t, map[string]float64{"ht_diff": w.HorvitzThompson, "hajek_diff": w.Hajek, "naive_diff": w.Plain})
}

// Morgan & Rubin 2012, Theorem 3.1.
func TestPublishedRerandomisationFactor(t *testing.T) {
	v := published(t, "rerandomisation_variance_factor")
	most, left := read[[][]float64](t, v.Expected, "threshold_a"), read[[][]float64](t, v.Expected, "v_a")
	for i, k := range read[[]int](t, v.Inputs, "k") {
		for j, p := range read[[]float64](t, v.Inputs, "p_accept") {
			r, err := Rerandomise(k, p)
			require.NoError(t, err)
			v.near(t, "threshold_a", most[i][j], r.Most)
			v.near(t, "v_a", left[i][j], r.Left)
		}
	}
	_, err := Rerandomise(0, 0.1)
	require.Error(t, err)
}
