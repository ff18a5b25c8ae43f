package engine_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/strategies"
)

func newEngine(t testing.TB) *engine.Engine {
	reg, err := engine.NewRegistry(strategies.Builtin()...)
	require.NoError(t, err)
	cat, err := exercise.Load()
	require.NoError(t, err)
	return engine.New(reg, cat)
}

var today = func() plan.Date { d, _ := plan.ParseDate("2027-01-04"); return d }()

// fit is an adult whom nothing holds back: every test below changes one thing.
func fit() plan.Request {
	kg := func(v int64) plan.Opt[plan.Load] { return plan.Some(plan.Kg(v * 1000)) }
	return plan.Request{
		Athlete: plan.Athlete{Age: plan.AgeAdult, Status: plan.Intermediate, BodyMass: kg(80), Supervision: plan.Qualified, Spotter: plan.Some(true),
			Screening: plan.Some(plan.Screening{RegularExercise: plan.Some(true), KnownDisease: plan.Some(false), Symptoms: plan.Some(false)}),
			Performances: []plan.Performance{
				{ExerciseID: "back-squat", Load: kg(120), Reps: 5, RIR: plan.Some(int32(1))},
				{ExerciseID: "bench-press", Load: kg(90), Reps: 5, RIR: plan.Some(int32(1))},
			}},
		Goals: []plan.Goal{{Kind: plan.GoalRaise1RM, ExerciseID: "back-squat", Priority: 1}, {Kind: plan.GoalRaise1RM, ExerciseID: "bench-press", Priority: 2}},
		Constraints: plan.Constraints{
			Days:   []plan.Day{{Weekday: plan.Monday, Minutes: 60}, {Weekday: plan.Thursday, Minutes: 60}},
			Places: []plan.Place{{Preset: plan.PresetFullGym, Safeties: plan.Some(true)}},
			Start:  plan.Some(today), Weeks: plan.Some(int32(6)),
		},
		Plan: plan.Plan{Tracks: []plan.Track{{Segments: []plan.Segment{{Strategy: "strength-then-size", Params: []plan.Param{
			{Name: "heavy_effort", Value: plan.Value{Kind: plan.ValueText, Text: "failure"}},
			{Name: "heavy_reps", Value: plan.Value{Kind: plan.ValueRange, Lo: 1, Hi: 3}},
		}}}}}},
	}
}

type seen struct {
	rir       int32
	intensity plan.Permille
	failure   bool
	tests     bool
	cautions  map[string]bool
	exercises map[string]bool
	reps      plan.Range
}

func look(p *plan.Program) seen {
	s := seen{rir: 99, cautions: map[string]bool{}, exercises: map[string]bool{}, reps: plan.Range{Min: 99}}
	for _, c := range p.Cautions {
		s.cautions[c.ID] = true
	}
	for _, ph := range p.Phases {
		for _, w := range ph.Weeks {
			for _, ses := range w.Sessions {
				s.tests = s.tests || ses.Kind == plan.SessionRetest || ses.Kind == plan.SessionAttempt
				for _, e := range ses.Exercises {
					s.exercises[e.ExerciseID] = true
					for _, set := range e.Sets {
						if set.Kind == plan.SetWarmup {
							continue
						}
						if set.RIR.Set {
							s.rir = min(s.rir, set.RIR.Value)
						}
						s.intensity = max(s.intensity, set.Intensity.Value)
						s.failure = s.failure || set.ToFailure
						s.tests = s.tests || set.Kind == plan.SetTest
						if set.Reps.Min > 0 {
							s.reps.Min = min(s.reps.Min, set.Reps.Min)
							s.reps.Max = max(s.reps.Max, set.Reps.Max)
						}
					}
				}
			}
		}
	}
	return s
}

func generate(t *testing.T, r plan.Request) (plan.Program, seen) {
	t.Helper()
	p, err := newEngine(t).Generate(context.Background(), r)
	require.NoError(t, err)
	return p, look(&p)
}

func refused(t *testing.T, r plan.Request, reason, field string) {
	t.Helper()
	_, err := newEngine(t).Generate(context.Background(), r)
	f, ok := fault.As(err)
	require.True(t, ok, "%v", err)
	require.Equal(t, fault.Refused, f.Kind, "%v", err)
	for _, v := range f.Violations {
		if v.Reason == reason && v.Field == field {
			require.NotEmpty(t, v.Says)
			return
		}
	}
	require.Failf(t, "no such violation", "%s on %s in %v", reason, field, f.Violations)
}

func moderate(t *testing.T, s seen, rir int32) {
	t.Helper()
	require.GreaterOrEqual(t, s.rir, rir)
	require.Less(t, s.intensity, plan.Permille(800))
	require.False(t, s.failure)
	require.False(t, s.tests)
}

// Pre-participation screening: ACSM 2015, Riebe et al., Med Sci Sports Exerc 47:2473-2479
// (table from memory, structure verified). Rows by regular exercise, disease, symptoms.
func TestPublishedScreeningTable(t *testing.T) {
	answers := func(regular, disease, symptoms bool) plan.Opt[plan.Screening] {
		return plan.Some(plan.Screening{RegularExercise: plan.Some(regular), KnownDisease: plan.Some(disease), Symptoms: plan.Some(symptoms)})
	}
	cleared := func(scope plan.Scope) plan.Opt[plan.Clearance] {
		return plan.Some(plan.Clearance{Scope: scope, Date: plan.Some(today.AddDays(-100))})
	}
	with := func(q plan.Opt[plan.Screening], c plan.Opt[plan.Clearance]) plan.Request {
		r := fit()
		r.Athlete.Screening, r.Athlete.Clearance = q, c
		return r
	}
	none := plan.Opt[plan.Clearance]{}

	t.Run("no answers", func(t *testing.T) {
		_, s := generate(t, with(plan.Opt[plan.Screening]{}, none))
		moderate(t, s, 2)
		require.True(t, s.cautions["screening-missing"])
	})
	t.Run("one answer missing is no answer", func(t *testing.T) {
		q := answers(true, false, false)
		q.Value.Symptoms = plan.Opt[bool]{}
		_, s := generate(t, with(q, none))
		moderate(t, s, 2)
	})
	t.Run("regular, healthy: may go vigorous", func(t *testing.T) {
		_, s := generate(t, fit())
		require.GreaterOrEqual(t, s.intensity, plan.Permille(850))
		require.True(t, s.failure)
	})
	t.Run("not regular, healthy: light to moderate", func(t *testing.T) {
		_, s := generate(t, with(answers(false, false, false), none))
		moderate(t, s, 2)
	})
	t.Run("not regular, disease: clearance before starting", func(t *testing.T) {
		refused(t, with(answers(false, true, false), none), "CLEARANCE_NEEDED", "athlete.screening.known_disease")
		_, s := generate(t, with(answers(false, true, false), cleared(plan.ScopeModerate)))
		moderate(t, s, 2)
	})
	t.Run("regular, disease, no symptoms: moderate without clearance", func(t *testing.T) {
		_, s := generate(t, with(answers(true, true, false), none))
		moderate(t, s, 2)
		require.True(t, s.cautions["clearance-for-vigorous"])
	})
	t.Run("regular, disease, cleared for vigorous", func(t *testing.T) {
		_, s := generate(t, with(answers(true, true, false), cleared(plan.ScopeVigorous)))
		require.GreaterOrEqual(t, s.intensity, plan.Permille(800))
	})
	t.Run("a clearance older than 12 months, or undated, is none", func(t *testing.T) {
		c := cleared(plan.ScopeVigorous)
		c.Value.Date = plan.Some(today.AddDays(-366))
		_, s := generate(t, with(answers(true, true, false), c))
		moderate(t, s, 2)
		require.True(t, s.cautions["clearance-expired"])
		c.Value.Date = plan.Opt[plan.Date]{}
		_, s = generate(t, with(answers(true, true, false), c))
		moderate(t, s, 2)
	})
	for _, regular := range []bool{false, true} {
		t.Run("symptoms: stop and get checked", func(t *testing.T) {
			refused(t, with(answers(regular, false, true), none), "CLEARANCE_NEEDED", "athlete.screening.symptoms")
			refused(t, with(answers(regular, true, true), none), "CLEARANCE_NEEDED", "athlete.screening.symptoms")
		})
	}
	t.Run("symptoms with the rest unanswered", func(t *testing.T) {
		refused(t, with(plan.Some(plan.Screening{Symptoms: plan.Some(true)}), none), "CLEARANCE_NEEDED", "athlete.screening")
	})
}

// Contraindications to resistance exercise: Williams et al., AHA, Circulation
// 116:572-584, 2007, Table 4; pregnancy: ACOG 804, 2020 (both lists from memory).
func TestPublishedContraindications(t *testing.T) {
	with := func(c plan.Condition, clear bool) plan.Request {
		r := fit()
		r.Athlete.Screening.Value.Conditions = []plan.Condition{c}
		if clear {
			r.Athlete.Clearance = plan.Some(plan.Clearance{Scope: plan.ScopeVigorous, Date: plan.Some(today)})
		}
		return r
	}
	const at = "athlete.screening.conditions[0]"
	for _, c := range []plan.Condition{plan.UnstableCoronaryDisease, plan.DecompensatedHeartFailure, plan.UncontrolledArrhythmia,
		plan.SeverePulmonaryHypertension, plan.SevereAorticStenosis, plan.AcuteCarditis, plan.HypertensionAbove180Over110,
		plan.AorticDissection, plan.MarfanSyndrome, plan.PregnancyHeartOrLung, plan.CervicalInsufficiency, plan.MultiplePregnancyAtRisk,
		plan.BleedingLatePregnancy, plan.PlacentaPraevia, plan.PretermLabourOrRupture, plan.PreEclampsia, plan.SevereAnaemia} {
		refused(t, with(c, false), "CONTRAINDICATION", at)
		refused(t, with(c, true), "CONTRAINDICATION", at)
	}
	for _, c := range []plan.Condition{plan.AdvancedRetinopathy, plan.MajorCoronaryRisk, plan.Diabetes, plan.HypertensionAbove160Over100,
		plan.LowCapacity, plan.MusculoskeletalLimits, plan.PacemakerOrDefibrillator, plan.StrainSensitive, plan.RecentSurgeryOrFracture,
		plan.AcuteNerveSigns, plan.RapidWeightLoss, plan.YouthCardiacOrSeizure} {
		refused(t, with(c, false), "CLEARANCE_NEEDED", at)
		_, s := generate(t, with(c, true))
		require.True(t, s.cautions["clinician"])
		if c == plan.AdvancedRetinopathy || c == plan.StrainSensitive {
			moderate(t, s, 3)
			require.True(t, s.cautions["breathing"])
		}
	}
}

// Youth: Faigenbaum et al., JSCR 23(S5):S60-S79, 2009; Lloyd et al. 2014 (from memory).
func TestPublishedYouthLimits(t *testing.T) {
	minor := func(birth int32) plan.Request {
		r := fit()
		r.Athlete.Age, r.Athlete.BirthYear = plan.AgeUnspecified, plan.Some(birth)
		return r
	}
	t.Run("trained adolescent", func(t *testing.T) {
		_, s := generate(t, minor(2011))
		moderate(t, s, 2)
		require.GreaterOrEqual(t, s.reps.Min, int32(6))
		require.LessOrEqual(t, s.reps.Max, int32(15))
		require.True(t, s.cautions["supervised"])
	})
	t.Run("beginner stays at 60 %", func(t *testing.T) {
		r := minor(2016)
		r.Athlete.Status = plan.Novice
		_, s := generate(t, r)
		moderate(t, s, 2)
		require.LessOrEqual(t, s.intensity, plan.Permille(600))
	})
	t.Run("not alone", func(t *testing.T) {
		r := minor(2011)
		r.Athlete.Supervision = plan.Alone
		refused(t, r, "SUPERVISION_NEEDED", "athlete.supervision")
	})
	t.Run("two or three non-consecutive days", func(t *testing.T) {
		r := minor(2011)
		r.Constraints.Days[1].Weekday = plan.Tuesday
		refused(t, r, "TOO_MANY_DAYS", "constraints.days")
		r.Constraints.Days[1].Weekday = plan.Sunday // Sunday and Monday touch
		refused(t, r, "TOO_MANY_DAYS", "constraints.days")
	})
	t.Run("too young", func(t *testing.T) {
		refused(t, minor(2021), "TOO_YOUNG", "athlete.birth_year")
	})
}

// Pregnancy: ACOG Committee Opinion 804, Obstet Gynecol 135:e178-188, 2020 (details from memory).
func TestPublishedPregnancyLimits(t *testing.T) {
	stage := func(p plan.Pregnancy, ok bool) plan.Request {
		r := fit()
		r.Athlete.Pregnancy, r.Athlete.Uncomplicated = p, plan.Some(ok)
		return r
	}
	refused(t, stage(plan.FirstTrimester, false), "CONFIRMATION_NEEDED", "athlete.uncomplicated")
	cat := newEngine(t).Catalogue()
	for _, p := range []plan.Pregnancy{plan.FirstTrimester, plan.SecondTrimester, plan.ThirdTrimester, plan.Postpartum} {
		r := stage(p, true)
		r.Goals = r.Goals[:1] // a flat bench press is ruled out from the second trimester
		r.Athlete.Performances = r.Athlete.Performances[:1]
		_, s := generate(t, r)
		moderate(t, s, 3)
		require.True(t, s.cautions["breathing"])
		for id := range s.exercises {
			ex, _ := cat.ByID(id)
			require.False(t, ex.Is(exercise.Jump), id)
			if p == plan.SecondTrimester || p == plan.ThirdTrimester {
				require.False(t, ex.Is(exercise.Supine), id)
			}
		}
	}
	r := stage(plan.ThirdTrimester, true)
	_, err := newEngine(t).Generate(context.Background(), r)
	f, _ := fault.As(err)
	require.NotNil(t, f)
	require.Equal(t, fault.Infeasible, f.Kind)
	require.Equal(t, "goals[1].exercise_id", f.Violations[0].Field)
}

// Novices: no 1RM test, 8RM or lighter, RIR 2 or more (judgement).
func TestNoviceLimits(t *testing.T) {
	r := fit()
	r.Athlete.Status = plan.Novice
	p, s := generate(t, r)
	require.GreaterOrEqual(t, s.rir, int32(2))
	require.False(t, s.failure || s.tests)
	for _, ph := range p.Phases {
		for _, w := range ph.Weeks {
			for _, ses := range w.Sessions {
				for _, e := range ses.Exercises {
					for _, set := range e.Sets {
						if set.Kind == plan.SetWorking && set.RIR.Set && set.Reps.Min > 0 {
							require.GreaterOrEqual(t, max(set.Expected, set.Reps.Max)+set.RIR.Value, int32(7), e.Name)
						}
					}
				}
			}
		}
	}
}

// Under a bar that nobody and nothing catches, sets with RIR 1 or less are not in the
// model at all. With a spotter, or with safeties, the same request gets them.
func TestNothingNearFailureUnderABarAlone(t *testing.T) {
	cat := newEngine(t).Catalogue()
	low := func(r plan.Request) (found bool) {
		p, _ := generate(t, r)
		for _, ph := range p.Phases {
			for _, w := range ph.Weeks {
				for _, ses := range w.Sessions {
					for _, e := range ses.Exercises {
						ex, _ := cat.ByID(e.ExerciseID)
						for _, set := range e.Sets {
							if ex.Is(exercise.UnderBar) && ex.Loading == plan.LoadingBar && set.Kind != plan.SetWarmup && (set.ToFailure || set.RIR.Set && set.RIR.Value <= 1) {
								found = true
							}
						}
					}
				}
			}
		}
		return found
	}
	r := fit()
	require.True(t, low(r))
	r.Athlete.Spotter = plan.Some(false)
	require.True(t, low(r), "safeties catch the bar")
	r.Constraints.Places = []plan.Place{{Preset: plan.PresetFullGym}}
	require.False(t, low(r))
	r.Athlete.Spotter = plan.Some(true)
	require.True(t, low(r), "a spotter is there")
}
