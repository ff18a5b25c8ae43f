package app

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/store/memory"
	"github.com/phasewright/phasewright/internal/store/postgres"
	"github.com/phasewright/phasewright/internal/store/sqlite"
)

// Data says where data is kept: in SQLite in a directory, in PostgreSQL, or, where
// neither is given, in memory.
type Data struct {
	Dir    string
	URL    string // of PostgreSQL; the role that serves
	Owner  string // of PostgreSQL; the role that owns the tables, only to migrate
	Pepper string // file of the pepper; with Dir it has a place of its own
}

// String says where, without what is secret in a URL.
func (d Data) String() string {
	switch {
	case d.URL != "":
		return "postgresql"
	case d.Dir != "":
		return d.Dir
	}
	return "memory"
}

// system names the kind of store as telemetry does.
func (d Data) system() string {
	switch {
	case d.URL != "":
		return "postgresql"
	case d.Dir != "":
		return "sqlite"
	}
	return "memory"
}

func now() service.Instant { return service.At(time.Now()) }

// pepperFile is the pepper's name in a data directory.
const pepperFile = "pepper"

// Open opens the store and reads its pepper. In a new data directory both are made; a
// pepper that is gone is not made anew, as no key would fit it.
func (d Data) Open(ctx context.Context) (service.Store, service.Pepper, error) {
	return d.open(ctx, now)
}

func (d Data) open(ctx context.Context, now func() service.Instant) (service.Store, service.Pepper, error) {
	var p service.Pepper
	if d.Dir != "" && d.URL != "" {
		return nil, p, errors.New("data-dir, database-url-file: give one of them")
	}
	var s service.Store
	var err error
	switch {
	case d.URL != "":
		if d.Pepper == "" {
			return nil, p, errors.New("pepper-file: PostgreSQL is shared by servers, and so is the pepper of the keys: make a file with umask 077; openssl rand -hex 32, and give it to each")
		}
		if p, err = readPepper(d.Pepper); err != nil {
			return nil, p, err
		}
		s, err = postgres.Open(ctx, postgres.Config{URL: d.URL, Owner: d.Owner, Now: now})
	case d.Dir != "":
		s, err = sqlite.Open(ctx, sqlite.Config{Dir: d.Dir, Now: now})
	default:
		if _, err = rand.Read(p[:]); err == nil {
			s = memory.New(now)
		}
	}
	if err != nil {
		return nil, p, err
	}
	if d.Dir != "" {
		if p, err = d.pepper(ctx, s); err != nil {
			return nil, p, errors.Join(err, s.Close())
		}
	}
	return s, p, nil
}

// Migrate brings the schema up to date and needs no pepper.
func (d Data) Migrate(ctx context.Context) error {
	s, err := d.store(ctx)
	if err != nil {
		return err
	}
	return s.Close()
}

// pepper reads the pepper of a data directory, whose store is open, so that nobody else
// makes one at the same time.
func (d Data) pepper(ctx context.Context, s service.Store) (service.Pepper, error) {
	path := d.Pepper
	if path == "" {
		path = filepath.Join(d.Dir, pepperFile)
	}
	p, err := readPepper(path)
	if !errors.Is(err, fs.ErrNotExist) || d.Pepper != "" {
		return p, err
	}
	have, err := s.Tenants(ctx, "", 1)
	if err != nil {
		return p, err
	}
	if len(have) > 0 {
		return p, fmt.Errorf("the pepper %s is missing, without which no key of this directory fits: put it back, or make another (umask 077; openssl rand -hex 32) and new keys with it (phasewright key create)", path)
	}
	if _, err := rand.Read(p[:]); err != nil {
		return p, err
	}
	return p, writePepper(path, p)
}

func readPepper(path string) (p service.Pepper, err error) {
	info, err := os.Stat(path)
	if err != nil {
		return p, fmt.Errorf("pepper: %w", err)
	}
	if info.Mode().Perm()&0o077 != 0 {
		return p, fmt.Errorf("pepper: others may read %s: run chmod 600 on it", path)
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return p, fmt.Errorf("pepper: %w", err)
	}
	raw, err := hex.DecodeString(strings.TrimSpace(string(text)))
	if err != nil || len(raw) != len(p) {
		return p, fmt.Errorf("pepper: %s does not hold %d hex digits", path, 2*len(p))
	}
	copy(p[:], raw)
	return p, nil
}

// writePepper makes the file whole and durable: a key is made with it next.
func writePepper(path string, p service.Pepper) error {
	half := path + ".part"
	f, err := os.OpenFile(half, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	_, err = f.WriteString(hex.EncodeToString(p[:]) + "\n")
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return err
	}
	if err := os.Rename(half, path); err != nil {
		return err
	}
	dir, err := os.Open(filepath.Dir(path))
	if err != nil {
		return err
	}
	return errors.Join(dir.Sync(), dir.Close())
}

// Backup writes a copy of a data directory's database to a new file. A server may have
// it open. The pepper is not in it.
func Backup(ctx context.Context, dir, file string) error { return sqlite.Copy(ctx, dir, file) }

// Restore puts a backup in place in a data directory that no server has open. It returns
// how many athletes, erased since, were erased again.
func Restore(ctx context.Context, dir, file string) (int, error) {
	return sqlite.Restore(ctx, sqlite.Config{Dir: dir, Now: now}, file, nil)
}
