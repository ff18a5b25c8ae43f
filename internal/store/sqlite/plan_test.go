package sqlite

import (
	"context"
	"errors"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/store/rows"
	"github.com/phasewright/phasewright/internal/store/storetest"
)

// explained notes how SQLite goes about each statement that it is given.
type explained struct {
	bound
	plans map[string]string
}

func (e explained) note(text string, args []any) {
	var steps []string
	_ = e.bound.Query("EXPLAIN QUERY PLAN "+text, args, func(scan func(...any) error) error {
		var id, parent, unused int64
		var detail string
		err := scan(&id, &parent, &unused, &detail)
		steps = append(steps, detail)
		return err
	})
	e.plans[text] = strings.Join(steps, "; ")
}

func (e explained) Exec(text string, args ...any) (int64, error) {
	e.note(text, args)
	return e.bound.Exec(text, args...)
}

func (e explained) Query(text string, args []any, each func(func(...any) error) error) error {
	e.note(text, args)
	return e.bound.Query(text, args, each)
}

// However much a tenant has, nothing is searched or sorted that an index gives: no
// statement reads a whole table, and lists come in their order.
func TestEveryStatementUsesAnIndex(t *testing.T) {
	ctx := context.Background()
	clock := storetest.NewClock()
	s := openAt(t, fresh(t), clock.Now)
	f, err := storetest.Fill(ctx, s, "t", clock, 1, func() string { return "x" })
	require.NoError(t, err)
	c := <-s.writer
	defer func() { s.writer <- c }()
	e := explained{bound{ctx, c}, map[string]string{}}
	require.NoError(t, c.transact(ctx, "BEGIN IMMEDIATE", func() error {
		tx := rows.NewTx(e, rows.SQLite(), "t", clock.Now(), false)
		var errs []error
		for i := range 1 << 6 {
			q := service.Query{Size: 5, Deleted: i&1 != 0, Newest: i&2 != 0}
			if i&4 != 0 {
				q.Athlete = f.Athlete.ID
			}
			if i&8 != 0 {
				q.Label = "x"
			}
			if i&16 != 0 {
				q.From, q.To = plan.Some(plan.Date(1)), plan.Some(plan.Date(30000))
			}
			if i&32 != 0 {
				q.After = service.Cursor{Day: 5, ID: f.Athlete.ID}
			}
			_, err := tx.Measurements().List(q)
			_, err2 := tx.Performances().List(q)
			q.Label = ""
			q.Program = f.Program.ID
			_, err3 := tx.SessionLogs().List(q)
			q.Program = service.ID{}
			_, err4 := tx.SessionLogs().List(q)
			q.From, q.To, q.After.Day = plan.Opt[plan.Date]{}, plan.Opt[plan.Date]{}, 0
			_, err5 := tx.Programs().List(q)
			_, err6 := tx.Events(q)
			q.Athlete = service.ID{}
			_, err7 := tx.Keys().List(q)
			_, err8 := tx.Erasures(q)
			_, err9 := tx.Exercises().List(q)
			q.Label = "x"
			_, err10 := tx.Athletes().List(q)
			errs = append(errs, err, err2, err3, err4, err5, err6, err7, err8, err9, err10)
		}
		c, ok, err0 := tx.Claim(f.Athlete.ID, clock.Now()+1)
		require.True(t, ok)
		_, err1 := tx.Items(c.Job, -1, 5, true)
		_, err2 := tx.Tally(c.Job)
		_, err3 := tx.Pending(c.Job)
		_, _, err4 := tx.Claim(f.Athlete.ID, clock.Now()+1)
		errs = append(errs, err0, err1, err2, err3, err4, tx.Halt(c.Job))
		_, _, err0 = tx.Claim(f.Athlete.ID, clock.Now()+1)
		errs = append(errs, err0)
		a, err := tx.Athletes().Update(f.Athlete)
		_, err2 = tx.Athletes().Delete(a.ID, a.Version)
		_, err3 = tx.Athletes().Undelete(a.ID, a.Version+1)
		_, err4 = tx.Revisions(f.Program.ID, 0, 5)
		_, err5 := tx.Revision(f.Program.ID, 0)
		_, _, err6 := tx.Recall("x")
		err7 := tx.Export(a.ID, func(any) error { return nil })
		j, err10 := tx.Jobs().Get(c.Job)
		_, err11 := tx.Jobs().Delete(j.ID, j.Version)
		_, err8 := tx.Purge(clock.Now(), 10)
		_, err13 := tx.Expire(clock.Now(), 10)
		n, err12 := tx.ClearJobs(100)
		require.Equal(t, 4, n)
		errs = append(errs, err10, err11, err12, err13)
		_, err9 := tx.Erase(a.ID, "")
		return errors.Join(append(errs, err, err2, err3, err4, err5, err6, err7, err8, err9)...)
	}))
	require.Greater(t, len(e.plans), 150)
	for text, plan := range e.plans {
		for _, step := range strings.Split(plan, "; ") {
			if strings.HasPrefix(step, "SCAN") {
				require.Contains(t, step, "CONSTANT ROW", text)
			}
		}
		// Of an athlete's rows with one label there are few, and of deleted jobs: these may be
		// sorted. Of what goes at the same moment there is little.
		plan = strings.ReplaceAll(plan, "TEMP B-TREE FOR LAST TERM", "")
		if !strings.Contains(text, "label =") && !strings.Contains(text, "FROM job") {
			require.NotContains(t, plan, "TEMP B-TREE", text)
		}
	}
	t.Logf("%d statements", len(e.plans))
}
