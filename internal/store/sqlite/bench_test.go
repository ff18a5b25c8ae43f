package sqlite

import (
	"context"
	"database/sql"
	"fmt"
	"path/filepath"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/store/storetest"
)

func openBench(b *testing.B) *Store {
	s, err := Open(context.Background(), Config{Dir: filepath.Join(b.TempDir(), "data"), Now: storetest.NewClock().Now})
	require.NoError(b, err)
	b.Cleanup(func() { require.NoError(b, s.Close()) })
	return s
}

func BenchmarkDurable(b *testing.B) {
	for _, workers := range []int{1, 16} {
		b.Run(fmt.Sprintf("workers=%d", workers), func(b *testing.B) {
			s := openBench(b)
			// The bare driver has a database of its own with the same schema, and the same
			// single writer.
			other := openBench(b)
			c := <-other.writer
			defer func() { other.writer <- c }()
			insert, err := c.raw.PrepareContext(context.Background(), `INSERT INTO measurement
				(tenant, id, version, created, updated, deleted, format, doc, athlete, day, label) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`)
			require.NoError(b, err)
			defer func() { require.NoError(b, insert.Close()) }()
			_, err = c.raw.ExecContext(context.Background(), "PRAGMA foreign_keys = OFF")
			require.NoError(b, err)
			var mu sync.Mutex
			storetest.Durable(b, s, workers, func(m service.Measurement, doc []byte) error {
				mu.Lock()
				defer mu.Unlock()
				return inTransaction(c.raw, func() error {
					_, err := insert.ExecContext(context.Background(), "ours", m.ID[:], m.Version, int64(m.Created), int64(m.Updated), 0, 1, doc, m.Athlete[:], int64(m.Date), m.What)
					return err
				})
			})
		})
	}
}

func inTransaction(c *sql.Conn, fn func() error) error {
	for _, step := range []func() error{
		func() error { _, err := c.ExecContext(context.Background(), "BEGIN IMMEDIATE"); return err },
		fn,
		func() error { _, err := c.ExecContext(context.Background(), "COMMIT"); return err },
	} {
		if err := step(); err != nil {
			return err
		}
	}
	return nil
}

func BenchmarkPrograms(b *testing.B) { storetest.Programs(b, openBench(b)) }
