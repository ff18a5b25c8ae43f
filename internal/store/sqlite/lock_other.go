//go:build !unix

package sqlite

import (
	"os"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/internal/service"
)

// acquire refuses: two processes on one directory would not notice each other.
func acquire(string) (*os.File, error) {
	return nil, fault.New(fault.Unavailable, service.ReasonLocked, "", "a data directory can't be locked on this system; use PostgreSQL")
}
