package main

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"github.com/phasewright/phasewright/internal/app"
)

// Environment variables that hold what no command line should show.
const (
	envDatabase = "PHASEWRIGHT_DATABASE_URL"
	envOwner    = "PHASEWRIGHT_OWNER_URL"
	envKey      = "PHASEWRIGHT_KEY"
)

// dataFlags say where data is kept.
type dataFlags struct {
	dir, urlFile, pepper string
	given                func(flag string) bool
}

// data adds the flags to a command.
func (p *program) data(cmd *cobra.Command) *dataFlags {
	d := &dataFlags{given: func(name string) bool { return cmd.Flags().Changed(name) }}
	d.add(cmd.Flags())
	return d
}

func (d *dataFlags) add(flags *pflag.FlagSet) {
	flags.StringVar(&d.dir, "data-dir", defaultDir(), "directory that data is kept in, with SQLite")
	flags.StringVar(&d.urlFile, "database-url-file", "", "file with the URL of a PostgreSQL database that data is kept in instead (or $"+envDatabase+")")
	flags.String(configFlag, "", "file with settings (or $"+envOf(configFlag)+"); config --help says more")
	flags.StringVar(&d.pepper, "pepper-file", "", "file with the secret that keys are checked with; needed with PostgreSQL, in the data directory otherwise")
}

// read gives what the flags and the environment say.
func (d *dataFlags) read() (app.Data, error) {
	url, err := secret(d.urlFile, "--database-url-file", envDatabase)
	if err != nil {
		return app.Data{}, err
	}
	if url != "" {
		if d.given("data-dir") {
			return app.Data{}, wrong("--data-dir and a database URL: give one of them")
		}
		return app.Data{URL: url, Pepper: d.pepper}, nil
	}
	if d.dir == "" {
		return app.Data{}, wrong("--data-dir: which directory?")
	}
	return app.Data{Dir: d.dir, Pepper: d.pepper}, nil
}

// secret reads a file, or else a variable. A file that others may read is refused.
func secret(file, flag, variable string) (string, error) {
	if file == "" {
		return os.Getenv(variable), nil
	}
	info, err := os.Stat(file)
	if err != nil {
		return "", wrong("%s: %s: %s", flag, file, cause(err))
	}
	if info.Mode().IsRegular() && info.Mode().Perm()&0o077 != 0 {
		return "", wrong("%s: others may read %s: run chmod 600 on it", flag, file)
	}
	text, err := os.ReadFile(file)
	if err != nil {
		return "", wrong("%s: %s: %s", flag, file, cause(err))
	}
	if s := strings.TrimSpace(string(text)); s != "" {
		return s, nil
	}
	return "", wrong("%s: %s is empty", flag, file)
}

// defaultDir is where programs of a user keep their data on this system.
func defaultDir() string {
	const name = "phasewright"
	if dir := os.Getenv("XDG_DATA_HOME"); filepath.IsAbs(dir) {
		return filepath.Join(dir, name)
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return ""
	}
	switch runtime.GOOS {
	case "windows":
		if dir := os.Getenv("LocalAppData"); dir != "" {
			return filepath.Join(dir, name)
		}
	case "darwin":
		return filepath.Join(home, "Library", "Application Support", name)
	}
	return filepath.Join(home, ".local", "share", name)
}

func (p *program) migrate() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "migrate",
		Short: "Bring the database up to this version",
		Long: `Bring the schema of the database up to this version of the program. A server does it itself in
a data directory. In PostgreSQL it needs the role that owns the tables, which gives the role that
serves its rights; that one is to be no superuser and to have no BYPASSRLS.`,
		Example: `  phasewright migrate --data-dir ./data
  phasewright migrate --database-url-file serve.url --owner-url-file owner.url`,
		Args: cobra.NoArgs,
	}
	d := p.data(cmd)
	owner := cmd.Flags().String("owner-url-file", "", "file with the URL for the role that owns the tables (or $"+envOwner+")")
	cmd.RunE = p.do(func(cmd *cobra.Command, _ []string) error {
		data, err := d.read()
		if err != nil {
			return err
		}
		if data.Owner, err = secret(*owner, "--owner-url-file", envOwner); err != nil {
			return err
		}
		if err := data.Migrate(cmd.Context()); err != nil {
			return err
		}
		_, err = fmt.Fprintln(p.out, "up to date")
		return err
	})
	return cmd
}

func (p *program) backup() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "backup FILE",
		Short: "Copy the data of a data directory to a file, also while a server runs",
		Long: `Write one consistent state of a data directory's database to a new file, check it and make it
durable; a server may go on meanwhile. For a directory the file gets a name by the time. The pepper
of the keys is not in it: keep a copy of that elsewhere. PostgreSQL has pg_dump.`,
		Args: cobra.ExactArgs(1),
	}
	dir := cmd.Flags().String("data-dir", defaultDir(), "directory that data is kept in")
	cmd.Flags().String(configFlag, "", "file with settings (or $"+envOf(configFlag)+")")
	cmd.RunE = p.do(func(cmd *cobra.Command, args []string) error {
		to := args[0]
		if info, err := os.Stat(to); err == nil && info.IsDir() {
			to = filepath.Join(to, p.now().UTC().Format("phasewright-20060102T150405Z.db"))
		}
		if err := app.Backup(cmd.Context(), *dir, to); err != nil {
			return err
		}
		_, err := fmt.Fprintln(p.out, to)
		return err
	})
	return cmd
}

func (p *program) restore() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "restore FILE",
		Short: "Put a backup in the place of a data directory's database",
		Long: `Put a backup in the place of a data directory's database, which no server may have open. Athletes
who were erased after the backup was made are erased from it too. Stopped at any moment, it leaves the
old database or the new one.`,
		Args: cobra.ExactArgs(1),
	}
	dir := cmd.Flags().String("data-dir", defaultDir(), "directory that data is kept in")
	cmd.Flags().String(configFlag, "", "file with settings (or $"+envOf(configFlag)+")")
	cmd.RunE = p.do(func(cmd *cobra.Command, args []string) error {
		n, err := app.Restore(cmd.Context(), *dir, args[0])
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(p.out, "restored; athletes erased again: %d\n", n)
		return err
	})
	return cmd
}

func (p *program) erasures() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "erasures",
		Short: "List who was erased, or erase them again from a backup that came back",
		Long: `Write who was erased as JSON lines: ids, times and reasons, nothing else. A backup that is older holds
them still: keep this list apart from the database, and after the backup is back give it to --replay.
restore does that itself as long as the data directory is there; a dump of PostgreSQL that is brought
back, and a directory that was lost, need the list. No server may have a data directory open meanwhile;
PostgreSQL may be in use.`,
		Example: `  phasewright erasures --database-url-file serve.url > erased.jsonl
  phasewright erasures --database-url-file serve.url --replay erased.jsonl`,
		Args: cobra.NoArgs,
	}
	d := p.data(cmd)
	replay := cmd.Flags().String("replay", "", "erase again whom this file lists; - is standard input")
	owner := cmd.Flags().String("owner-url-file", "", "file with the URL for the role that owns the tables (or $"+envOwner+"), to vacuum after --replay")
	cmd.RunE = p.do(func(cmd *cobra.Command, _ []string) error {
		data, err := d.read()
		if err != nil {
			return err
		}
		if data.Owner, err = secret(*owner, "--owner-url-file", envOwner); err != nil {
			return err
		}
		if *replay == "" {
			_, err := data.WriteErasures(cmd.Context(), p.out)
			return err
		}
		in := p.in
		if *replay != "-" {
			f, err := os.Open(*replay)
			if err != nil {
				return wrong("--replay: %s: %s", *replay, cause(err))
			}
			defer f.Close()
			in = f
		}
		n, err := data.ReplayErasures(cmd.Context(), in)
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(p.out, "athletes erased again: %d\n", n)
		return err
	})
	return cmd
}
