//go:build unix

package sqlite

import (
	"fmt"
	"os"
	"path/filepath"
	"syscall"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/internal/service"
)

// acquire locks a data directory against other processes, and this one, until the file
// is closed or the process ends, however it ends.
func acquire(dir string) (*os.File, error) {
	f, err := os.OpenFile(filepath.Join(dir, "lock"), os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, unusable(err)
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		_ = f.Close()
		return nil, fault.New(fault.Unavailable, service.ReasonLocked, "", fmt.Sprintf("another process has the data directory %s open", dir))
	}
	return f, nil
}
