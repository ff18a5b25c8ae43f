package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/store/rows"
)

// Backup writes one consistent state of the database to a new file, checks it and makes
// it durable, while reading and writing go on. It appears under its name only whole.
// Faults: Exists ID_TAKEN where the file is there; those of Check.
func (s *Store) Backup(ctx context.Context, path string) error { return Copy(ctx, s.cfg.Dir, path) }

// Copy does the same for the database of a directory that this or another process may
// have open.
func Copy(ctx context.Context, dir, path string) error {
	if there, err := exists(filepath.Join(dir, file)); err != nil || !there {
		return orElse(err, unusable(fmt.Errorf("there is no database in %s", dir)))
	}
	if there, err := exists(path); err != nil || there {
		if there {
			return fault.New(fault.Exists, service.ReasonIDTaken, "path", fmt.Sprintf("%s is there already", path))
		}
		return err
	}
	half := path + ".part"
	err := copyTo(ctx, dir, half)
	if err == nil {
		err = Check(ctx, half)
	}
	if err == nil {
		err = finish(half, path)
	}
	if err != nil {
		return errors.Join(err, ignoreMissing(os.Remove(half)))
	}
	return nil
}

// copyTo writes the database anew, without free pages.
func copyTo(ctx context.Context, dir, path string) error {
	// A reader of its own, so that no other waits as long as this takes.
	db, c, err := connect(ctx, filepath.Join(dir, file), always)
	if err != nil {
		return err
	}
	defer func() { c.close(); _ = db.Close() }()
	// What an attempt that was killed has left is overwritten: SQLite takes an empty file.
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return unusable(err)
	}
	if err := f.Close(); err != nil {
		return unusable(err)
	}
	_, err = c.raw.ExecContext(ctx, "VACUUM INTO ?1", path)
	return translate(ctx, err)
}

// finish makes a file durable and gives it its name.
func finish(half, path string) error {
	f, err := os.OpenFile(half, os.O_RDWR, 0)
	if err != nil {
		return unusable(err)
	}
	if err := errors.Join(f.Sync(), f.Close(), os.Rename(half, path), syncDir(filepath.Dir(path))); err != nil {
		return unusable(err)
	}
	return nil
}

func ignoreMissing(err error) error {
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	return err
}

// Check reads all of a database that no process has open: it is whole, no row lacks its
// parent, and this program knows its schema. Faults are Unavailable: STORAGE_FAULT,
// SCHEMA.
func Check(ctx context.Context, path string) error {
	if there, err := exists(path); err != nil || !there {
		return orElse(err, unusable(fmt.Errorf("%s is not there", path)))
	}
	db, c, err := connect(ctx, path, always)
	if err != nil {
		return err
	}
	defer func() { c.close(); _ = db.Close() }()
	for _, what := range []string{"PRAGMA integrity_check(1)", "SELECT 'ok' WHERE NOT EXISTS (SELECT 1 FROM pragma_foreign_key_check())"} {
		var got string
		err := c.raw.QueryRowContext(ctx, what).Scan(&got)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return translate(ctx, err)
		}
		if got != "ok" {
			return fault.New(fault.Unavailable, service.ReasonIO, "", fmt.Sprintf("%s is damaged: %s", path, got))
		}
	}
	all, err := rows.Migrations(steps, "migrations")
	if err != nil {
		return fault.Wrap(fault.Internal, service.ReasonSchema, err)
	}
	done, err := c.applied(ctx)
	if err != nil {
		return fault.New(fault.Unavailable, service.ReasonSchema, "", fmt.Sprintf("%s is no database of ours: %s", path, err))
	}
	_, err = rows.Pending(all, done)
	return err
}

func orElse(err, otherwise error) error {
	if err != nil {
		return err
	}
	return otherwise
}

// Restore puts a backup in the place of a directory's database, which no process may
// have open, or where there is none yet. Athletes who were erased since are erased again
// before it is in place: those that the present database remembers, and more, by tenant,
// for when that one is lost. It returns how many came back with the backup and went
// again. Killed at any moment, it leaves the old database or the new one.
func Restore(ctx context.Context, cfg Config, backup string, more map[service.Tenant][]service.Erasure) (int, error) {
	if err := Check(ctx, backup); err != nil {
		return 0, err
	}
	if err := directory(cfg.Dir); err != nil {
		return 0, err
	}
	lock, err := acquire(cfg.Dir)
	if err != nil {
		return 0, err
	}
	defer func() { _ = lock.Close() }()
	present := filepath.Join(cfg.Dir, file)
	there, err := exists(present)
	if err != nil {
		return 0, err
	}
	gone := map[service.Tenant][]service.Erasure{}
	if there {
		if gone, err = erased(ctx, present); err != nil {
			return 0, err
		}
	}
	for t, list := range more {
		gone[t] = append(gone[t], list...)
	}

	// The new database is made ready in a directory of its own.
	aside := filepath.Join(cfg.Dir, "restore")
	if err := errors.Join(os.RemoveAll(aside), os.Mkdir(aside, 0o700)); err != nil {
		return 0, unusable(err)
	}
	defer func() { _ = os.RemoveAll(aside) }()
	if err := copyFile(backup, filepath.Join(aside, file)); err != nil {
		return 0, unusable(err)
	}
	n, err := replay(ctx, Config{Dir: aside, Now: cfg.Now, Readers: 1}, gone)
	if err != nil {
		return 0, err
	}
	for _, end := range []string{"-wal", "-shm"} {
		// The log is empty: erased has moved all of it into the database.
		if err := ignoreMissing(os.Remove(present + end)); err != nil {
			return 0, unusable(err)
		}
	}
	return n, finish(filepath.Join(aside, file), present)
}

// erased reads the erasures of a database, and leaves all of it in its main file.
func erased(ctx context.Context, path string) (map[service.Tenant][]service.Erasure, error) {
	db, c, err := connect(ctx, path, always)
	if err != nil {
		return nil, err
	}
	defer func() { c.close(); _ = db.Close() }()
	out := map[service.Tenant][]service.Erasure{}
	err = bound{ctx, c}.Query("SELECT tenant, athlete, at, reason FROM erasure", nil, func(scan func(...any) error) error {
		var t string
		var e service.Erasure
		var at int64
		err := scan(&t, &e.Athlete, &at, &e.Reason)
		e.At = service.Instant(at)
		out[service.Tenant(t)] = append(out[service.Tenant(t)], e)
		return err
	})
	if err != nil {
		return nil, err
	}
	return out, c.checkpoint(ctx)
}

// checkpoint moves all of the log into the database.
func (c *conn) checkpoint(ctx context.Context) error {
	var busy, pages, moved int64
	err := bound{ctx, c}.Query("PRAGMA wal_checkpoint(TRUNCATE)", nil, func(scan func(...any) error) error {
		return scan(&busy, &pages, &moved)
	})
	if err == nil && busy != 0 {
		err = fault.New(fault.Unavailable, service.ReasonContention, "", "a reader still needs the log; try again")
	}
	return err
}

// replay opens a database, erases, and leaves all of it in its main file.
func replay(ctx context.Context, cfg Config, gone map[service.Tenant][]service.Erasure) (int, error) {
	s, err := Open(ctx, cfg)
	if err != nil {
		return 0, err
	}
	n := 0
	for t, list := range gone {
		var here int
		if err := s.Update(ctx, t, func(tx service.Tx) (err error) { here, err = tx.Replay(list); return err }); err != nil {
			return 0, errors.Join(err, s.Close())
		}
		n += here
	}
	return n, errors.Join(s.Scrub(ctx), s.Close())
}

func copyFile(from, to string) error {
	src, err := os.Open(from)
	if err != nil {
		return err
	}
	defer func() { _ = src.Close() }()
	dst, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(dst, src)
	return errors.Join(err, dst.Sync(), dst.Close())
}
