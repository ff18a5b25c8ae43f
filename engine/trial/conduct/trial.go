package conduct

import (
	"encoding/hex"
	"fmt"
	"reflect"
	"slices"
	"strings"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/trial/assign"
	"github.com/phasewright/phasewright/engine/trial/draw"
)

// Trial is what the events of a trial come to. It is not safe for concurrent use.
type Trial struct {
	events   []Event
	versions []version
	frozen   *Frozen
	excluded []*Private
	people   []*person
	byID     map[string]*person
	units    []assign.Unit // enrolled, in order
	enrolled map[string]bool
	members  map[string][]*person // by unit
	assigned map[string]assign.Assignment
	order    []assign.Assignment
	closed   bool
	ended    *Ended
	looks    []Looked
	key      draw.Key
	revealed bool

	checker *assign.Machine // takes units and is never asked for arms
	drawer  *assign.Machine // of the key, once Draw has had it
	drawn   int             // units that drawer has
}

type version struct {
	protocol Protocol
	hash     string
	at       int64
	reason   string
	seen     bool
}

// person is a participant.
type person struct {
	Joined
	feasible  *Feasible
	measures  []measure
	adherence *Adherence
	happened  []happening
	withdrawn bool
	why       string
}

type measure struct {
	Measured
	value *int64 // nil: erased
}

type happening struct {
	Happened
	what string
}

// Stamp is what an event gets from outside: when, by whom, and a random salt for what is
// private.
type Stamp struct {
	At    int64
	Actor string
	Salt  []byte
}

func fresh() *Trial {
	return &Trial{byID: map[string]*person{}, assigned: map[string]assign.Assignment{}, enrolled: map[string]bool{}, members: map[string][]*person{}}
}

// Open folds stored events, oldest first. A chain that is broken, and an event that could
// not have come when it did, are Invalid faults.
func Open(events []Event) (*Trial, error) {
	t := fresh()
	for i := range events {
		e := events[i]
		if err := e.checkChain(t.last()); err != nil {
			return nil, err
		}
		if err := t.apply(&e); err != nil {
			if f, is := fault.As(err); is {
				return nil, fault.New(fault.Invalid, ReasonChain, fmt.Sprintf("events[%d]", i), "could not have come then: "+f.Error())
			}
			return nil, err
		}
		t.events = append(t.events, e)
	}
	return t, nil
}

// Append adds an event that comes now and gives it, chained, to be stored. One that can't
// come now is an Infeasible fault, one that can't be an Invalid one; the trial is as before
// then.
func (t *Trial) Append(s Stamp, b Body, p *Private) (Event, error) {
	e := Event{Number: len(t.events) + 1, At: s.At, Actor: s.Actor, Body: b, Private: p}
	if last := t.last(); last != nil {
		e.Prev = last.Hash
		if s.At < last.At {
			return Event{}, invalid("at", "is before the event that came last; clocks differ")
		}
	}
	if s.Actor == "" {
		return Event{}, invalid("actor", "is empty")
	}
	var err error
	if p != nil {
		if len(s.Salt) < SaltBytes {
			return Event{}, invalid("salt", "has %d bytes; want %d random ones", len(s.Salt), SaltBytes)
		}
		e.Salt = hex.EncodeToString(s.Salt)
		if e.Sealed, err = seal(p, e.Salt); err != nil {
			return Event{}, err
		}
	}
	if e.Hash, err = e.digest(); err != nil {
		return Event{}, err
	}
	if err := t.apply(&e); err != nil {
		return Event{}, err
	}
	t.events = append(t.events, e)
	return e, nil
}

func (t *Trial) last() *Event {
	if len(t.events) == 0 {
		return nil
	}
	return &t.events[len(t.events)-1]
}

// Events are all so far.
func (t *Trial) Events() []Event { return slices.Clone(t.events) }

// Protocol is the one that holds; nil before there is one.
func (t *Trial) Protocol() *Protocol {
	if len(t.versions) == 0 {
		return nil
	}
	return &t.versions[len(t.versions)-1].protocol
}

// Assigned are the arms that are known, in the order in which they were told. There is no
// way to ask for others.
func (t *Trial) Assigned() []assign.Assignment { return slices.Clone(t.order) }

// Ended tells whether the trial has ended, so that results can be seen.
func (t *Trial) Ended() bool { return t.ended != nil }

// Enrolled are the units whose arms are drawn or will be.
func (t *Trial) Enrolled() []assign.Unit { return slices.Clone(t.units) }

// Draw gives the arm of an enrolled unit as events to append, with that of its partner
// where a pair is told together. It needs the key that the trial committed to. An arm
// that is there already is an Exists fault, one that can't be drawn yet an Infeasible one.
func (t *Trial) Draw(k draw.Key, unit string) ([]Body, error) {
	if t.frozen == nil || t.ended != nil {
		return nil, early("unit", "gets an arm between the freezing of the protocol and the end of the trial")
	}
	if err := draw.Reveal(k, t.frozen.Commitment); err != nil {
		return nil, err
	}
	if _, is := t.assigned[unit]; is {
		return nil, fault.New(fault.Exists, ReasonOrder, "unit", fmt.Sprintf("%q has its arm", unit))
	}
	m, err := t.machine(k)
	if err != nil {
		return nil, err
	}
	drawn, err := m.Assign(unit)
	if err != nil {
		return nil, err
	}
	var out []Body
	for _, a := range drawn {
		if _, is := t.assigned[a.Unit]; !is {
			out = append(out, Body{Assigned: &Assigned{a}})
		}
	}
	return out, nil
}

// machine is of the committed key and has all units.
func (t *Trial) machine(k draw.Key) (*assign.Machine, error) {
	if t.drawer == nil {
		m, err := assign.New(t.Protocol().Design(), assign.Keyed(k))
		if err != nil {
			return nil, err
		}
		t.drawer = m
	}
	for ; t.drawn < len(t.units); t.drawn++ {
		if err := t.drawer.Enrol(t.units[t.drawn]); err != nil {
			return nil, err
		}
	}
	if t.closed {
		return t.drawer, t.drawer.Close()
	}
	return t.drawer, nil
}

// apply checks an event against what is, and takes it in.
func (t *Trial) apply(e *Event) error {
	if n := set(&e.Body); n != 1 {
		return invalid("body", "has %d kinds; want one", n)
	}
	b := &e.Body
	if len(t.versions) == 0 && b.Created == nil {
		return early("body", "comes before the trial was created")
	}
	if t.ended != nil && b.Revealed == nil {
		return early("body", "comes after the trial has ended")
	}
	p := e.Private
	if p == nil {
		p = &Private{}
	}
	switch {
	case b.Created != nil:
		return t.create(e, b.Created)
	case b.Amended != nil:
		return t.amend(e, b.Amended)
	case b.Frozen != nil:
		return t.freeze(b.Frozen)
	case b.Revealed != nil:
		return t.reveal(b.Revealed)
	}
	if t.frozen == nil {
		return early("body", "comes before the protocol is frozen")
	}
	switch {
	case b.Excluded != nil:
		t.excluded = append(t.excluded, p)
		return nil
	case b.Joined != nil:
		return t.join(b.Joined)
	case b.Enrolled != nil:
		return t.enrol(b.Enrolled)
	case b.Closed != nil:
		if t.closed {
			return early("body", "closes enrolment a second time")
		}
		t.closed = true
		return nil
	case b.Assigned != nil:
		return t.assign(b.Assigned.Assignment)
	case b.Looked != nil:
		return t.look(b.Looked)
	case b.Ended != nil:
		t.ended = b.Ended
		return nil
	}
	return t.person(e, p)
}

// set counts the kinds of a body.
func set(b *Body) int {
	n := 0
	v := reflect.ValueOf(*b)
	for i := range v.NumField() {
		if !v.Field(i).IsNil() {
			n++
		}
	}
	return n
}

func (t *Trial) create(e *Event, c *Created) error {
	if len(t.versions) > 0 {
		return early("body", "creates the trial a second time")
	}
	return t.version(e, &c.Protocol, "", false)
}

func (t *Trial) version(e *Event, p *Protocol, reason string, seen bool) error {
	if err := p.Check(); err != nil {
		return fault.Within("protocol", err)
	}
	hash, err := p.Hash()
	if err != nil {
		return err
	}
	t.versions = append(t.versions, version{*p, hash, e.At, reason, seen})
	return nil
}

func (t *Trial) amend(e *Event, a *Amended) error {
	was := t.Protocol()
	if t.frozen != nil && strings.TrimSpace(a.Reason) == "" {
		return invalid("reason", "is empty; a change of a frozen protocol says why")
	}
	if a.Protocol.ID != was.ID {
		return invalid("protocol.id", "is %q; want %q as it was", a.Protocol.ID, was.ID)
	}
	if len(t.people) > 0 && (!reflect.DeepEqual(a.Protocol.Design(), was.Design()) || a.Protocol.UnitOf != was.UnitOf) {
		return early("protocol.scheme", "and the arms' ids and ratios can't change once someone has joined: arms could not be drawn again")
	}
	for i, o := range was.Outcomes {
		if len(t.people) > 0 && (i >= len(a.Protocol.Outcomes) || a.Protocol.Outcomes[i].ID != o.ID || a.Protocol.Outcomes[i].Unit != o.Unit) {
			return early(fmt.Sprintf("protocol.outcomes[%d]", i), "has to stay %q in %s once someone has joined; others can be added at the end", o.ID, o.Unit)
		}
	}
	if err := t.version(e, &a.Protocol, a.Reason, a.OutcomesSeen); err != nil {
		return err
	}
	if !trainsAs(was, &a.Protocol) { // whoever was checked was so for other programs
		for _, p := range t.people {
			if !t.isEnrolled(p.Unit) {
				p.feasible = nil
			}
		}
	}
	return nil
}

// trainsAs tells whether the programs of the arms are made from the same under both.
func trainsAs(a, b *Protocol) bool {
	return a.Rule == b.Rule && a.LeadIn == b.LeadIn && a.Weeks == b.Weeks &&
		slices.EqualFunc(a.Arms, b.Arms, func(x, y Arm) bool { return reflect.DeepEqual(x.Plan, y.Plan) })
}

func (t *Trial) freeze(f *Frozen) error {
	if t.frozen != nil {
		return early("body", "freezes the protocol a second time; amend it")
	}
	if want := t.versions[len(t.versions)-1].hash; f.Hash != want {
		return invalid("hash", "is %q; the protocol's is %q", f.Hash, want)
	}
	if b, err := hex.DecodeString(f.Commitment); err != nil || len(b) != 32 {
		return invalid("commitment", "is %q; want 64 hex digits", f.Commitment)
	}
	t.frozen = f
	return nil
}

func (t *Trial) reveal(r *Revealed) error {
	if t.ended == nil {
		return early("body", "shows the key before the trial has ended")
	}
	if t.revealed {
		return early("body", "shows the key a second time")
	}
	raw, err := hex.DecodeString(r.Key)
	if err != nil {
		return invalid("key", "is no hex")
	}
	k, err := draw.NewKey(raw)
	if err != nil {
		return fault.Within("key", err)
	}
	if err := draw.Reveal(k, t.frozen.Commitment); err != nil {
		return err
	}
	t.key, t.revealed = k, true
	return nil
}

func (t *Trial) join(j *Joined) error {
	if t.closed {
		return early("participant", "joins after enrolment was closed")
	}
	if j.Participant == "" || j.Unit == "" {
		return invalid("participant", "and unit need ids")
	}
	if t.byID[j.Participant] != nil {
		return fault.New(fault.Exists, ReasonOrder, "participant", fmt.Sprintf("%q has joined", j.Participant))
	}
	if t.Protocol().UnitOf == "athlete" && j.Unit != j.Participant {
		return invalid("unit", "is %q; athletes are randomised here, so it is the participant", j.Unit)
	}
	if t.isEnrolled(j.Unit) {
		return early("unit", "%q is enrolled: who joins it now may know its arm", j.Unit)
	}
	if !j.Consent {
		return fault.New(fault.Refused, ReasonOrder, "consent", "is missing; nobody joins without it")
	}
	p := &person{Joined: *j}
	t.people, t.byID[j.Participant] = append(t.people, p), p
	t.members[j.Unit] = append(t.members[j.Unit], p)
	return nil
}

func (t *Trial) isEnrolled(unit string) bool { return t.enrolled[unit] }

// enrol takes in a unit of which everyone is ready.
func (t *Trial) enrol(u *Enrolled) error {
	if t.closed {
		return early("unit", "is enrolled after enrolment was closed")
	}
	if t.isEnrolled(u.Unit) {
		return fault.New(fault.Exists, ReasonOrder, "unit", fmt.Sprintf("%q is enrolled", u.Unit))
	}
	c := fault.NewCollector(fault.Infeasible)
	n := 0
	for _, p := range t.members[u.Unit] {
		if p.withdrawn {
			continue
		}
		n++
		t.ready(p, func(says string) { c.Add(ReasonOrder, "unit", p.Participant+" "+says) })
	}
	if n == 0 {
		return early("unit", "%q has nobody who joined and stayed", u.Unit)
	}
	if err := c.Err(); err != nil {
		return err
	}
	if t.checker == nil {
		m, err := assign.New(t.Protocol().Design(), assign.Keyed(draw.Key{}))
		if err != nil {
			return err
		}
		t.checker = m
	}
	unit := assign.Unit{ID: u.Unit, Levels: u.Levels, Covariates: u.Covariates}
	if err := t.checker.Enrol(unit); err != nil {
		return err
	}
	t.units = append(t.units, unit)
	t.enrolled[unit.ID] = true
	return nil
}

// ready tells what is missing before a participant's arm may be drawn.
func (t *Trial) ready(p *person, missing func(says string)) {
	for _, o := range t.Protocol().Outcomes {
		if !slices.ContainsFunc(p.measures, func(m measure) bool { return m.Outcome == o.ID && m.When == Baseline }) {
			missing("has no baseline of " + o.ID)
		}
	}
	switch {
	case p.feasible == nil:
		missing("has not been found a program under every arm")
	case len(p.feasible.Without) > 0:
		missing("has no program that works under " + strings.Join(p.feasible.Without, ", ") + ", so can't be assigned")
	}
}

func (t *Trial) assign(a assign.Assignment) error {
	if !t.isEnrolled(a.Unit) {
		return early("assignment.unit", "%q is not enrolled", a.Unit)
	}
	if _, is := t.assigned[a.Unit]; is {
		return fault.New(fault.Exists, ReasonOrder, "assignment.unit", fmt.Sprintf("%q has its arm", a.Unit))
	}
	p := t.Protocol()
	if a.Arm < 0 || a.Arm >= len(p.Arms) {
		return invalid("assignment.arm", "is %d; want 0 to %d", a.Arm, len(p.Arms)-1)
	}
	if p.Scheme.Kind.Batch() && !t.closed {
		return early("assignment.unit", "has no arm before enrolment is closed")
	}
	t.assigned[a.Unit], t.order = a, append(t.order, a)
	return nil
}

func (t *Trial) look(l *Looked) error {
	if t.Protocol().Analysis.PlannedSE == 0 {
		return early("body", "looks at results, which the protocol does not plan")
	}
	least := int64(0)
	if n := len(t.looks); n > 0 {
		if t.looks[n-1].Last {
			return early("body", "looks after the last look")
		}
		least = t.looks[n-1].Share
	}
	if l.Share <= least || l.Share > whole {
		return invalid("share", "is %d; want millionths of the information, more than the look before (%d)", l.Share, least)
	}
	t.looks = append(t.looks, *l)
	return nil
}

// person takes in what is of one participant.
func (t *Trial) person(e *Event, p *Private) error {
	b := &e.Body
	who := t.byID[b.Participant()]
	if who == nil {
		return fault.New(fault.NotFound, ReasonEvent, "participant", fmt.Sprintf("%q has not joined", b.Participant()))
	}
	switch {
	case b.Measured != nil:
		return t.measure(e, who, b.Measured, p)
	case b.Feasible != nil:
		if t.isEnrolled(who.Unit) {
			return early("participant", "%q is enrolled already", who.Participant)
		}
		for _, id := range b.Feasible.Without {
			if !slices.ContainsFunc(t.Protocol().Arms, func(a Arm) bool { return a.ID == id }) {
				return invalid("without", "has %q; want ids of arms", id)
			}
		}
		who.feasible = b.Feasible
	case b.Adherence != nil:
		if a := b.Adherence.Permille; a < 0 || a > 2000 {
			return invalid("permille", "is %d; want 0 to 2000", a)
		}
		who.adherence = b.Adherence
	case b.Happened != nil:
		if e.Sealed == "" {
			return invalid("text", "is empty; want what happened, in a few words")
		}
		who.happened = append(who.happened, happening{*b.Happened, p.Text})
	case b.Withdrawn != nil:
		if who.withdrawn {
			return early("participant", "%q has withdrawn already", who.Participant)
		}
		who.withdrawn, who.why = true, p.Text
	}
	return nil
}

func (t *Trial) measure(e *Event, who *person, m *Measured, p *Private) error {
	i := slices.IndexFunc(t.Protocol().Outcomes, func(o Outcome) bool { return o.ID == m.Outcome })
	if i < 0 {
		return invalid("outcome", "is %q; the protocol has no such outcome", m.Outcome)
	}
	_, assigned := t.assigned[who.Unit]
	switch {
	case m.When == Baseline && t.isEnrolled(who.Unit):
		return early("when", "is baseline, but %q is enrolled already", who.Participant)
	case (m.When == Mid || m.When == End) && !assigned:
		return early("when", "is after the start, but %q has no arm yet", who.Participant)
	case m.When == Mid && !t.Protocol().Outcomes[i].Mid:
		return invalid("when", "is mid, at which the protocol does not measure %s", m.Outcome)
	case m.When < Baseline || m.When > End:
		return invalid("when", "is %d; want baseline, mid or end", m.When)
	case e.Sealed == "":
		return invalid("value", "is missing")
	case p.Value != nil && (*p.Value < -most || *p.Value > most):
		return invalid("value", "is %d; want thousandths, at most %d", *p.Value, most)
	case e.Private != nil && p.Value == nil:
		return invalid("value", "is missing")
	}
	who.measures = append(who.measures, measure{*m, p.Value})
	return nil
}
