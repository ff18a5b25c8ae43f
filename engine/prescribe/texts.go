package prescribe

import (
	"strconv"
	"strings"

	"github.com/phasewright/phasewright/engine/plan"
)

// Ids of the texts that an athlete reads: notes, reasons, and what to do when a session
// goes differently.
const (
	noteRepsFloor  = "note.reps-floor"
	noteNoFailure  = "note.no-failure"
	noteMinRIR     = "note.min-rir"
	noteLowered    = "note.lowered"
	noteCapped     = "note.capped"
	noteFewer      = "note.fewer"
	noteStretch    = "note.stretch"
	noteBelow      = "note.below-range"
	noteHoldLoad   = "note.hold-load"
	noteDeferred   = "note.deferred"
	noteBand       = "note.band"
	noteAssist     = "note.assist"
	noteChooseLoad = "note.choose-load"
	noteStopAtRIR  = "note.stop-at-rir"
	noteSetBefore  = "note.set-before"
	noteCalibrate  = "note.calibrate"
	noteGuided     = "note.guided"
	noteHeaviest   = "note.heaviest"
	noteFindHelp   = "note.find-help"
	noteUnhelped   = "note.unhelped"
	noteWarmCut    = "note.warm-up-cut"
	noteSides      = "note.sides"

	offNoLoad   = "off.no-load"
	offTooHeavy = "off.too-heavy"
	offAboveCap = "off.above-cap"
	offShort    = "off.short"
	offShortGap = "off.short-gap"
	offOver     = "off.over"
	offOverTop  = "off.over-top"
	offOverBody = "off.over-body"
	offCapped   = "off.capped"
	offShare    = "off.share"
	offTime     = "off.time"

	TextMissedStep     = "missed.step"
	TextMissedLightest = "missed.lightest"
	TextMissedReps     = "missed.reps"
	TextMissedLoad     = "missed.load"
	TextMissedHold     = "missed.hold"
	TextMissedBand     = "missed.band"
	TextMissedAssist   = "missed.assist"
	TextMissedHelp     = "missed.help"
	TextAboveBand      = "above.band"
	TextAboveAssist    = "above.assist"
	TextAboveHelp      = "above.help"
	TextAboveLastHelp  = "above.last-help"
	TextAboveLoad      = "above.load"
	TextMissedTable    = "missed.table"
	TextAboveStep      = "above.step"
	TextAboveFixed     = "above.fixed"
	TextAboveCoarse    = "above.coarse"
	TextAboveReps      = "above.reps"
	TextAboveFewer     = "above.fewer"
	TextAboveCapped    = "above.capped"
	TextAboveHold      = "above.hold"
	TextPain           = "pain.stop"
	TextTaken          = "taken.swap"
	TextDayMissed      = "day-missed.next"
)

// Text gives the sentence of an id with its {placeholders} unfilled, "" for an unknown id.
func Text(id string) string {
	switch id {
	case noteRepsFloor:
		return "{new} repetitions instead of {reps}: this exercise is not for fewer."
	case noteNoFailure:
		return "Not to failure here: stop with {rir} in reserve."
	case noteMinRIR:
		return "Keep at least {rir} in reserve in every set."
	case noteLowered:
		return "The load is lower than asked: {asked} would not allow the repetitions in every set."
	case noteCapped:
		return "The load stays at or below {cap} of the 1RM for safety."
	case noteFewer:
		return "Body mass alone is too heavy for {reps} repetitions: do {new} and add repetitions first."
	case noteStretch:
		return "No heavier load fits, so up to {most} repetitions instead of {reps}."
	case noteBelow:
		return "The steps between loads are big: a few repetitions fewer than {reps} at a load that is work."
	case noteHoldLoad:
		return "Take a load you can just hold for the time in good form."
	case noteDeferred:
		return "The load is worked out on the day from the latest test."
	case noteBand:
		return "Take a band with which the repetitions leave the stated number in reserve."
	case noteAssist:
		return "Set the counterweight so that the repetitions leave the stated number in reserve, and write the setting down: less help is more load."
	case noteChooseLoad:
		return "Take a load with which the repetitions leave the stated number in reserve; write it down."
	case noteStopAtRIR:
		return "Stop each set with the stated number of repetitions in reserve, within the range."
	case noteSetBefore:
		return "The load follows from the set before, by the table."
	case noteCalibrate:
		return "Find your load: {ramp} repetitions with {first}, or with what you could surely lift twenty times. Add about half each time while that is easy, then one step; at most {most} lighter sets. Stop at the load that would leave the stated reserve after the stated repetitions: that is the first set. Should it leave three more, go up again in the next set. Write down load, repetitions and reserve; later loads follow from them."
	case noteGuided:
		return "Estimated from your {lift}, on the careful side: after the lighter sets take {load} for {reps}. Would that leave more than {rir} in reserve, go up a step or two first; if the lighter sets felt heavy, stay below. Write down the load you took: later loads follow from it."
	case noteHeaviest:
		return "Should the heaviest there is leave more, take it and add repetitions up to that reserve, {most} at most."
	case noteFindHelp:
		return "Find the help you need: {ramp} repetitions with about {first} of help. Set clearly less help each time while that is easy, then one step less; more, should it be too hard. At most {most} lighter sets. Stop at the help that would leave the stated reserve after the stated repetitions: that is the first set. Should it leave three more, set less help in the next set. Write down help, repetitions and reserve; later help follows from it. Where none would be needed, do it without the machine."
	case noteUnhelped:
		return "{load} is the least help that can be set: where it is too easy, do the exercise without help."
	case noteWarmCut:
		return "Fewer warm-up sets to keep the time."
	case noteSides:
		return "Both sides make one set; half of the rest passes while the other side works."
	case offNoLoad:
		return "There is no load here that can be set for this exercise."
	case offTooHeavy:
		return "{sets} sets with {rir} repetitions in reserve are not possible at {load}, the lightest load here."
	case offAboveCap:
		return "The lightest load here, {load}, is {share} of the 1RM; the limit is {cap}."
	case offShort:
		return "At {load}, the lightest there is, {got} repetitions with {rir} in reserve are possible; {reps} were wanted."
	case offShortGap:
		return "At {load} {got} repetitions with {rir} in reserve are possible where {reps} were wanted; the next lighter load, {next}, is too light."
	case offOver:
		return "At {load} about {rir} repetitions stay in reserve where {want} were wanted; the next load, {next}, is too heavy."
	case offOverTop:
		return "At {load}, the heaviest there is, about {rir} repetitions stay in reserve where {want} were wanted."
	case offOverBody:
		return "With body mass alone about {rir} repetitions stay in reserve where {want} were wanted."
	case offCapped:
		return "The limit of {cap} of the 1RM leaves about {rir} repetitions in reserve where {want} were wanted."
	case offShare:
		return "The stated share of the 1RM leaves about {rir} repetitions in reserve where {want} were wanted."
	case offTime:
		return "It takes {took} where {budget} are left."
	case TextMissedStep:
		return "{missed} in two sets or more: go down {step}, to {load}, next time. Today take the repetitions you can do."
	case TextMissedLightest:
		return "{missed} in two sets or more: keep the load, rest a minute longer and take the repetitions you can do."
	case TextMissedReps:
		return "{missed} in two sets or more: make the exercise easier, or take the repetitions you can do and add one a week."
	case TextMissedLoad:
		return "{missed} in two sets or more: take the next lighter load for the sets left, and start with it next time."
	case TextMissedBand:
		return "{missed} in two sets or more: take a band that makes it one step easier for the sets left, and start with it next time."
	case TextMissedAssist:
		return "{missed} in two sets or more: set one step more help for the sets left, and start with it next time."
	case TextMissedHelp:
		return "{missed} in two sets or more: set {step} more help, {load}, next time. Today take the repetitions you can do."
	case TextAboveHelp:
		return "More than {high} repetitions possible in every set, two sessions in a row: set {step} less help, {load}."
	case TextAboveLastHelp:
		return "More than {high} repetitions possible in every set, two sessions in a row: there is no less help to set, do the exercise without it."
	case TextAboveBand:
		return "More than {high} repetitions possible in every set, two sessions in a row: take a band that makes it one step harder."
	case TextAboveAssist:
		return "More than {high} repetitions possible in every set, two sessions in a row: set one step less help. When none is left, do it without the machine."
	case TextMissedHold:
		return "{missed} in two sets or more: take an easier version, or hold as long as you can and add 5 s a week."
	case TextAboveLoad:
		return "More than {high} repetitions possible in every set, two sessions in a row: take the next heavier load."
	case TextMissedTable:
		return "Missed repetitions change the next load by the table of the set."
	case TextAboveStep:
		return "More than {high} repetitions possible in every set, two sessions in a row: go up {step}, to {load}."
	case TextAboveFixed:
		return "Two repetitions more than {high} possible in the last set, two sessions in a row: go up {step}, to {load}."
	case TextAboveCoarse:
		return "More than {high} repetitions possible in every set: the next load, {load}, is a big step. Add repetitions first, to {most} in every set, then take it."
	case TextAboveReps:
		return "More than {high} repetitions possible in every set, two sessions in a row: take a harder version or a slower tempo."
	case TextAboveFewer:
		return "More than {high} repetitions possible in every set: do one more in each, until {most} are possible; load comes after that."
	case TextAboveCapped:
		return "More than {high} repetitions possible in every set: stay at this load for now, it is at the limit that safety sets."
	case TextAboveHold:
		return "Longer than {high} s possible in every set: hold 5 to 10 s longer."
	case TextPain:
		return "Sharp or growing pain: stop the exercise for today. Take a substitute that does not hurt; if it is there again next time, see a clinician."
	case TextTaken:
		return "Equipment taken: do the next exercise first, or take a substitute for the same sets at the same reserve."
	case TextDayMissed:
		return "Day missed: do the session on the next free day and go on in order. Don't put two sessions into one day."
	}
	return ""
}

// fill puts values for the {placeholders} of a text: name, value, name, value.
func fill(id string, args ...string) string {
	text := Text(id)
	var b strings.Builder
	b.Grow(len(text) + 24)
	for {
		open := strings.IndexByte(text, '{')
		if open < 0 {
			break
		}
		end := open + strings.IndexByte(text[open:], '}')
		b.WriteString(text[:open])
		for i := 0; i+1 < len(args); i += 2 {
			if args[i] == text[open+1:end] {
				b.WriteString(args[i+1])
				break
			}
		}
		text = text[end+1:]
	}
	b.WriteString(text)
	return b.String()
}

// lines collects distinct sentences in order.
type lines []string

func (l *lines) say(id string, args ...string) {
	s := fill(id, args...)
	for _, have := range *l {
		if have == s {
			return
		}
	}
	*l = append(*l, s)
}

func (l lines) join() string { return strings.Join(l, " ") }

func itoa(v int32) string { return strconv.Itoa(int(v)) }

func rangeText(r plan.Range) string {
	if r.Min == r.Max {
		return itoa(r.Min)
	}
	return itoa(r.Min) + "–" + itoa(r.Max)
}
