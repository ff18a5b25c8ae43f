package audit

import "github.com/phasewright/phasewright/engine/plan"

// Ids of the rules. They are stored in programs and never change their meaning.
const (
	// The document.
	ruleDigest      plan.RuleID = "audit.digest"
	ruleEmpty       plan.RuleID = "audit.empty"
	ruleKind        plan.RuleID = "audit.kind"
	ruleSetNumbers  plan.RuleID = "audit.set-numbers"
	ruleExpected    plan.RuleID = "audit.expected-reps"
	ruleAssumptions plan.RuleID = "audit.assumptions"
	ruleUnresolved  plan.RuleID = "audit.rule-unresolved"
	ruleUnexplained plan.RuleID = "audit.unexplained"

	// Calendar.
	ruleWeekCount     plan.RuleID = "audit.week-count"
	ruleWeekNumber    plan.RuleID = "audit.week-number"
	ruleWeekStart     plan.RuleID = "audit.week-start"
	ruleDateWeek      plan.RuleID = "audit.date-week"
	ruleDateOrder     plan.RuleID = "audit.date-order"
	ruleTwoADay       plan.RuleID = "audit.two-a-day"
	ruleDay           plan.RuleID = "audit.day-not-offered"
	ruleNoTraining    plan.RuleID = "audit.no-training"
	ruleAfterTarget   plan.RuleID = "audit.after-target"
	rulePlace         plan.RuleID = "audit.place"
	ruleSessionsShort plan.RuleID = "audit.sessions-short"

	// Time.
	ruleMinutes         plan.RuleID = "audit.minutes"
	ruleLimitStated     plan.RuleID = "audit.limit-stated"
	ruleSecondsStated   plan.RuleID = "audit.seconds-stated"
	ruleExerciseSeconds plan.RuleID = "audit.exercise-seconds"

	// Equipment.
	ruleExerciseUnknown plan.RuleID = "audit.exercise-unknown"
	ruleExerciseOwn     plan.RuleID = "audit.exercise-own"
	ruleEquipment       plan.RuleID = "audit.equipment"
	ruleLoad            plan.RuleID = "audit.load-unbuildable"
	ruleUnit            plan.RuleID = "audit.load-unit"
	rulePlates          plan.RuleID = "audit.plates"

	// Wishes.
	ruleExcluded            plan.RuleID = "audit.excluded"
	ruleRestricted          plan.RuleID = "audit.restricted"
	rulePin                 plan.RuleID = "audit.pin-missing"
	ruleGoalLiftAbsent      plan.RuleID = "audit.goal-lift-absent"
	ruleGoalLiftSeldom      plan.RuleID = "audit.goal-lift-seldom"
	ruleSubstituteForbidden plan.RuleID = "audit.substitute-forbidden"
	ruleSubstitute          plan.RuleID = "audit.substitute"
	ruleContingencies       plan.RuleID = "audit.contingencies"

	// Loads.
	ruleGrowth        plan.RuleID = "audit.growth"
	ruleJump          plan.RuleID = "audit.implied-jump"
	ruleStep          plan.RuleID = "audit.load-step"
	ruleEffort        plan.RuleID = "audit.effort"
	ruleIntensity     plan.RuleID = "audit.intensity-stated"
	ruleEffortMissing plan.RuleID = "audit.effort-missing"
	ruleDeferred      plan.RuleID = "audit.deferred"
	ruleInvented      plan.RuleID = "audit.load-invented"
	ruleRepsFirst     plan.RuleID = "audit.repetitions-first"

	// Sets.
	ruleTotals         plan.RuleID = "audit.totals"
	ruleTotalsMissing  plan.RuleID = "audit.totals-missing"
	ruleLiftTotals     plan.RuleID = "audit.lift-totals"
	ruleDoseShort      plan.RuleID = "audit.dose-short"
	ruleWeekLimit      plan.RuleID = "audit.muscle-week-limit"
	ruleExerciseLimit  plan.RuleID = "audit.exercise-limit"
	ruleSetLimit       plan.RuleID = "audit.set-limit"
	ruleSessionMuscle  plan.RuleID = "audit.muscle-session-limit"
	ruleExerciseCount  plan.RuleID = "audit.exercise-count"
	ruleSetCount       plan.RuleID = "audit.set-count"
	ruleDoseOver       plan.RuleID = "audit.dose-over"
	ruleLiftOver       plan.RuleID = "audit.lift-dose-over"
	ruleFirstWeekDose  plan.RuleID = "audit.first-week-dose"
	ruleWorkJump       plan.RuleID = "audit.work-jump"
	ruleAfterLayoff    plan.RuleID = "audit.after-layoff"
	ruleReturnLoad     plan.RuleID = "audit.return-load"
	ruleStarved        plan.RuleID = "audit.muscle-starved"
	rulePriorityDirect plan.RuleID = "audit.priority-direct"
	ruleFallingDose    plan.RuleID = "audit.dose-falling"
	rulePushPull       plan.RuleID = "audit.balance-push-pull"
	ruleKneeHip        plan.RuleID = "audit.balance-knee-hip"

	// Sessions.
	ruleOrder         plan.RuleID = "audit.order"
	ruleGoalFirst     plan.RuleID = "audit.goal-first"
	ruleGripFirst     plan.RuleID = "audit.grip-first"
	ruleNearCopies    plan.RuleID = "audit.near-copies"
	ruleWarmupMissing plan.RuleID = "audit.warmup-missing"
	ruleRestHeavy     plan.RuleID = "audit.rest-heavy"
	ruleFewReps       plan.RuleID = "audit.low-reps"
	ruleMinReps       plan.RuleID = "audit.min-reps"
	ruleFailureOften  plan.RuleID = "audit.failure-often"
	ruleSkill         plan.RuleID = "audit.skill"

	// Days next to each other.
	ruleRecovery    plan.RuleID = "audit.recovery"
	ruleConsecutive plan.RuleID = "audit.consecutive-days"
	ruleLowerBack   plan.RuleID = "audit.lower-back"
	ruleBeforeMatch plan.RuleID = "audit.before-match"
	ruleTestRest    plan.RuleID = "audit.test-rest"

	// Phases.
	ruleExerciseChange plan.RuleID = "audit.exercise-change"
	ruleDeloadMissing  plan.RuleID = "audit.deload-missing"
	ruleDeloadDepth    plan.RuleID = "audit.deload-depth"
	rulePhaseStart     plan.RuleID = "audit.phase-start"
	ruleTaperMissing   plan.RuleID = "audit.taper-missing"
	ruleTaperDepth     plan.RuleID = "audit.taper-depth"
	ruleTaperIntensity plan.RuleID = "audit.taper-intensity"
	ruleLastHeavy      plan.RuleID = "audit.last-heavy"
	ruleGoalVanishes   plan.RuleID = "audit.goal-lift-vanishes"

	// Safety.
	ruleUnscreened       plan.RuleID = "audit.unscreened"
	ruleDisease          plan.RuleID = "audit.disease"
	ruleMinor            plan.RuleID = "audit.minor"
	ruleMinorSupervision plan.RuleID = "audit.minor-supervision"
	rulePregnancy        plan.RuleID = "audit.pregnancy"
	ruleContraindicated  plan.RuleID = "audit.contraindicated"
	ruleClearance        plan.RuleID = "audit.clearance"
	ruleUnderBar         plan.RuleID = "audit.failure-under-bar"
	ruleExplosiveFailure plan.RuleID = "audit.explosive-failure"
	ruleNoviceTest       plan.RuleID = "audit.novice-test"
	ruleNoviceFailure    plan.RuleID = "audit.novice-failure"
	ruleStartLight       plan.RuleID = "audit.start-light"
	ruleCaution          plan.RuleID = "audit.caution-missing"
)

// Sources that several rules share.
const (
	practice = "common practice, no source"
	request  = "the request"
	internal = "the program's own numbers"
	acsm2009 = "ACSM position stand 2009, Med Sci Sports Exerc 41:687-708"
)

type rule struct {
	id     plan.RuleID
	level  plan.FindingLevel
	says   string
	source string
}

// Rules lists the rules of the audit with their sources, in a fixed order.
func Rules() []plan.Rule {
	all := rules()
	out := make([]plan.Rule, len(all))
	for i, r := range all {
		out[i] = plan.Rule{ID: r.id, Says: r.says, Source: r.source}
	}
	return out
}

func rules() []rule {
	const (
		hard  = plan.LevelViolation
		off   = plan.LevelDeparture
		short = plan.LevelShort
		note  = plan.LevelNote
	)
	return []rule{
		{ruleDigest, hard, "The digest fits the content.", internal},
		{ruleEmpty, hard, "There are sessions, they hold exercises, and these hold working sets.", internal},
		{ruleKind, hard, "Weeks and sessions are of a known kind.", internal},
		{ruleSetNumbers, hard, "The numbers of a set can be meant: rising ranges, nothing negative, repetitions or seconds.", internal},
		{ruleExpected, off, "The expected repetitions lie in the prescribed range.", internal},
		{ruleAssumptions, off, "What was filled in for the request is listed.", practice},
		{ruleUnresolved, off, "Every rule that explains a number is listed with its sentence and source.", practice},
		{ruleUnexplained, note, "Every number has a rule that set it.", practice},

		{ruleWeekCount, hard, "The program has as many weeks as asked for.", request},
		{ruleWeekNumber, hard, "Weeks are numbered from 1 without a gap.", internal},
		{ruleWeekStart, hard, "Weeks start seven days apart, the first on the start date.", request},
		{ruleDateWeek, hard, "A session's date lies in its week.", internal},
		{ruleDateOrder, hard, "Sessions are in order of date.", internal},
		{ruleTwoADay, hard, "There is one session a day.", request},
		{ruleDay, hard, "Sessions are on days that the request offers.", request},
		{ruleNoTraining, hard, "No session is on a date without training.", request},
		{ruleAfterTarget, hard, "No session is after the target date.", request},
		{rulePlace, hard, "A session is at the place of its day, or of the period that covers its date or week.", request},
		{ruleSessionsShort, short, "The days offered are used in full weeks.", request},

		{ruleMinutes, hard, "Warm-up, setting up, sets, rests and both sides of one-sided work fit into the day's minutes.", "the request; tempo: " + acsm2009 + "; the pieces: " + practice},
		{ruleLimitStated, hard, "The limit stated is the day's.", request},
		{ruleSecondsStated, hard, "The stated time of a session is not below what its sets take, up to 15 s an exercise.", internal},
		{ruleExerciseSeconds, hard, "The stated time of an exercise is not below what its sets take, up to 15 s.", internal},

		{ruleExerciseUnknown, hard, "Every exercise is in the catalogue, or among the request's own.", internal},
		{ruleExerciseOwn, hard, "The request's own exercises pass the checks of the catalogue's; where one doesn't, none counts.", internal},
		{ruleEquipment, hard, "The place has what the exercise needs.", request},
		{ruleLoad, hard, "Every load can be set with the bars, plates, stacks, dumbbells and kettlebells of the place.", request},
		{ruleUnit, hard, "Loads are in the unit in which the place's are marked: pounds stay pounds.", request},
		{rulePlates, hard, "The plates listed are there, heaviest first, and add up to the load.", request},

		{ruleExcluded, hard, "Excluded exercises stay out.", request},
		{ruleRestricted, hard, "A restricted pattern or exercise stays out; of a restricted joint, marked stress (mild) or any stress (avoid).", request},
		{rulePin, hard, "Pinned exercises are in every full week, as often and in those sessions as pinned.", request},
		{ruleGoalLiftAbsent, hard, "A lift that a goal names is trained in every full week in which a place allows it.", request},
		{ruleGoalLiftSeldom, off, "The lift to be raised first is trained at least twice in weeks of three or more sessions (deadlifts once).", "ACSM 2026 overview of reviews (two sessions a week or more for strength); the exception: " + practice},
		{ruleSubstituteForbidden, hard, "Substitutes respect restrictions and exclusions too.", request},
		{ruleSubstitute, off, "Substitutes train the same thing and can be done at the place.", practice},
		{ruleContingencies, off, "Every exercise says what to do when it goes differently.", practice},

		{ruleGrowth, hard, "The planned 1RM rises by at most 2 % (novice), 0.75 % (intermediate) or 0.25 % (advanced) a week; after a layoff of more than two weeks by 1 % of what was shown before, up to it.", practice},
		{ruleJump, hard, "The 1RM implied by load, repetitions and RIR rises no faster than that, beyond an equipment step and a repetition of rounding.", practice},
		{ruleStep, off, "Load rises by at most 10 % at the same repetitions, or by the next load that can be set.", acsm2009 + " (2-10 %)"},
		{ruleEffort, hard, "Repetitions, RIR and load agree with the athlete's curve: no set asks for more than the fresh capacity, the first leaves what it says (within half a repetition or half an equipment step, and one repetition of rounding).", "curves of the program; Nuzzo et al. 2024"},
		{ruleIntensity, hard, "The percentage of 1RM printed is that of the load printed, within an equipment step.", internal},
		{ruleEffortMissing, off, "A working set says how hard it is: a load, a reserve, an intensity or failure.", practice},
		{ruleDeferred, hard, "A load that follows from a test, a calibration or an estimate comes after it.", internal},
		{ruleInvented, off, "A load in numbers stands on a performance, an estimate or a calibration set; one judged from another lift on a calibration set.", practice},
		{ruleRepsFirst, off, "Where repetitions are to rise before the load, it goes up only after every set was at the upper end of its range.", practice},

		{ruleTotals, hard, "Weekly sets by muscle are those of the sessions: direct 1, indirect 0.5, explosive 0.", "Pelland et al. 2024, doi 10.1007/s40279-025-02344-w; explosive: judgement"},
		{ruleTotalsMissing, note, "Weeks state their totals.", practice},
		{ruleLiftTotals, hard, "Weekly sets, repetitions, volume load and top intensity of goal lifts are those of the sessions.", internal},
		{ruleDoseShort, short, "Wanted weekly sets that are not reached are said, with numbers.", practice},
		{ruleWeekLimit, hard, "Weekly sets of a muscle stay within the request's limit.", request},
		{ruleExerciseLimit, hard, "Exercises of a session stay within the request's limit.", request},
		{ruleSetLimit, hard, "Working sets of a session stay within the request's limit.", request},
		{ruleSessionMuscle, hard, "Direct sets of a muscle in a session stay within the request's limit, else within 8.", "the request; the 8: " + practice},
		{ruleExerciseCount, off, "A session has three to seven exercises.", practice},
		{ruleSetCount, off, "An exercise has two to five working sets, a goal lift up to eight, explosive work up to six.", practice + "; inside ACSM 2009 and 2026"},
		{ruleDoseOver, off, "Weekly sets of a muscle stay within 10 (novice), 16 (intermediate) or 20 (advanced).", practice + "; inside Baz-Valle et al. 2022 (12-20 sets in trained young men)"},
		{ruleLiftOver, off, "Weekly sets of a goal lift stay within 6 (novice), 10 (intermediate) or 12 (advanced).", practice},
		{ruleFirstWeekDose, off, "Week 1 is at most a quarter above current weekly sets, or four sets.", practice},
		{ruleWorkJump, off, "From one full week to the next working sets rise by at most half.", practice},
		{ruleAfterLayoff, off, "After a layoff of more than two weeks every set of the first two weeks keeps three repetitions in reserve or more.", practice},
		{ruleReturnLoad, off, "After two weeks or more without an exercise its load is no higher than before at the same repetitions and reserve.", practice},
		{ruleStarved, off, "Every large muscle group gets something in every full week, or the program says why not.", practice + "; ACSM 2026: all major groups at least twice a week"},
		{rulePriorityDirect, off, "At least half the sets for a muscle that is to grow are direct.", practice},
		{ruleFallingDose, off, "Inside a phase sets climb or stay; the last phase before a date may fall.", practice},
		{rulePushPull, off, "Pushing and pulling sets are within 0.7 to 1.4 of each other; where the goals, restrictions or places of the request bring it about, that is said once.", practice},
		{ruleKneeHip, off, "Knee- and hip-dominant sets are within 0.7 to 1.4 of each other; where the goals, restrictions or places of the request bring it about, that is said once.", practice},

		{ruleOrder, off, "Explosive before multi-joint before single-joint and trunk work; a first priority may come early.", acsm2009 + " (large before small, multi- before single-joint)"},
		{ruleGoalFirst, off, "Goal lifts come before other multi-joint lifts.", acsm2009 + "; ACSM 2026 (priority lifts first)"},
		{ruleGripFirst, off, "Nothing tires the grip just before a hinge or a pull from the floor.", practice},
		{ruleNearCopies, off, "No session holds two near-copies of one exercise unless a lift is specialised in.", practice},
		{ruleWarmupMissing, off, "The first lift of a pattern at 80 % of 1RM or more has warm-up sets.", "NSCA textbook ch. 13 and 14 (from memory)"},
		{ruleRestHeavy, off, "Multi-joint work from 85 % of 1RM has at least two minutes of rest.", "NSCA textbook ch. 17, 2-5 min (from memory); " + acsm2009},
		{ruleFewReps, hard, "Triples and fewer are not for single-joint and trunk work.", practice},
		{ruleMinReps, off, "Accessory work keeps to the repetitions that are sensible in it.", practice},
		{ruleFailureOften, off, "Failure is for machines, single-joint lifts and last sets.", practice + "; Refalo et al. 2023 (little gained by it)"},
		{ruleSkill, off, "Movements that need coaching are for those who have the skill, or a coach.", practice},

		{ruleRecovery, hard, "Asked hours lie between direct sets for a muscle.", request},
		{ruleConsecutive, off, "A muscle is not trained hard on two days running.", practice},
		{ruleLowerBack, off, "Hard lower-back work is not stacked in a session or on two days running.", practice},
		{ruleBeforeMatch, off, "The day before a match or other hard training is not hard for the same half of the body.", practice},
		{ruleTestRest, off, "A test comes 48 to 96 hours after the last training session; less is a departure.", practice},

		{ruleExerciseChange, off, "Exercises stay through a phase.", practice},
		{ruleDeloadMissing, off, "A lighter week comes at least every eight weeks (novice: ten).", practice + "; habit: every 5.6 ± 2.3 weeks, Rogerson et al. 2024"},
		{ruleDeloadDepth, off, "A deload is clearly lighter: 40 to 60 % fewer sets or repetitions, or clearly further from failure.", practice + "; levers: Bell et al. 2023 (Delphi)"},
		{rulePhaseStart, off, "The first week of a new repetition range takes no heavy set to failure.", practice},
		{ruleTaperMissing, off, "Before a peak the volume is cut; where the request asks for a taper this is a violation.", "Pritchard et al. 2015, Travis et al. 2020 (ranges from memory)"},
		{ruleTaperDepth, off, "The taper cuts 30 to 70 % of the volume.", "Pritchard et al. 2015, Travis et al. 2020 (ranges from memory)"},
		{ruleTaperIntensity, off, "The taper keeps the load.", "Bosquet et al. 2007 (intensity unchanged); Pritchard et al. 2015"},
		{ruleLastHeavy, off, "The last heavy deadlift is 7-10 days before a peak, squat 5-8, bench press 4-6.", practice},
		{ruleGoalVanishes, off, "A lift that has to peak stays in the program up to its last week.", practice},

		{ruleUnscreened, hard, "Without answers to the screening questions: two repetitions in reserve, below 80 % of 1RM, no tests.", "Riebe et al. 2015 (ACSM); that such lifting is vigorous: judgement"},
		{ruleDisease, hard, "With known disease or a listed condition and no clearance for vigorous work: two repetitions in reserve, below 80 % of 1RM, no tests.", "Riebe et al. 2015; Williams et al. 2007 (list from memory)"},
		{ruleMinor, hard, "Under 18: no tests, no failure, two repetitions in reserve, at most about 80 % of 1RM (novices 60 %).", "Faigenbaum et al. 2009, Lloyd et al. 2014 (from memory)"},
		{ruleMinorSupervision, hard, "Under 18: a qualified adult is present.", "Stricker et al. 2020 (from memory)"},
		{rulePregnancy, hard, "In pregnancy: three repetitions in reserve, below 80 % of 1RM, no tests, nothing that lands; after the first trimester nothing lying on the back.", "ACOG Committee Opinion 804, 2020 (details from memory); the numbers: judgement"},
		{ruleContraindicated, hard, "No program where a listed condition rules training out.", "Williams et al. 2007; ACOG 804, 2020 (lists from memory)"},
		{ruleClearance, hard, "Symptoms, disease without regular exercise and listed conditions need a clearance in force.", "Riebe et al. 2015 (from memory)"},
		{ruleUnderBar, hard, "Nothing under a bar comes within one repetition of failure without spotter or safeties.", "NSCA textbook ch. 13 (spotting, from memory)"},
		{ruleExplosiveFailure, hard, "Explosive work never goes to failure.", acsm2009 + " (power: not to failure, from memory)"},
		{ruleNoviceTest, hard, "A novice is not tested near the 1RM.", practice},
		{ruleNoviceFailure, off, "A novice keeps repetitions in reserve except where failure is safe and cheap.", practice},
		{ruleStartLight, off, "Someone who has not exercised regularly starts below 80 % of 1RM.", "Riebe et al. 2015 (from memory)"},
		{ruleCaution, hard, "The standard cautions are there, and those that the athlete's state adds.", practice},
	}
}
