package service

import (
	"bytes"
	"fmt"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// Job is bulk work: many programs to be made while nobody waits. Its items are numbered
// from 0 and lie in chunks, which workers lease.
type Job struct {
	Head     `json:"-"`
	Name     string          `json:"name,omitzero"` // of the programs that are kept
	Request  plan.Request    `json:"request"`       // of items that name an athlete
	Plan     ID              `json:"plan,omitzero"` // a saved one, for Request
	Items    int64           `json:"items,omitzero"`
	Sealed   bool            `json:"sealed,omitzero"`  // no more items will come
	All      bool            `json:"all,omitzero"`     // of all athletes
	Planned  ID              `json:"planned,omitzero"` // the last of them that was taken in
	Again    plan.Opt[Again] `json:"again,omitzero"`   // instead of new programs of athletes
	Canceled Instant         `json:"canceled,omitzero"`
	Ended    Instant         `json:"ended,omitzero"`
}

// Again has the newest program of each athlete made again from a day on.
type Again struct {
	From   plan.Date `json:"from"`
	Reason string    `json:"reason,omitzero"`
}

// Done says that nothing more will happen.
func (j *Job) Done() bool { return j.Ended != 0 || j.Canceled != 0 }

// Chunk is a run of a job's items that one worker makes. A chunk of size 0 stands for
// taking in all athletes.
type Chunk struct {
	Job          ID
	Number       int64
	First, Size  int64
	Next         int64 // the first item that is not dealt with
	Made, Failed int64 // of those that are; the rest was erased
	Open         bool
	Owner        ID
	Lease        Instant // until when it is Owner's
}

// ItemState is what became of an item.
type ItemState uint8

// States of items.
const (
	ItemWaiting ItemState = iota
	ItemMade
	ItemFailed
)

// Item is one program of a job: of a stored athlete, and then kept as Program, or of a
// request of its own. Asked and Result are in an encoding of the caller's.
type Item struct {
	Job     ID
	Place   int64
	Athlete ID
	State   ItemState
	Program ID
	Asked   []byte
	Result  []byte
}

// Apart gives a copy that shares nothing; empty bytes are none.
func (i Item) Apart() Item {
	apart := func(b []byte) []byte {
		if len(b) == 0 {
			return nil
		}
		return bytes.Clone(b)
	}
	i.Asked, i.Result = apart(i.Asked), apart(i.Result)
	return i
}

// Tally is how far a job is.
type Tally struct {
	Items, Dealt, Made, Failed int64
	Open                       int64 // chunks
}

const maxItemBytes = 4 << 20

// Check refuses a chunk whose items don't fill it: Invalid ITEMS.
func (c *Chunk) Check(items []Item) error {
	wrong := func(says string) error { return fault.New(fault.Invalid, ReasonItems, "items", says) }
	if len(items) > MaxPage || int64(len(items)) != c.Size || c.First < 0 || c.Number < 0 {
		return wrong(fmt.Sprintf("a chunk has so many items as it says, at most %d", MaxPage))
	}
	for i := range items {
		if items[i].Job != c.Job || items[i].Place != c.First+int64(i) || items[i].State != ItemWaiting {
			return wrong("the items of a chunk wait, and are numbered on from its first")
		}
		if len(items[i].Asked) > maxItemBytes {
			return wrong(fmt.Sprintf("an item has at most %d bytes", maxItemBytes))
		}
	}
	return nil
}

// Finished is the fault of finishing an item twice.
func Finished() error {
	return fault.New(fault.Exists, ReasonFinished, "items", "this item was finished before")
}
