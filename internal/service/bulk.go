package service

import (
	"context"
	"encoding/json"
	"fmt"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// Reasons of faults about jobs.
const (
	ReasonJobSize  = "JOB_SIZE"
	ReasonJobOrder = "JOB_ORDER"
	ReasonJobEnded = "JOB_ENDED"

	// ReasonNoProgram says that an athlete has none that could be made again.
	ReasonNoProgram = "NO_PROGRAM"
)

const (
	maxJobItems = 1_000_000 // that come over the API; of stored athletes there may be more
	chunkItems  = 25        // made by one worker before another tenant has its turn
	intakePage  = 500       // athletes taken in at a time
)

// NewJob is bulk work to be begun: for the athletes named, for all, or for items that
// AddItems brings. Request and Plan are as in NewProgram, for items that name an athlete;
// with Again their newest program is made again, and neither is needed.
type NewJob struct {
	Name     string
	Request  plan.Request
	Plan     ID
	Athletes []ID
	All      bool
	Again    plan.Opt[Again]
}

// NewItem is a program of a job: of a stored athlete, or of a request of its own.
type NewItem struct {
	Athlete ID
	Request plan.Request
}

// JobState is a job with how far it is.
type JobState struct {
	Job
	Tally Tally
}

// BeginJob keeps a job, which workers then do. NotFound UNKNOWN with field plan_name.
func (s *Service) BeginJob(ctx context.Context, w Write, n NewJob) (JobState, error) {
	return s.writeJob(ctx, w, func(tx Tx) (Job, error) {
		if n.Plan != (ID{}) {
			p, err := tx.Plans().Get(n.Plan)
			if err == nil && p.Deleted != 0 {
				err = Gone(KindPlan)
			}
			if err != nil {
				return Job{}, at("plan_name", err)
			}
		}
		id, err := s.newID()
		if err != nil {
			return Job{}, err
		}
		j := Job{Head: Head{ID: id}, Name: n.Name, Request: n.Request, Plan: n.Plan, All: n.All, Again: n.Again, Items: int64(len(n.Athletes)), Sealed: len(n.Athletes) > 0}
		if j, err = tx.Jobs().Create(j); err != nil {
			return Job{}, err
		}
		if n.All {
			return j, tx.Enqueue(Chunk{Job: id}, nil)
		}
		items := make([]Item, len(n.Athletes))
		for i, a := range n.Athletes {
			items[i].Athlete = a
		}
		return j, enqueue(tx, id, 0, items)
	})
}

// enqueue puts items into chunks, numbered from a place on.
func enqueue(tx Tx, job ID, first int64, items []Item) error {
	for len(items) > 0 {
		n := min(chunkItems, len(items))
		for i := range items[:n] {
			items[i].Job, items[i].Place = job, first+int64(i)
		}
		if err := tx.Enqueue(Chunk{Job: job, Number: first + 1, First: first, Size: int64(n)}, items[:n]); err != nil {
			return err
		}
		items, first = items[n:], first+int64(n)
	}
	return nil
}

// AddItems brings items of a job that takes some, the first of them at a place. What has
// come already is passed over, so that it can be sent again. With last no more will come.
// Invalid JOB_ORDER where some are missing before, JOB_SIZE beyond a million; Infeasible
// JOB_ENDED where none are taken any more.
func (s *Service) AddItems(ctx context.Context, w Write, job ID, first int64, list []NewItem, last bool) (JobState, error) {
	items := make([]Item, len(list))
	for i := range list {
		items[i].Athlete = list[i].Athlete
		if list[i].Athlete != (ID{}) {
			continue
		}
		var err error
		if items[i].Asked, err = plan.Canonical(&list[i].Request); err != nil {
			return JobState{}, fault.Wrap(fault.Internal, ReasonStorage, err)
		}
	}
	return s.writeJob(ctx, w, func(tx Tx) (Job, error) {
		j, err := liveJob(tx, job)
		if err != nil {
			return j, err
		}
		here := j.Items - first
		end := first + int64(len(items))
		switch {
		case here < 0:
			return j, fault.New(fault.Invalid, ReasonJobOrder, "first_index", fmt.Sprintf("%d have come so far: go on with that one", j.Items))
		case end > maxJobItems:
			return j, fault.New(fault.Invalid, ReasonJobSize, "items", fmt.Sprintf("at most %d fit into a job; begin another one for the rest", maxJobItems))
		case end > j.Items && (j.Sealed || j.Done() || j.All):
			return j, fault.New(fault.Infeasible, ReasonJobEnded, "name", "this takes no more requests: it has all, or was canceled; begin another one")
		case end <= j.Items && (!last || j.Sealed):
			return j, nil
		}
		if end > j.Items {
			if err := enqueue(tx, job, j.Items, append([]Item(nil), items[here:]...)); err != nil {
				return j, err
			}
			j.Items = end
		}
		j.Sealed = j.Sealed || last && end == j.Items
		return settled(tx, j)
	})
}

// settled stores a changed job, ended where nothing is left to do.
func settled(tx Tx, j Job) (Job, error) {
	if j.Sealed && !j.Done() {
		more, err := tx.Pending(j.ID)
		if err != nil {
			return j, err
		}
		if !more {
			j.Ended = tx.Now()
		}
	}
	return tx.Jobs().Update(j)
}

func liveJob(tx Tx, id ID) (Job, error) {
	j, err := tx.Jobs().Get(id)
	if err == nil && j.Deleted != 0 {
		err = Unknown(KindJob)
	}
	return j, err
}

// CancelJob ends a job; what was made stays. Of one that is done nothing changes.
func (s *Service) CancelJob(ctx context.Context, w Write, id ID) (JobState, error) {
	return s.writeJob(ctx, w, func(tx Tx) (Job, error) {
		j, err := liveJob(tx, id)
		if err != nil || j.Done() {
			return j, err
		}
		j.Canceled = tx.Now()
		if err := tx.Halt(id); err != nil {
			return j, err
		}
		return tx.Jobs().Update(j)
	})
}

// DeleteJob forgets a job, which ends, and its results; kept programs stay.
func (s *Service) DeleteJob(ctx context.Context, w Write, id ID) error {
	_, err := s.write(ctx, w, func(tx Tx) (Effect, error) {
		j, err := liveJob(tx, id)
		if err != nil {
			return Effect{}, err
		}
		if err := tx.Halt(id); err != nil {
			return Effect{}, err
		}
		if j, err = tx.Jobs().Delete(id, j.Version); err != nil {
			return Effect{}, err
		}
		return effect[Job, *Job](&j)
	})
	return err
}

// writeJob writes and gives the job with how far it is now. NotFound UNKNOWN also where the
// answer is a kept one of a job that is gone since: part of it may be cleared away.
func (s *Service) writeJob(ctx context.Context, w Write, fn func(Tx) (Job, error)) (JobState, error) {
	var out JobState
	body, err := s.write(ctx, w, func(tx Tx) (Effect, error) {
		j, err := fn(tx)
		if err != nil {
			return Effect{}, err
		}
		return effect[Job, *Job](&j)
	})
	if err != nil {
		return out, err
	}
	if out.Job, err = recalled[Job, *Job](body); err != nil || w.DryRun {
		return out, err
	}
	err = s.view(ctx, func(tx Tx) error {
		if _, err := liveJob(tx, out.ID); err != nil {
			return err
		}
		out.Tally, err = tx.Tally(out.ID)
		return err
	})
	return out, err
}

// Job finds a job.
func (s *Service) Job(ctx context.Context, id ID) (out JobState, err error) {
	err = s.view(ctx, func(tx Tx) error {
		if out.Job, err = liveJob(tx, id); err != nil {
			return err
		}
		out.Tally, err = tx.Tally(id)
		return err
	})
	return out, err
}

// ListJobs gives a page of jobs, the newest first, as Collection.List does.
func (s *Service) ListJobs(ctx context.Context, size int, token string) (list []JobState, next string, err error) {
	t, err := s.tenant(ctx)
	if err != nil {
		return nil, "", err
	}
	q := Query{Newest: true, Size: size}
	asked := question(t, string(KindJob), q)
	if q.After, err = s.tokens.open(token, asked); err != nil {
		return nil, "", err
	}
	var page Page[Job]
	err = s.view(ctx, func(tx Tx) error {
		if page, err = tx.Jobs().List(q); err != nil {
			return err
		}
		list = make([]JobState, len(page.Items))
		for i, j := range page.Items {
			list[i].Job = j
			if list[i].Tally, err = tx.Tally(j.ID); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return nil, "", err
	}
	next, err = s.tokens.seal(page.Next, asked)
	return list, next, err
}

// Result is what became of an item: a program that is kept, one that is not, or a fault.
type Result struct {
	Place   int64
	Athlete ID
	Program ID    // kept
	Number  int32 // of the revision that was made
	Made    plan.Opt[plan.Program]
	Fault   *fault.Error
}

// kept results are read so many at a time.
const resultPage = 16

// Results gives what is finished of a job from a token on (empty: the beginning), in the
// order of the items, until the page says that it has enough. More may come later where the
// job is not done. It gives the token to go on with, empty at the end.
func (s *Service) Results(ctx context.Context, job ID, token string, each func(Result) (more bool)) (next string, err error) {
	t, err := s.tenant(ctx)
	if err != nil {
		return "", err
	}
	asked := question(t, "results", Query{Program: job})
	from, err := s.tokens.open(token, asked)
	if err != nil {
		return "", err
	}
	for after := int64(from.Day) - 1; ; {
		var items []Item
		if err := s.view(ctx, func(tx Tx) (err error) {
			if _, err = liveJob(tx, job); err == nil {
				items, err = tx.Items(job, after, resultPage, true)
			}
			return err
		}); err != nil {
			return "", err
		}
		for _, i := range items {
			r, err := ResultOf(i)
			if err != nil {
				return "", err
			}
			after = i.Place
			if !each(r) {
				return s.tokens.seal(Cursor{Day: plan.Date(after + 1)}, asked)
			}
		}
		if len(items) < resultPage {
			return "", nil
		}
	}
}

// itemResult is the document of a result.
type itemResult struct {
	Made   *plan.Program `json:"made,omitempty"`
	Number int32         `json:"number,omitempty"` // of a revision after the first
	Fault  *itemFault    `json:"fault,omitempty"`
}

type itemFault struct {
	Kind       string            `json:"kind"`
	Violations []fault.Violation `json:"violations"`
	Ways       []fault.Way       `json:"ways,omitempty"`
}

// ResultOf reads what became of an item.
func ResultOf(i Item) (Result, error) {
	out := Result{Place: i.Place, Athlete: i.Athlete, Program: i.Program}
	var r itemResult
	if len(i.Result) > 0 {
		if err := json.Unmarshal(i.Result, &r); err != nil {
			return out, fault.Wrap(fault.Internal, ReasonStorage, err)
		}
	}
	if r.Made != nil {
		out.Made = plan.Some(*r.Made)
	}
	if out.Program != (ID{}) {
		out.Number = max(1, r.Number)
	}
	if r.Fault != nil {
		out.Fault = &fault.Error{Kind: kindNamed(r.Fault.Kind), Violations: r.Fault.Violations, Ways: r.Fault.Ways}
	}
	return out, nil
}

func kindNamed(name string) fault.Kind {
	for k := fault.Internal; k <= fault.Broken; k++ {
		if k.String() == name {
			return k
		}
	}
	return fault.Internal
}
