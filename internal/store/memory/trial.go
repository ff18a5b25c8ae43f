package memory

import (
	"encoding/json"
	"slices"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/service"
)

// link is an event of a trial's chain; hidden is what is private of it.
type link struct {
	hash        string
	athlete     service.ID
	doc, hidden []byte
}

func (l *link) open(trial service.ID) (service.TrialEvent, error) {
	out := service.TrialEvent{Trial: trial, Athlete: l.athlete}
	if err := json.Unmarshal(l.doc, &out.Event); err != nil {
		return out, fault.Wrap(fault.Internal, service.ReasonStorage, err)
	}
	return out, out.Join(l.hidden)
}

func (x *tx) Continue(t service.Trial, more []service.TrialEvent) (service.Trial, error) {
	var none service.Trial
	if x.view {
		return none, service.ReadOnly()
	}
	chain, last := x.d.chains[t.ID], ""
	if n := int(t.Latest); n > 0 && n <= len(chain) {
		last = chain[n-1].hash
	}
	if err := t.Follow(last, more); err != nil {
		return none, err
	}
	s := shelf[service.Trial, *service.Trial]{x: x, kind: service.KindTrial}
	t, err := s.Update(t)
	if err != nil {
		return none, err
	}
	chain = slices.Clip(chain)
	for i := range more {
		public, hidden, err := more[i].Part()
		if err != nil {
			return none, err
		}
		doc, err := plan.Canonical(&public)
		if err != nil {
			return none, fault.Wrap(fault.Internal, service.ReasonStorage, err)
		}
		l := link{hash: public.Hash, doc: doc, hidden: hidden}
		if hidden != nil {
			l.athlete = more[i].Athlete
		}
		chain = append(chain, l)
	}
	put(x, x.d.chains, t.ID, chain)
	t.Latest += int32(len(more))
	return s.keep(&t, t.Latest)
}

func (x *tx) Chain(trial service.ID, after int32, size int) ([]service.TrialEvent, error) {
	if err := service.CheckSize(size); err != nil {
		return nil, err
	}
	var out []service.TrialEvent
	for i, l := range x.d.chains[trial] {
		if int32(i) < after || len(out) == size {
			continue
		}
		e, err := l.open(trial)
		if err != nil {
			return nil, err
		}
		out = append(out, e)
	}
	return out, nil
}

// exportChains hands out the events that hold something private of an athlete.
func (x *tx) exportChains(athlete service.ID, each func(any) error) error {
	for _, trial := range sorted(x.d.chains) {
		for _, l := range x.d.chains[trial] {
			if l.hidden == nil || l.athlete != athlete {
				continue
			}
			e, err := l.open(trial)
			if err != nil {
				return err
			}
			if err := each(e); err != nil {
				return err
			}
		}
	}
	return nil
}

// wipeChains takes what is private of an athlete out of all chains.
func (x *tx) wipeChains(athlete service.ID) {
	for trial, chain := range x.d.chains {
		left := slices.Clone(chain)
		for i := range left {
			if left[i].hidden != nil && left[i].athlete == athlete {
				left[i].athlete, left[i].hidden = service.ID{}, nil
			}
		}
		put(x, x.d.chains, trial, left)
	}
}

// unchain takes away the events of a trial, and who was in it.
func (x *tx) unchain(trial service.ID) {
	drop(x, x.d.chains, trial)
	s := shelf[service.Participant, *service.Participant]{x: x, kind: service.KindParticipant}
	for id, r := range s.rows() {
		if p, err := s.open(r); err == nil && p.Trial == trial {
			drop(x, s.rows(), id)
		}
	}
}
