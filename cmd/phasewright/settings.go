package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"go.yaml.in/yaml/v3"
)

// A setting of the server is a flag. What the command line leaves open comes from the
// environment (--data-dir from PHASEWRIGHT_DATA_DIR), else from the file of --config,
// a YAML mapping by the flags' names, else it is the default.

// envPrefix begins the variables of settings.
const envPrefix = "PHASEWRIGHT_"

// configFlag names the file; it is no setting in itself.
const configFlag = "config"

// secrets are the variables that hold a value which is never printed.
var secrets = []string{envDatabase, envOwner, envKey}

func envOf(flag string) string {
	return envPrefix + strings.ToUpper(strings.ReplaceAll(flag, "-", "_"))
}

// setting is a value with where it came from.
type setting struct {
	Name  string `json:"name"`
	Value string `json:"value"`
	From  string `json:"from"`
}

// origins says where the values of a command's flags came from, by flag.
type origins map[string]string

// settle fills in the flags that the command line left open.
func settle(cmd *cobra.Command) (origins, error) {
	from := origins{}
	flags := cmd.Flags()
	all := serveFlags()
	flags.Visit(func(f *pflag.Flag) { from[f.Name] = "flag" })
	var bad []error
	fill := func(f *pflag.Flag, values []string, source string) {
		for _, v := range values {
			if err := flags.Set(f.Name, v); err != nil {
				bad = append(bad, wrong("%s: %s", source, trimEnd(err.Error())))
			}
		}
		from[f.Name] = source
	}
	flags.VisitAll(func(f *pflag.Flag) {
		if from[f.Name] != "" || f.Name != configFlag && all.Lookup(f.Name) == nil {
			return
		}
		if v, ok := os.LookupEnv(envOf(f.Name)); ok {
			values := []string{v}
			if repeats(f) {
				values = strings.Split(v, ",")
			}
			fill(f, values, "environment "+envOf(f.Name))
		}
	})
	file := flags.Lookup(configFlag)
	if file == nil || file.Value.String() == "" {
		return from, allWrong(bad)
	}
	entries, err := readConfig(file.Value.String(), all)
	if err != nil {
		return nil, allWrong(append(bad, err))
	}
	for _, e := range entries {
		if f := flags.Lookup(e.name); f != nil && from[e.name] == "" {
			fill(f, e.values, fmt.Sprintf("%s:%d", file.Value, e.line))
		}
	}
	return from, allWrong(bad)
}

// allWrong is one error of the command's input that says all that is wrong.
func allWrong(bad []error) error {
	if err := errors.Join(bad...); err != nil {
		return wrong("%s", err)
	}
	return nil
}

func repeats(f *pflag.Flag) bool {
	_, ok := f.Value.(pflag.SliceValue)
	return ok
}

// entry is a line of the configuration file.
type entry struct {
	name   string
	values []string
	line   int
}

// readConfig reads a configuration file and refuses what is no setting, all at once.
func readConfig(file string, known *pflag.FlagSet) ([]entry, error) {
	text, err := os.ReadFile(file)
	if err != nil {
		return nil, wrong("--config: %s: %s", file, cause(err))
	}
	var doc yaml.Node
	if err := yaml.Unmarshal(text, &doc); err != nil {
		return nil, wrong("--config: %s: %s", file, err)
	}
	if len(doc.Content) == 0 {
		return nil, nil
	}
	top := doc.Content[0]
	if top.Kind != yaml.MappingNode {
		return nil, wrong("--config: %s:%d: want settings by name, such as data-dir: /var/lib/phasewright", file, top.Line)
	}
	var out []entry
	var bad []error
	seen := map[string]int{}
	for i := 0; i+1 < len(top.Content); i += 2 {
		key, value := top.Content[i], top.Content[i+1]
		at := fmt.Sprintf("%s:%d: %s", file, key.Line, key.Value)
		f := known.Lookup(key.Value)
		switch {
		case f == nil || key.Value == configFlag:
			bad = append(bad, wrong("%s is no setting%s", at, instead(key.Value, known, strings.ToLower)))
			continue
		case seen[key.Value] > 0:
			bad = append(bad, wrong("%s stands in line %d already", at, seen[key.Value]))
			continue
		}
		seen[key.Value] = key.Line
		values, err := scalars(value, repeats(f))
		if err != nil {
			bad = append(bad, wrong("%s: %s", at, err))
			continue
		}
		out = append(out, entry{key.Value, values, key.Line})
	}
	return out, allWrong(bad)
}

// scalars gives the values of a node: one, or some where the setting may be repeated.
func scalars(n *yaml.Node, many bool) ([]string, error) {
	if n.Kind == yaml.ScalarNode && n.Tag != "!!null" {
		return []string{n.Value}, nil
	}
	if n.Kind != yaml.SequenceNode || !many {
		if many {
			return nil, errors.New("want a value, or a list of values")
		}
		return nil, errors.New("want one value")
	}
	var out []string
	for _, c := range n.Content {
		if c.Kind != yaml.ScalarNode || c.Tag == "!!null" {
			return nil, errors.New("want a list of values")
		}
		out = append(out, c.Value)
	}
	return out, nil
}

// instead proposes a setting, where one is near, for a name that is none, as it is
// spelled there.
func instead(name string, known *pflag.FlagSet, spell func(string) string) string {
	var all []string
	known.VisitAll(func(f *pflag.Flag) { all = append(all, f.Name) })
	if near := nearest(token(name), all); near != "" {
		return "; did you mean " + spell(near) + "?"
	}
	return "; serve --help lists them"
}

// strays names variables that look like settings and are none: most likely misspelt,
// and without effect.
func strays() []string {
	known := serveFlags()
	var out []string
	for _, pair := range os.Environ() {
		name, _, _ := strings.Cut(pair, "=")
		rest, ok := strings.CutPrefix(name, envPrefix)
		if !ok || slices.Contains(secrets, name) {
			continue
		}
		flag := strings.ToLower(strings.ReplaceAll(rest, "_", "-"))
		if known.Lookup(flag) == nil {
			out = append(out, name+" is no setting"+instead(flag, known, envOf))
		}
	}
	slices.Sort(out)
	return out
}

// serveFlags are all settings there are.
func serveFlags() *pflag.FlagSet {
	var cmd cobra.Command
	new(program).settings(&cmd)
	return cmd.Flags()
}

func (p *program) config() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "config",
		Short: "Show the server's settings and where each comes from",
		Long: `Show every setting that serve would run with, and where it comes from: the command line, the
environment (--data-dir is ` + envOf("data-dir") + `), the file of --config, or the default, in this order.
The file is YAML by the flags' names; what is no setting is refused. Secrets come by file or environment
only and are not shown. The settings are checked as serve checks them.`,
		Example: `  phasewright config
  phasewright config --config /etc/phasewright.yaml --json`,
		Args: cobra.NoArgs,
	}
	s := p.settings(cmd)
	asJSON := cmd.Flags().Bool("json", false, "as JSON")
	cmd.RunE = p.do(func(cmd *cobra.Command, _ []string) error {
		list := listed(cmd, p.from)
		if *asJSON {
			text, err := json.MarshalIndent(list, "", "  ")
			if err != nil {
				return err
			}
			fmt.Fprintf(p.out, "%s\n", text)
		} else {
			w := tabwriter.NewWriter(p.out, 0, 0, 2, ' ', 0)
			for _, l := range list {
				fmt.Fprintf(w, "%s\t%s\t%s\n", l.Name, l.Value, l.From)
			}
			if err := w.Flush(); err != nil {
				return err
			}
		}
		for _, l := range strays() {
			fmt.Fprintln(p.err, l)
		}
		c, err := s.read()
		if err != nil {
			return err
		}
		if err := c.Check(); err != nil {
			return wrong("%s", err)
		}
		return nil
	})
	return cmd
}

// listed gives what a command was given, by name.
func listed(cmd *cobra.Command, from origins) []setting {
	var out []setting
	all := serveFlags()
	cmd.Flags().VisitAll(func(f *pflag.Flag) {
		if f.Name != configFlag && all.Lookup(f.Name) == nil {
			return
		}
		origin := from[f.Name]
		if origin == "" {
			origin = "default"
		}
		value := f.Value.String()
		if value == "" {
			value = "-"
		}
		out = append(out, setting{f.Name, value, origin})
	})
	for _, name := range []string{envDatabase, envOwner} {
		if os.Getenv(name) != "" {
			flag := strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(name, envPrefix), "_", "-"))
			out = append(out, setting{flag, "(set, not shown)", "environment " + name})
		}
	}
	return out
}
