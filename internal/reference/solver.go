package reference

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/phasewright/phasewright/engine/schedule"
)

// Solver is an installed solver of others.
type Solver struct {
	Name string
	path string
	args func(in, out string, limit time.Duration) []string
	read func(log, out string) (answer, error)
}

// Packages are the solvers that are known, and the Debian packages that they come from.
var Packages = map[string]string{"cbc": "coinor-cbc", "glpsol": "glpk-utils"}

// Find gives an installed solver by name; the error says what to install.
func Find(name string) (*Solver, error) {
	path, err := exec.LookPath(name)
	if err != nil {
		return nil, fmt.Errorf("%s is not installed (Debian package %s)", name, Packages[name])
	}
	switch name {
	case "cbc":
		return &Solver{Name: name, path: path, args: cbcArgs, read: readCBC}, nil
	case "glpsol":
		return &Solver{Name: name, path: path, args: glpsolArgs, read: readGLPSOL}, nil
	}
	return nil, fmt.Errorf("%s: no such solver is known", name)
}

// StartUp is about what a solver takes to start and to read a model, which is left out where
// times are compared.
const StartUp = 20 * time.Millisecond

// Verdict is what a solver claims of a program.
type Verdict string

// Verdicts.
const (
	Optimal    Verdict = "optimal"
	Best       Verdict = "best"    // the time ended with an answer
	Nothing    Verdict = "nothing" // the time ended without one
	Infeasible Verdict = "infeasible"
)

// answer is what is read from a solver's files.
type answer struct {
	verdict Verdict
	values  map[string]float64
	cost    float64 // of the level, without what is always added
	bound   float64 // NaN: none
}

// Level is a solver's answer to one level, checked and valued in integers.
type Level struct {
	Verdict Verdict
	Value   int64 // of the sets that it gave
	Bound   int64 // lowest that it leaves possible; Value where optimal
	Time    time.Duration
	Sets    [][]int32
	// Objective is what the solver itself made of the level; it and Value differ only by
	// its tolerances, or the program is not the model's.
	Objective float64
}

// ErrWrong is a solver's answer that breaks a limit when read in integers.
var ErrWrong = errors.New("the answer breaks a limit of the model")

// Solve has one level solved with the levels before it held at held, in a directory for
// its files. An answer that does not keep the limits is ErrWrong.
func (v *Solver) Solve(ctx context.Context, dir string, m *schedule.Model, prior *schedule.Assignment, level int, held []int64, limit time.Duration) (Level, error) {
	return v.solve(ctx, dir, newProgram(m, prior), level, held, limit)
}

// Confirm has it judge a level of sets that are given: Infeasible where they break a limit
// or are above held. Solvers make mistakes (cuts that cut off answers), and this refutes
// one that claims that nothing is as good.
func (v *Solver) Confirm(ctx context.Context, dir string, m *schedule.Model, prior *schedule.Assignment, sets [][]int32, level int, held []int64, limit time.Duration) (Level, error) {
	p := newProgram(m, prior)
	p.fix(sets)
	return v.solve(ctx, dir, p, level, held, limit)
}

func (v *Solver) solve(ctx context.Context, dir string, p *program, level int, held []int64, limit time.Duration) (Level, error) {
	m, prior := p.m, p.prior
	in, out := filepath.Join(dir, v.Name+".lp"), filepath.Join(dir, v.Name+".out")
	f, err := os.Create(in)
	if err != nil {
		return Level{}, err
	}
	if err := errors.Join(p.write(f, level, held), f.Close()); err != nil {
		return Level{}, err
	}
	_ = os.Remove(out)
	ctx, stop := context.WithTimeout(ctx, 2*limit+30*time.Second)
	defer stop()
	begin := time.Now()
	log, err := exec.CommandContext(ctx, v.path, v.args(in, out, limit)...).CombinedOutput()
	took := time.Since(begin)
	if err != nil {
		return Level{}, fmt.Errorf("%s: %w: %s", v.Name, err, tail(log))
	}
	a, err := v.read(string(log), out)
	if err != nil {
		return Level{}, fmt.Errorf("%s: %w: %s", v.Name, err, tail(log))
	}
	r := Level{Verdict: a.verdict, Time: took}
	if a.verdict == Infeasible || a.verdict == Nothing {
		r.Bound = ceil(a.bound, p.fixed[level])
		return r, nil
	}
	r.Sets = setsOf(m, a.values)
	levels, allowed, err := m.Value(r.Sets, prior)
	if err != nil {
		return r, fmt.Errorf("%w: %w", ErrWrong, err)
	}
	r.Value, r.Objective = levels[level], a.cost+float64(p.fixed[level])
	for l := range level {
		allowed = allowed && levels[l] <= held[l]
	}
	if !allowed {
		return r, ErrWrong
	}
	if r.Bound = r.Value; a.verdict == Best {
		r.Bound = min(ceil(a.bound, p.fixed[level]), r.Value)
	}
	return r, nil
}

// ceil rounds a bound up to an integer, with a little room for the solver's tolerance.
func ceil(bound float64, fixed int64) int64 {
	if math.IsNaN(bound) || math.IsInf(bound, 0) {
		return math.MinInt64
	}
	return fixed + int64(math.Ceil(bound-1e-4*max(1, math.Abs(bound)/100)))
}

func setsOf(m *schedule.Model, values map[string]float64) [][]int32 {
	out := make([][]int32, len(m.Candidates))
	for c := range out {
		out[c] = make([]int32, len(m.Days))
		for d := range out[c] {
			out[c][d] = int32(math.Round(values[s(c, d)]))
		}
	}
	return out
}

func tail(log []byte) string {
	if len(log) > 600 {
		log = log[len(log)-600:]
	}
	return string(log)
}

func cbcArgs(in, out string, limit time.Duration) []string {
	return []string{in, "-seconds", strconv.FormatFloat(limit.Seconds(), 'f', 1, 64), "-ratioGap", "0", "-allowableGap", "0", "-timeMode", "elapsed",
		"-solve", "-solution", out}
}

func readCBC(log, out string) (answer, error) {
	f, err := os.Open(out)
	if err != nil {
		return answer{}, err
	}
	defer f.Close()
	a := answer{values: map[string]float64{}, bound: math.NaN()}
	lines := bufio.NewScanner(f)
	if !lines.Scan() {
		return a, errors.New("empty solution file")
	}
	head := lines.Text()
	if _, text, ok := strings.Cut(head, "objective value"); ok {
		if a.cost, err = strconv.ParseFloat(strings.TrimSpace(text), 64); err != nil {
			return a, err
		}
	}
	switch {
	case strings.HasPrefix(head, "Optimal"):
		a.verdict = Optimal
	case strings.HasPrefix(head, "Infeasible"), strings.HasPrefix(head, "Integer infeasible"):
		a.verdict = Infeasible
		return a, nil
	case strings.HasPrefix(head, "Stopped"):
		a.verdict = Best
		if strings.Contains(head, "no integer solution") || strings.Contains(log, "No feasible solution found") {
			a.verdict = Nothing
		}
	default:
		return a, fmt.Errorf("unknown status %q", head)
	}
	for lines.Scan() {
		f := strings.Fields(strings.TrimPrefix(lines.Text(), "**"))
		if len(f) < 3 {
			continue
		}
		if a.values[f[1]], err = strconv.ParseFloat(f[2], 64); err != nil {
			return a, err
		}
	}
	if _, rest, ok := strings.Cut(log, "Lower bound:"); ok {
		if f := strings.Fields(rest); len(f) > 0 {
			if a.bound, err = strconv.ParseFloat(f[0], 64); err != nil {
				return a, err
			}
		}
	}
	return a, lines.Err()
}

func glpsolArgs(in, out string, limit time.Duration) []string {
	return []string{"--lp", in, "--tmlim", strconv.Itoa(int(math.Ceil(limit.Seconds()))), "--mipgap", "0", "--cuts", "-w", out}
}

// readGLPSOL reads the format of glp_write_mip: "s mip ROWS COLUMNS STATUS VALUE", then
// "j COLUMN VALUE". Columns have no names there; they are in the order in which the
// program first mentions them.
func readGLPSOL(log, out string) (answer, error) {
	names, err := mentioned(strings.TrimSuffix(out, ".out") + ".lp")
	if err != nil {
		return answer{}, err
	}
	data, err := os.ReadFile(out)
	if err != nil {
		return answer{}, err
	}
	a := answer{values: map[string]float64{}, bound: math.NaN()}
	if strings.Contains(log, "HAS NO PRIMAL FEASIBLE SOLUTION") || strings.Contains(log, "HAS NO INTEGER FEASIBLE SOLUTION") {
		a.verdict = Infeasible
		return a, nil
	}
	for line := range strings.Lines(string(data)) {
		f := strings.Fields(line)
		switch {
		case len(f) >= 6 && f[0] == "s" && f[1] == "mip":
			if a.cost, err = strconv.ParseFloat(f[5], 64); err != nil {
				return a, err
			}
			switch f[4] {
			case "o":
				a.verdict = Optimal
			case "f":
				a.verdict = Best
			case "n":
				a.verdict = Infeasible
			default:
				a.verdict = Nothing
			}
		case len(f) == 3 && f[0] == "j":
			j, err := strconv.Atoi(f[1])
			if err != nil || j < 1 || j > len(names) {
				return a, fmt.Errorf("column %q of %d", f[1], len(names))
			}
			if a.values[names[j-1]], err = strconv.ParseFloat(f[2], 64); err != nil {
				return a, err
			}
		}
	}
	if a.verdict == "" {
		return a, errors.New("no status line")
	}
	return a, nil
}

// mentioned lists the variables of an LP file in order of first mention.
func mentioned(file string) ([]string, error) {
	data, err := os.ReadFile(file)
	if err != nil {
		return nil, err
	}
	seen := map[string]bool{}
	var out []string
	for _, w := range strings.Fields(string(data)) {
		if w == "Bounds" {
			break
		}
		if c := w[0]; c >= 'a' && c <= 'z' && !strings.HasSuffix(w, ":") && !seen[w] {
			seen[w] = true
			out = append(out, w)
		}
	}
	return out, nil
}
