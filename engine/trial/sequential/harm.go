package sequential

import "github.com/phasewright/phasewright/engine/trial/stat"

// Harm is the reading of an interim look at something unwanted: an adverse event, or an
// outcome that falls.
type Harm struct {
	Stop bool
	P    float64 // one-sided, of as many more in arm 1
	Says string
}

// HarmAlpha is the usual one-sided level for stopping because of harm; it is laxer than
// that for benefit, as the two errors are not alike (judgement). Each look spends an even
// part of it.
const HarmAlpha = 0.05

// CompareEvents judges athletes with an adverse event in arm 1 against arm 0 by Fisher's
// exact test, at one of looks planned looks. It only ever adds a reason to stop: whoever
// is responsible for safety may stop on less.
func CompareEvents(events, athletes [2]int, looks int) (Harm, error) {
	if looks < 1 || looks > MostLooks {
		return Harm{}, invalid(ReasonLooks, "looks", "are %d; want 1 to %d", looks, MostLooks)
	}
	for a := range events {
		if events[a] < 0 || athletes[a] < events[a] {
			return Harm{}, invalid(ReasonInput, "events", "are %d of %d athletes; want at most as many as athletes", events[a], athletes[a])
		}
	}
	if events[0]+events[1] == 0 {
		return Harm{P: 1, Says: "No adverse event so far."}, nil
	}
	if athletes[0] == 0 || athletes[1] == 0 {
		return Harm{P: 1, Says: "One arm has nobody yet: events can't be compared, each has to be judged by itself."}, nil
	}
	h := Harm{P: 1, Says: "Everyone in both arms had an event: the trial has to be reconsidered."}
	if events[0] == athletes[0] && events[1] == athletes[1] {
		h.Stop = true
		return h, nil
	}
	f, err := stat.Fisher(events[1], athletes[1]-events[1], events[0], athletes[0]-events[0])
	if err != nil {
		return Harm{}, err
	}
	h.P = f.PGreater
	h.Stop = h.P <= HarmAlpha/float64(looks)
	h.Says = "The arms' events don't differ by more than chance would bring; each still has to be judged by itself."
	if h.Stop {
		h.Says = "This arm has more athletes with an event than chance would bring: stop, and have it judged by who is responsible for safety."
	}
	return h, nil
}
