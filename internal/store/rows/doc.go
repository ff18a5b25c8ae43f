// Package rows is what the SQL stores have in common: the tables, the statements, and
// the transactions of service.Tx made of them. What differs between databases (how a
// statement is run, how a transaction begins, ends and is tried again) is behind Conn
// and Dialect.
//
// Every table but two begins with the tenant, and so does every key. Rows hold what can
// be asked for in columns, and the rest as a document: the domain's own JSON with the
// number of its format, packed for revisions. There are no NULLs: 0, the empty text and
// the zero id say none.
//
// The SQL is what SQLite, PostgreSQL and databases wire-compatible with it share: no
// serial numbers, no locks but those of rows, no session state, no NOTIFY, no offsets.
package rows

import (
	"strconv"

	"github.com/phasewright/phasewright/internal/service"
)

// Conn runs the statements of one transaction. Arguments are string, int64, []byte and
// service.ID, destinations pointers to these. Errors are faults.
type Conn interface {
	// Exec returns how many rows were touched.
	Exec(sql string, args ...any) (int64, error)
	// Query calls each for every row, in order. each runs no statements.
	Query(sql string, args []any, each func(scan func(dest ...any) error) error) error
}

// Dialect is how a database wants its statements spelled.
type Dialect struct {
	Bind func(n int, arg any) string // the n-th argument, counted from 1
	Skip string                      // ends a SELECT of rows that are changed next: lock them, and pass by those that others have
	// Unfiltered leaves the tenant out of every condition: for tests of what the database
	// keeps apart by itself.
	Unfiltered bool
}

// SQLite numbers arguments ?1, ?2.
func SQLite() Dialect {
	return Dialect{Bind: func(n int, _ any) string { return "?" + strconv.Itoa(n) }}
}

// Postgres numbers arguments $1, $2 and states their types, which it can't always infer.
func Postgres() Dialect {
	return Dialect{Skip: " FOR UPDATE SKIP LOCKED", Bind: func(n int, arg any) string {
		s := "$" + strconv.Itoa(n)
		switch arg.(type) {
		case service.ID:
			return s + "::uuid"
		case int64:
			return s + "::bigint"
		case []byte:
			return s + "::bytea"
		}
		return s + "::text"
	}}
}
