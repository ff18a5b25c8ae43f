package service

import (
	"cmp"
	"context"
	"time"

	"github.com/phasewright/phasewright/engine/fault"
)

// MethodPurge is the method of audit events of what was removed for good because its time was
// over, jobs that ended long ago and things that were deleted: no call, and no key.
const MethodPurge = "server purge"

const (
	expirePage = 100 // jobs looked at in one view
	clearRows  = 200 // removed in one transaction, so that no other writer waits long
	purgeSome  = 50  // things, each with an event and perhaps others that go with it

	// answerSlack is how much longer than promised answers stay: replicas' clocks may differ, and
	// a call may take its time between being told when its answer ends and giving it.
	answerSlack = time.Hour

	// LeastDeletedKeep is how long deleted things stay at least. What a request was answered may
	// be read out of them, so they outlive its promise.
	LeastDeletedKeep = answerLife + 24*time.Hour
)

// ExpireJobs forgets the jobs of the caller's tenant that ended, or were canceled, as long
// ago as keep or longer, as DeleteJob does, with an audit event for each. It returns how many.
// Others may do the same at the same time.
func (s *Service) ExpireJobs(ctx context.Context, keep time.Duration) (n int, err error) {
	t, err := s.tenant(ctx)
	if err != nil {
		return 0, err
	}
	age := Instant(keep.Milliseconds())
	for q := (Query{Size: expirePage}); ; {
		var due []ID
		var next Cursor // zero at the end
		if err := s.storage.Store.View(ctx, t, func(tx Tx) error {
			due, next = nil, Cursor{}
			page, err := tx.Jobs().List(q)
			if err != nil {
				return err
			}
			for i := range page.Items {
				if page.Items[i].doneBy(tx.Now() - age) {
					due = append(due, page.Items[i].ID)
				}
			}
			// Jobs come in the order in which they began, and none ends before.
			if last := len(page.Items) - 1; last >= 0 && page.Items[last].Created <= tx.Now()-age {
				next = page.Next
			}
			return nil
		}); err != nil {
			return n, err
		}
		for _, id := range due {
			did, err := s.expire(ctx, t, id, age)
			if err != nil {
				return n, err
			}
			if did {
				n++
			}
		}
		if next == (Cursor{}) {
			return n, nil
		}
		q.After = next
	}
}

// doneBy says whether nothing more happens to a job since a moment.
func (j *Job) doneBy(at Instant) bool { return j.Done() && cmp.Or(j.Ended, j.Canceled) <= at }

// expire forgets a job, unless somebody has meanwhile. From then on it is not found, so that
// nobody sees it when part of it is gone.
func (s *Service) expire(ctx context.Context, t Tenant, id ID, age Instant) (did bool, err error) {
	event, err := s.newID()
	if err != nil {
		return false, err
	}
	err = s.storage.Store.Update(ctx, t, func(tx Tx) error {
		did = false
		j, err := tx.Jobs().Get(id)
		if f, ok := fault.As(err); ok && f.Kind == fault.NotFound {
			return nil
		}
		if err != nil || j.Deleted != 0 || !j.doneBy(tx.Now()-age) {
			return err
		}
		if _, err := tx.Jobs().Delete(id, j.Version); err != nil {
			return err
		}
		if _, err := tx.Record(Event{ID: event, Method: MethodPurge, Resource: "operations/" + id.String(), Outcome: OutcomeOK}); err != nil {
			return err
		}
		did = true
		return nil
	})
	return did && err == nil, err
}

// ClearJobs removes for good some of what is left of forgotten jobs of the caller's tenant,
// and says whether there may be more.
func (s *Service) ClearJobs(ctx context.Context) (more bool, err error) {
	t, err := s.tenant(ctx)
	if err != nil {
		return false, err
	}
	var n int
	err = s.storage.Store.Update(ctx, t, func(tx Tx) (err error) {
		n, err = tx.ClearJobs(clearRows)
		return err
	})
	return n == clearRows && err == nil, err
}

// ExpireAnswers removes for good some answers of the caller's tenant that no retry is promised any
// more. It returns how many, and says whether there may be more. Others may do the same at the
// same time.
func (s *Service) ExpireAnswers(ctx context.Context) (n int, more bool, err error) {
	t, err := s.tenant(ctx)
	if err != nil {
		return 0, false, err
	}
	err = s.storage.Store.Update(ctx, t, func(tx Tx) (err error) {
		n, err = tx.Expire(tx.Now()-Instant(answerSlack.Milliseconds()), clearRows)
		return err
	})
	if err != nil {
		return 0, false, err
	}
	return n, n == clearRows, nil
}

// PurgeDeleted removes for good some things of the caller's tenant that were deleted longer ago
// than keep, which is LeastDeletedKeep or more, with an audit event for each in the same transaction. It
// returns how many, and says whether there may be more. Others may do the same at the same time.
func (s *Service) PurgeDeleted(ctx context.Context, keep time.Duration) (n int, more bool, err error) {
	t, err := s.tenant(ctx)
	if err != nil {
		return 0, false, err
	}
	age := Instant(keep.Milliseconds())
	err = s.storage.Store.Update(ctx, t, func(tx Tx) error {
		list, err := tx.Purge(tx.Now()-age, purgeSome)
		if err != nil {
			return err
		}
		for _, p := range list {
			id, err := s.newID()
			if err != nil {
				return err
			}
			e := Event{ID: id, Method: MethodPurge, Resource: p.name(), Athlete: p.Athlete, Outcome: OutcomeOK}
			if _, err := tx.Record(e); err != nil {
				return err
			}
		}
		n = len(list)
		return nil
	})
	if err != nil {
		return 0, false, err
	}
	return n, n > 0, nil
}

// name is the thing's name as a resource; empty for one that has none by itself.
func (p Purged) name() string {
	collection := map[Kind]string{
		KindAthlete: "athletes", KindPerformance: "performances", KindSessionLog: "sessionLogs", KindMeasurement: "measurements",
		KindExercise: "ownExercises", KindPlan: "plans", KindProgram: "programs", KindKey: "apiKeys", KindTrial: "trials",
	}[p.Kind]
	switch {
	case collection == "":
		return ""
	case TraitsOf(p.Kind).Athlete:
		return "athletes/" + p.Athlete.String() + "/" + collection + "/" + p.ID.String()
	}
	return collection + "/" + p.ID.String()
}
