package main

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// A coach runs a trial of six invented athletes, far too small, from its protocol to its
// report. The page is what the terminal showed.
func TestStoryOfTrial(t *testing.T) {
	s := &teller{t: t, dir: filepath.Join(t.TempDir(), "data"), ids: rand.NewChaCha8([32]byte{9})}
	s.day("2026-12-20")
	s.tells(`trial create -f testdata/trial/protocol.yaml`, exitOK)
	s.tells(`trial freeze strength`, exitOK)
	names := strings.Fields("Ada Ben Cleo Dov Edda Finn")
	gains := []float64{1.1, 2.2, 1.6, 2.0, 1.3, 2.4}
	for i, n := range names {
		s.tells(fmt.Sprintf(`athlete add --name "%s Invented" --id %s --age-band adult --training-months %d`, n, strings.ToLower(n), 30-i), exitOK)
	}
	s.tells(`athlete add --name "Gil Invented" --id gil --age-band adult --training-months 6`, exitOK)
	s.tells(`trial join strength gil --consent -f testdata/trial/days.yaml`, exitOK)
	s.tells(`trial join strength ada -f testdata/trial/days.yaml`, exitRefused)
	for i, n := range names {
		n = strings.ToLower(n)
		s.tells(`trial join strength `+n+` --consent -f testdata/trial/days.yaml`, exitOK)
		if i == 0 {
			s.tells(`trial enrol strength ada --covariates 24500`, exitInfeasible)
			s.cut = 16
			s.tells(`trial lead-in strength ada`, exitOK)
			s.cut = 0
		}
		s.tells(fmt.Sprintf(`trial measure strength %s --at baseline --value %d.5 --by "an assessor" --blind`, n, 24+i), exitOK)
		s.tells(`trial check strength `+n, exitOK)
		s.tells(fmt.Sprintf(`trial enrol strength %s --covariates %d500`, n, 24+i), exitOK)
	}
	s.tells(`trial assign strength`, exitOK)
	s.tells(`trial close strength`, exitOK)
	s.day("2027-01-24")
	s.tells(`trial assign strength`, exitOK)
	s.cut = 16
	s.tells(`trial program strength ben`, exitOK)
	s.cut = 0
	s.tells(`trial adherence strength ada --percent 95 --kept`, exitOK)
	s.tells(`trial incident strength cleo --text "sore knee"`, exitOK)
	s.tells(`trial harm strength`, exitOK)
	s.tells(`trial look strength`, exitInfeasible)
	s.day("2027-03-26")
	for i, n := range names {
		s.tells(fmt.Sprintf(`trial measure strength %s --at end --value %.1f --blind`, strings.ToLower(n), 24.5+float64(i)+gains[i]), exitOK)
	}
	s.tells(`trial end strength`, exitOK)
	s.tells(`trial reveal strength`, exitOK)
	s.tells(`trial list`, exitOK)
	events := s.types(`trial events strength`)
	require.Equal(t, exitOK, events.code, events.err)
	file := filepath.Join(t.TempDir(), "events.jsonl")
	require.NoError(t, os.WriteFile(file, []byte(events.out), 0o600))
	for _, line := range []string{`trial verify `, `trial report `} {
		r := run(t, "", append(words(line), file)...)
		require.Equal(t, exitOK, r.code, r.err)
		fmt.Fprintf(&s.page, "%s $ phasewright %sevents.jsonl\n%s%s\n", s.now.Format("2006-01-02"), line, r.err, r.out)
	}
	golden(t, "testdata/trial/story.txt", s.page.String())
}
