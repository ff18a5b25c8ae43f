//go:build unix

package sqlite

import (
	"bufio"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/trial/assign"
	"github.com/phasewright/phasewright/engine/trial/conduct"
	"github.com/phasewright/phasewright/internal/service"
)

// able finds a program under every arm.
type able struct{ service.Engine }

func (able) Catalogue() *exercise.Catalogue { return exercise.Builtin() }

func (able) Arms(context.Context, plan.Request, []plan.Arm, plan.Equating) (plan.Comparison, error) {
	return plan.Comparison{}, nil
}

func trialService(s service.Store) (*service.Service, context.Context) {
	return service.New(able{}, service.WithStorage(service.Storage{Store: s, Key: [32]byte{3}})),
		service.WithCaller(context.Background(), service.Caller{Tenant: "t"})
}

// oneByOne is a trial in which arms are drawn as athletes come.
func oneByOne() conduct.Protocol {
	return conduct.Protocol{
		Title: "invented", Question: "Which?", UnitOf: "athlete", Rule: plan.EquateHardSets, Weeks: 8,
		Arms:     []conduct.Arm{{ID: "a", Name: "a", Ratio: 1}, {ID: "b", Name: "b", Ratio: 1}},
		Outcomes: []conduct.Outcome{{ID: "squat", Name: "squat", Unit: "kg", Method: "a test", Smallest: 2500}},
		Tests:    conduct.Tests{FromHours: 48, ToHours: 96},
		Scheme:   conduct.Scheme{Kind: assign.Complete},
		Analysis: conduct.Analysis{LevelPermille: 950, Draws: 99},
	}
}

// trialOf gives the only trial of a store, and begins it where there is none.
func trialOf(ctx context.Context, store service.Store, s *service.Service) (id service.ID, err error) {
	err = store.View(ctx, "t", func(tx service.Tx) error {
		page, err := tx.Trials().List(service.Query{Size: 1})
		if err == nil && len(page.Items) > 0 {
			id = page.Items[0].ID
		}
		return err
	})
	if err != nil || id != (service.ID{}) {
		return id, err
	}
	made, err := s.CreateTrial(ctx, service.Write{}, oneByOne())
	if err != nil {
		return id, err
	}
	_, err = s.FreezeTrial(ctx, service.Write{}, made.Head.ID)
	return made.Head.ID, err
}

// enrolling takes one athlete after the other into a trial and prints what was
// acknowledged, until it is killed.
func enrolling(dir string) error {
	store, err := Open(context.Background(), Config{Dir: dir, Now: func() service.Instant { return service.At(time.Now()) }})
	if err != nil {
		return err
	}
	s, ctx := trialService(store)
	id, err := trialOf(ctx, store, s)
	if err != nil {
		return err
	}
	fmt.Println("ready")
	for {
		who, err := enrolOne(ctx, s, id)
		if err != nil {
			return err
		}
		fmt.Println("enrolled", who)
		arms, err := s.AssignTrial(ctx, service.Write{}, id)
		if err != nil {
			return err
		}
		for _, a := range arms {
			fmt.Println("assigned", a.Unit, a.Arm)
		}
	}
}

func enrolOne(ctx context.Context, s *service.Service, trial service.ID) (string, error) {
	a, err := s.Athletes().Create(ctx, service.Write{}, service.Athlete{})
	if err != nil {
		return "", err
	}
	j, err := s.JoinTrial(ctx, service.Write{}, service.Joining{Trial: trial, Athlete: a.ID, Consent: true})
	if err != nil {
		return "", err
	}
	who, value := j.Participant.String(), int64(100_000)
	baseline := conduct.Body{Measured: &conduct.Measured{Participant: who, Outcome: "squat", When: conduct.Baseline}}
	if _, err := s.RecordTrial(ctx, service.Write{}, trial, baseline, &conduct.Private{Value: &value}); err != nil {
		return "", err
	}
	if _, err := s.CheckParticipant(ctx, service.Write{}, trial, j.Participant); err != nil {
		return "", err
	}
	_, err = s.RecordTrial(ctx, service.Write{}, trial, conduct.Body{Enrolled: &conduct.Enrolled{Unit: who}}, nil)
	return who, err
}

// Killed at any moment of enrolment and assignment, a trial has nobody assigned twice, no
// arm without its event, and all that was acknowledged; and in the end every arm can be
// drawn again.
func TestKilledTrial(t *testing.T) {
	dir := fresh(t)
	enrolled, arms := map[string]bool{}, map[string]string{}
	const lives = 12
	for range lives {
		killDuringTrial(t, dir, enrolled, arms)
		checkTrial(t, dir, enrolled, arms, false)
	}
	require.NotEmpty(t, arms)
	checkTrial(t, dir, enrolled, arms, true)
	t.Logf("%d kills, %d enrolled, %d assigned as acknowledged", lives, len(enrolled), len(arms))
}

func killDuringTrial(t *testing.T, dir string, enrolled map[string]bool, arms map[string]string) {
	c := exec.Command(os.Args[0])
	c.Env = append(os.Environ(), "PHASEWRIGHT_CHILD=trial", "PHASEWRIGHT_DIR="+dir)
	out, err := c.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, c.Start())
	lines := bufio.NewScanner(out)
	more, after := 1+rand.IntN(12), time.Duration(rand.IntN(50_000))*time.Microsecond
	for lines.Scan() {
		switch words := strings.Fields(lines.Text()); words[0] {
		case "enrolled":
			enrolled[words[1]] = true
		case "assigned":
			arms[words[1]] = words[2]
		case "ready":
		default:
			t.Fatal(lines.Text())
		}
		if more--; more == 0 {
			time.AfterFunc(after, func() { _ = c.Process.Signal(syscall.SIGKILL) })
		}
	}
	require.Error(t, c.Wait(), "it was killed")
}

// checkTrial opens what a killed process left. With end the trial is ended, and its arms
// are drawn again from the key.
func checkTrial(t *testing.T, dir string, enrolled map[string]bool, arms map[string]string, end bool) {
	store, err := Open(context.Background(), Config{Dir: dir, Now: func() service.Instant { return service.At(time.Now()) }})
	require.NoError(t, err)
	defer func() { require.NoError(t, store.Close()) }()
	s, ctx := trialService(store)
	id, err := trialOf(ctx, store, s)
	require.NoError(t, err)
	if end {
		_, err := s.AssignTrial(ctx, service.Write{}, id)
		require.NoError(t, err)
		_, err = s.RecordTrial(ctx, service.Write{}, id, conduct.Body{Ended: &conduct.Ended{}}, nil)
		require.NoError(t, err)
		_, err = s.RevealTrial(ctx, service.Write{}, id)
		require.NoError(t, err)
	}
	events, err := s.TrialEvents(ctx, id)
	require.NoError(t, err)
	in, told := map[string]bool{}, map[string]string{}
	for _, e := range events {
		if u := e.Body.Enrolled; u != nil {
			in[u.Unit] = true
		}
		if a := e.Body.Assigned; a != nil {
			require.NotContains(t, told, a.Assignment.Unit, "assigned twice")
			told[a.Assignment.Unit] = fmt.Sprint(a.Assignment.Arm)
		}
	}
	for who := range enrolled {
		require.Contains(t, in, who)
	}
	for who, arm := range arms {
		require.Equal(t, arm, told[who], "%s", who)
	}
	v, err := s.VerifyTrial(ctx, id)
	require.NoError(t, err)
	require.Equal(t, end, v.Replayed)
	if end {
		require.Len(t, told, len(in), "whoever is enrolled has an arm")
		require.Equal(t, len(told), v.Arms)
	}
}
