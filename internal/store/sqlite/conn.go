package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	driver "modernc.org/sqlite"
	lib "modernc.org/sqlite/lib"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/internal/service"
)

// conn is one connection with its prepared statements. One goroutine at a time has it.
type conn struct {
	raw      *sql.Conn
	prepared map[string]*sql.Stmt
}

// maxPrepared bounds the statements kept; lists make some hundred different ones.
const maxPrepared = 400

func (c *conn) prepare(ctx context.Context, text string) (*sql.Stmt, error) {
	if s, ok := c.prepared[text]; ok {
		return s, nil
	}
	if len(c.prepared) >= maxPrepared {
		c.forget()
	}
	s, err := c.raw.PrepareContext(ctx, text)
	if err == nil {
		c.prepared[text] = s
	}
	return s, err
}

func (c *conn) forget() {
	for k, s := range c.prepared {
		_ = s.Close()
		delete(c.prepared, k)
	}
}

func (c *conn) close() {
	c.forget()
	_ = c.raw.Close()
}

// exec runs a prepared statement without arguments.
func (c *conn) exec(ctx context.Context, text string) error {
	s, err := c.prepare(ctx, text)
	if err == nil {
		_, err = s.ExecContext(ctx)
	}
	return err
}

// transact runs fn between begin and COMMIT, or ROLLBACK where it fails or panics. The
// context does not reach what begins and ends it: a BEGIN that is cut off may have begun.
func (c *conn) transact(ctx context.Context, begin string, fn func() error) error {
	end := context.WithoutCancel(ctx)
	open := true
	defer func() {
		if open {
			// Where SQLite has rolled back by itself there is nothing left to do.
			_ = c.exec(end, "ROLLBACK")
		}
	}()
	if err := c.exec(end, begin); err != nil {
		return translate(ctx, err)
	}
	if err := fn(); err != nil {
		return err
	}
	if err := ctx.Err(); err != nil {
		return fault.Wrap(fault.Canceled, "CANCELED", err)
	}
	if err := c.exec(end, "COMMIT"); err != nil {
		return translate(end, err)
	}
	open = false
	return nil
}

// bound runs statements under a context; it is a rows.Conn.
type bound struct {
	ctx context.Context
	c   *conn
}

// plain gives ids as the bytes that the driver knows.
func plain(args []any) []any {
	out := make([]any, len(args))
	for i, a := range args {
		if id, ok := a.(service.ID); ok {
			a = id[:]
		}
		out[i] = a
	}
	return out
}

func (b bound) Exec(text string, args ...any) (int64, error) {
	s, err := b.c.prepare(b.ctx, text)
	if err != nil {
		return 0, translate(b.ctx, err)
	}
	r, err := s.ExecContext(b.ctx, plain(args)...)
	if err != nil {
		return 0, translate(b.ctx, err)
	}
	n, err := r.RowsAffected()
	return n, translate(b.ctx, err)
}

func (b bound) Query(text string, args []any, each func(func(...any) error) error) error {
	s, err := b.c.prepare(b.ctx, text)
	if err != nil {
		return translate(b.ctx, err)
	}
	got, err := s.QueryContext(b.ctx, plain(args)...)
	if err != nil {
		return translate(b.ctx, err)
	}
	defer func() { _ = got.Close() }()
	scan := func(dest ...any) error {
		wrapped := make([]any, len(dest))
		for i, d := range dest {
			if id, ok := d.(*service.ID); ok {
				d = (*idBytes)(id)
			}
			wrapped[i] = d
		}
		return translate(b.ctx, got.Scan(wrapped...))
	}
	for got.Next() {
		if err := each(scan); err != nil {
			return err
		}
	}
	return translate(b.ctx, got.Err())
}

// idBytes scans an id.
type idBytes service.ID

// Scan implements sql.Scanner.
func (id *idBytes) Scan(v any) error {
	b, ok := v.([]byte)
	if !ok || len(b) != len(id) {
		return fmt.Errorf("%T is no id", v)
	}
	copy(id[:], b)
	return nil
}

// translate makes faults of errors; faults and nil stay as they are.
func translate(ctx context.Context, err error) error {
	if err == nil {
		return nil
	}
	if _, ok := fault.As(err); ok {
		return err
	}
	if cause := ctx.Err(); cause != nil {
		return fault.Wrap(fault.Canceled, "CANCELED", cause)
	}
	var e *driver.Error
	if errors.As(err, &e) {
		switch e.Code() & 0xff {
		case lib.SQLITE_FULL:
			return fault.New(fault.Exhausted, service.ReasonFull, "", "the disk of the data directory is full: nothing was changed; reading goes on, and writing does when whoever runs the server has made room")
		case lib.SQLITE_IOERR, lib.SQLITE_CORRUPT, lib.SQLITE_NOTADB, lib.SQLITE_READONLY, lib.SQLITE_CANTOPEN, lib.SQLITE_PERM:
			return fault.New(fault.Unavailable, service.ReasonIO, "", "the data directory can't be read or written: "+err.Error())
		case lib.SQLITE_BUSY, lib.SQLITE_LOCKED:
			return fault.New(fault.Unavailable, service.ReasonContention, "", "the database is busy; try again")
		}
	}
	return fault.Wrap(fault.Internal, service.ReasonStorage, err)
}
