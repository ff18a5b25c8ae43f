package rows

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io/fs"
	"path"
	"strconv"
	"strings"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/internal/service"
)

// Migration is one step of the schema, forward only. A step that was ever released is
// never changed: Digest is kept with its version to notice that.
type Migration struct {
	Version    int64
	Name       string
	Digest     string
	Statements []string
}

// MigrationTable is where versions are noted, in the transaction of their step. The
// statement is repeatable.
const MigrationTable = "CREATE TABLE IF NOT EXISTS migration (version bigint NOT NULL PRIMARY KEY, name text NOT NULL, digest text NOT NULL)"

// Migrations reads the steps of a folder: 0001_name.sql and so on, without gaps, their
// statements parted by empty lines.
func Migrations(folder fs.FS, dir string) ([]Migration, error) {
	entries, err := fs.ReadDir(folder, dir)
	if err != nil {
		return nil, err
	}
	var out []Migration
	for i, e := range entries {
		text, err := fs.ReadFile(folder, path.Join(dir, e.Name()))
		if err != nil {
			return nil, err
		}
		number, name, _ := strings.Cut(strings.TrimSuffix(e.Name(), ".sql"), "_")
		version, err := strconv.ParseInt(number, 10, 64)
		if err != nil || version != int64(i+1) || len(number) != 4 {
			return nil, fmt.Errorf("migration %s: want %04d_name.sql", e.Name(), i+1)
		}
		sum := sha256.Sum256(text)
		m := Migration{Version: version, Name: name, Digest: hex.EncodeToString(sum[:])}
		for _, s := range strings.Split(string(text), "\n\n") {
			if s = strings.TrimSpace(s); s != "" {
				m.Statements = append(m.Statements, s)
			}
		}
		out = append(out, m)
	}
	return out, nil
}

// Applied is a version as noted in the database.
type Applied struct {
	Version int64
	Digest  string
}

// Pending says which steps are still to be taken. It refuses a database that a newer
// program has written, and one whose steps were others than ours.
func Pending(all []Migration, done []Applied) ([]Migration, error) {
	for i, d := range done {
		switch {
		case i >= len(all):
			return nil, fault.New(fault.Unavailable, service.ReasonSchema, "",
				fmt.Sprintf("the database has schema %d and this program knows %d: run the program that wrote it, or a newer one", done[len(done)-1].Version, len(all)))
		case d.Version != all[i].Version || d.Digest != all[i].Digest:
			return nil, fault.New(fault.Unavailable, service.ReasonSchema, "",
				fmt.Sprintf("step %d of the database's schema is not the one that this program knows", d.Version))
		}
	}
	return all[len(done):], nil
}
