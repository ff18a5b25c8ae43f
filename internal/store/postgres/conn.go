package postgres

import (
	"context"
	"errors"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgtype"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/internal/service"
)

// bound runs statements under a context; it is a rows.Conn. It keeps the first error as
// it came, for whoever decides on trying again.
type bound struct {
	ctx  context.Context
	conn *pgx.Conn
	// begin is sent together with the first statement, which saves a way to the server and
	// back; after that it is nil.
	begin func(*pgx.Batch)
	raw   error
}

func (b *bound) failed(err error) error {
	if err != nil && b.raw == nil {
		b.raw = err
	}
	return translate(b.ctx, err)
}

// first sends what begins the transaction and a statement, and gives what answers the
// statement.
func (b *bound) first(text string, args []any) (pgx.BatchResults, error) {
	var batch pgx.Batch
	b.begin(&batch)
	before := batch.Len()
	b.begin = nil
	batch.Queue(text, args...)
	got := b.conn.SendBatch(b.ctx, &batch)
	for range before {
		if _, err := got.Exec(); err != nil {
			_ = got.Close()
			return nil, err
		}
	}
	return got, nil
}

// native gives ids as the type that the driver knows.
func native(args []any) []any {
	out := make([]any, len(args))
	for i, a := range args {
		if id, ok := a.(service.ID); ok {
			a = pgtype.UUID{Bytes: id, Valid: true}
		}
		out[i] = a
	}
	return out
}

func (b *bound) Exec(text string, args ...any) (int64, error) {
	if b.begin == nil {
		tag, err := b.conn.Exec(b.ctx, text, native(args)...)
		return tag.RowsAffected(), b.failed(err)
	}
	got, err := b.first(text, native(args))
	if err != nil {
		return 0, b.failed(err)
	}
	tag, err := got.Exec()
	if end := got.Close(); err == nil {
		err = end
	}
	return tag.RowsAffected(), b.failed(err)
}

func (b *bound) Query(text string, args []any, each func(func(...any) error) error) error {
	if b.begin == nil {
		got, err := b.conn.Query(b.ctx, text, native(args)...)
		if err != nil {
			return b.failed(err)
		}
		return b.rows(got, each)
	}
	batch, err := b.first(text, native(args))
	if err != nil {
		return b.failed(err)
	}
	got, err := batch.Query()
	if err == nil {
		err = b.rows(got, each)
	} else {
		err = b.failed(err)
	}
	if end := batch.Close(); err == nil {
		err = b.failed(end)
	}
	return err
}

// rows calls each for every row.
func (b *bound) rows(got pgx.Rows, each func(func(...any) error) error) error {
	defer got.Close()
	scan := func(dest ...any) error {
		wrapped := make([]any, len(dest))
		for i, d := range dest {
			if id, ok := d.(*service.ID); ok {
				d = (*uuid)(id)
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
	// The last word of the server comes after the rows.
	got.Close()
	return b.failed(got.Err())
}

// uuid scans an id.
type uuid service.ID

// ScanUUID implements pgtype.UUIDScanner.
func (id *uuid) ScanUUID(v pgtype.UUID) error {
	*id = v.Bytes
	return nil
}

// verdict says what to do after an error.
type verdict uint8

const (
	final verdict = iota // it is what it is
	clash                // another transaction was in the way: the same again
	lost                 // the connection: the same again on another, if it was not COMMIT
)

func judge(err error) verdict {
	var e *pgconn.PgError
	if errors.As(err, &e) {
		switch {
		// Serialization, deadlock; a unique key that another transaction took meanwhile:
		// the next run sees what is there.
		case e.Code == "40001" || e.Code == "40P01" || e.Code == "23505":
			return clash
		// The server shuts down, or could not be connected to.
		case strings.HasPrefix(e.Code, "57P") || strings.HasPrefix(e.Code, "08"):
			return lost
		}
		return final
	}
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) || errors.Is(err, pgx.ErrNoRows) {
		return final
	}
	return lost
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
	var e *pgconn.PgError
	if errors.As(err, &e) {
		switch {
		case e.Code == "53100":
			return fault.New(fault.Exhausted, service.ReasonFull, "", "the disk of the database is full: nothing was changed; reading goes on, and writing does when whoever runs the server has made room")
		case e.Code == "58030" || e.Code == "25006" || e.Code == "XX001" || e.Code == "XX002":
			return fault.New(fault.Unavailable, service.ReasonIO, "", "the database can't be read or written: "+e.Message)
		case strings.HasPrefix(e.Code, "53"), judge(err) == clash:
			return fault.New(fault.Unavailable, service.ReasonContention, "", "the database is busy; try again")
		case judge(err) == lost, strings.HasPrefix(e.Code, "28"), e.Code == "3D000":
			return fault.New(fault.Unavailable, service.ReasonIO, "", "the database can't be reached: "+e.Message)
		}
		// Details of the driver can hold what was stored.
		return fault.Wrap(fault.Internal, service.ReasonStorage, errors.New(e.Severity+" "+e.Code+": "+e.Message))
	}
	if judge(err) == lost {
		return fault.New(fault.Unavailable, service.ReasonIO, "", "the database can't be reached")
	}
	return fault.Wrap(fault.Internal, service.ReasonStorage, err)
}
