package app

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/store/postgres"
	"github.com/phasewright/phasewright/internal/store/sqlite"
)

// erasure is a line of the file that outlives a database: whom to erase again from a
// backup that is brought back.
type erasure struct {
	Tenant  service.Tenant `json:"tenant"`
	Athlete string         `json:"athlete"`
	At      time.Time      `json:"at"`
	Reason  string         `json:"reason,omitempty"`
}

// store opens the store where no key is checked.
func (d Data) store(ctx context.Context) (service.Store, error) {
	switch {
	case d.URL != "":
		return postgres.Open(ctx, postgres.Config{URL: d.URL, Owner: d.Owner, Now: now})
	default:
		return sqlite.Open(ctx, sqlite.Config{Dir: d.Dir, Now: now})
	}
}

// WriteErasures writes who was erased, of all tenants, as JSON lines, and returns how many.
func (d Data) WriteErasures(ctx context.Context, w io.Writer) (n int, err error) {
	s, err := d.store(ctx)
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	out := json.NewEncoder(w)
	for after := service.Tenant(""); ; {
		tenants, err := s.Tenants(ctx, after, service.MaxPage)
		if err != nil || len(tenants) == 0 {
			return n, err
		}
		for _, t := range tenants {
			list, err := erasures(ctx, s, t)
			if err != nil {
				return n, err
			}
			for _, e := range list {
				if err := out.Encode(erasure{Tenant: t, Athlete: e.Athlete.String(), At: e.At.Time(), Reason: e.Reason}); err != nil {
					return n, err
				}
			}
			n += len(list)
		}
		after = tenants[len(tenants)-1]
	}
}

func erasures(ctx context.Context, s service.Store, t service.Tenant) ([]service.Erasure, error) {
	var out []service.Erasure
	q := service.Query{Size: service.MaxPage}
	for {
		var page service.Page[service.Erasure]
		err := s.View(ctx, t, func(tx service.Tx) (err error) { page, err = tx.Erasures(q); return err })
		if err != nil {
			return nil, err
		}
		out = append(out, page.Items...)
		if page.Next == (service.Cursor{}) {
			return out, nil
		}
		q.After = page.Next
	}
}

// ReplayErasures erases again whom WriteErasures listed, and returns how many were there.
// Again is fine. PostgreSQL keeps the space of what is gone until the next vacuum, which
// is done here where the owner is given.
func (d Data) ReplayErasures(ctx context.Context, r io.Reader) (n int, err error) {
	byTenant, err := readErasures(r)
	if err != nil {
		return 0, err
	}
	s, err := d.store(ctx)
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	for _, list := range byTenant {
		for part := range slices.Chunk(list.erased, service.MaxPage) {
			var here int
			if err := s.Update(ctx, list.tenant, func(tx service.Tx) (err error) { here, err = tx.Replay(part); return err }); err != nil {
				return n, err
			}
			n += here
		}
	}
	if d.URL != "" && d.Owner == "" {
		return n, nil
	}
	return n, s.Scrub(ctx)
}

type erasedOf struct {
	tenant service.Tenant
	erased []service.Erasure
}

// readErasures takes all lines or none, by tenant in their order.
func readErasures(r io.Reader) ([]erasedOf, error) {
	var out []erasedOf
	lines := bufio.NewScanner(r)
	for n := 1; lines.Scan(); n++ {
		var e erasure
		if err := json.Unmarshal(lines.Bytes(), &e); err != nil {
			return nil, fmt.Errorf("line %d is no erasure: %w", n, err)
		}
		id, err := service.ParseID(e.Athlete)
		if err != nil {
			return nil, fmt.Errorf("line %d: athlete %q is no id", n, e.Athlete)
		}
		if err := e.Tenant.Check(); err != nil {
			return nil, fmt.Errorf("line %d: %w", n, err)
		}
		if len(out) == 0 || out[len(out)-1].tenant != e.Tenant {
			out = append(out, erasedOf{tenant: e.Tenant})
		}
		last := &out[len(out)-1]
		last.erased = append(last.erased, service.Erasure{Athlete: id, At: service.At(e.At), Reason: e.Reason})
	}
	return out, lines.Err()
}
