package main

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

var rewrite = flag.Bool("rewrite", false, "write the golden files anew")

// teller types commands and keeps what the terminal showed.
type teller struct {
	t    *testing.T
	dir  string
	now  time.Time
	ids  *rand.ChaCha8
	page bytes.Buffer
	cut  int // most lines of an answer; 0: all
}

// day says what day it is.
func (s *teller) day(date string) {
	d, err := time.Parse(time.DateOnly, date)
	require.NoError(s.t, err)
	s.now = d.Add(18 * time.Hour)
}

func (s *teller) types(line string) result {
	s.t.Helper()
	var out, errs bytes.Buffer
	p := program{in: strings.NewReader(""), out: &out, err: &errs, newMaker: newMaker, now: func() time.Time { return s.now }, random: s.ids}
	args := words(line)
	code := p.run(context.Background(), append(args, "--data-dir", s.dir))
	return result{code, out.String(), errs.String()}
}

// tells types a command that succeeds, or fails where it ends with a code.
func (s *teller) tells(line string, code int) {
	s.t.Helper()
	r := s.types(line)
	require.Equal(s.t, code, r.code, "%s\n%s", line, r.err)
	fmt.Fprintf(&s.page, "%s $ phasewright %s\n", s.now.Format(time.DateOnly), line)
	shown := r.err + r.out
	if lines := strings.SplitAfter(shown, "\n"); s.cut > 0 && len(lines) > s.cut {
		shown = strings.Join(lines[:s.cut], "") + "[…]\n"
	}
	s.page.WriteString(shown + "\n")
}

// words splits as a shell does, with double quotes.
func words(line string) (out []string) {
	for i, part := range strings.Split(line, `"`) {
		if i%2 == 1 {
			out = append(out, part)
			continue
		}
		out = append(out, strings.Fields(part)...)
	}
	return out
}

// A coach keeps an athlete: two weeks logged, one session missed, an exercise swapped, the
// program revised with what was lifted. The page is what the terminal showed.
func TestStory(t *testing.T) {
	s := &teller{t: t, dir: filepath.Join(t.TempDir(), "data"), ids: rand.NewChaCha8([32]byte{7})}
	s.day("2026-12-28")
	s.tells(`athlete add -f testdata/story/athlete.yaml`, exitOK)
	s.cut = 24
	s.tells(`program new kim -f testdata/story/program.yaml --name "Winter block"`, exitOK)
	s.cut = 0
	s.tells(`program next kim`, exitOK)
	s.day("2027-01-04")
	for _, l := range storyLogs() {
		s.day(l[0])
		s.tells(l[1], exitOK)
	}
	s.day("2027-01-17")
	s.tells(`log kim`, exitOK)
	s.tells(`program revise kim --from 2027-01-11`, exitInvalid)
	s.tells(`program revise kim --swap `+storySwap+` --reason "two weeks logged; the lying leg curl is broken"`, exitOK)
	s.tells(`program revisions kim`, exitOK)
	s.tells(`program next kim`, exitOK)
	again := s.types(`program diff kim`)
	require.Equal(t, exitOK, again.code, again.err)
	require.Contains(t, s.page.String(), again.out, "revise told what diff tells")
	golden(t, "testdata/story/terminal.txt", s.page.String())
}

// golden compares with what is on record in a file.
func golden(t *testing.T, file, got string) {
	t.Helper()
	if *rewrite {
		require.NoError(t, os.WriteFile(file, []byte(got), 0o644))
	}
	want, err := os.ReadFile(file)
	require.NoError(t, err)
	require.Equal(t, string(want), got)
}

// storySwap is what the coach changes: a machine is out of order.
const storySwap = "lying-leg-curl=seated-leg-curl"

// storyLogs are days and commands of two weeks.
func storyLogs() [][2]string {
	return [][2]string{
		{"2027-01-04", `log kim squat 75kgx6,6,6,6,5@3 bench 45kgx6,6,6,5@3 row 35kgx12,12@3 overhead 25kgx10,9@3 leg-curl 25kgx12,10@3`},
		{"2027-01-07", `log kim squat 77.5kgx6,6,6,6@3 bench 45kgx6,6,6@3 row 37.5kgx12,12,11@3 leg-curl 22.5kgx14,12,11@3 --note "no time for the ab wheel"`},
		{"2027-01-11", `log kim squat 80kgx6@3,6@2,6@2,5@2,5@1 bench 47.5kgx6,5,5,5@2 row 40kgx12,11@2 overhead 25kgx11,10@2 leg-curl 25kgx13,12@2`},
		{"2027-01-14", `log kim --missed --note "worked late"`},
	}
}
