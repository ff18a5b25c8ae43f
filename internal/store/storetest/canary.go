package storetest

import (
	"bytes"
	"context"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/internal/service"
)

// Found says which of some texts are in which files below a directory.
func Found(t *testing.T, dir string, texts []string) []string {
	t.Helper()
	var out []string
	require.NoError(t, filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() {
			return err
		}
		b, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		for _, s := range texts {
			if bytes.Contains(b, []byte(s)) {
				out = append(out, fmt.Sprintf("%q in %s", s, path))
			}
		}
		return nil
	}))
	return out
}

// Canaries stores athletes among others, with texts that occur nowhere else, changes
// and erases them, scrubs, and looks for the texts in the files of dir. settle is called
// before looking, for what a database does in its own time. Texts can't be seen in the
// packed documents of revisions: docs gives these as they are stored, and pieces of them
// are looked for.
func Canaries(t *testing.T, open Factory, dir func() string, settle func(), docs func(athlete service.ID) [][]byte) {
	ctx := context.Background()
	clock := NewClock()
	s := open(t, clock.Now)
	var canaries []string
	mark := func() string {
		c := fmt.Sprintf("zq%04dnightingale%04dqz", len(canaries), 7919*len(canaries)%10000)
		canaries = append(canaries, c)
		return c
	}
	n := 0
	other := func() string { n++; return fmt.Sprintf("other-%d", n) }
	var erase []service.ID
	for i := range uint64(12) {
		_, err := Fill(ctx, s, "t", clock, 100+i, other)
		require.NoError(t, err)
		if i%4 != 0 {
			continue
		}
		f, err := Fill(ctx, s, "t", clock, 200+i, mark)
		require.NoError(t, err)
		erase = append(erase, f.Athlete.ID)
		// Older states of a row are states of the athlete too.
		a := f.Athlete
		for range 5 {
			require.NoError(t, s.Update(ctx, "t", func(tx service.Tx) error {
				x := a
				x.Profile.Name, x.Profile.CallerID = mark(), mark()
				_, err := tx.Athletes().Update(x)
				return err
			}))
			a.Version++
		}
	}
	require.Greater(t, len(canaries), 30)
	var pieces []string
	for _, id := range erase {
		for _, doc := range docs(id) {
			pieces = append(pieces, string(doc[len(doc)/2:len(doc)/2+24]))
		}
	}
	require.Len(t, pieces, 2*len(erase))
	require.NoError(t, s.Scrub(ctx))
	if settle != nil {
		settle()
	}
	require.NotEmpty(t, Found(t, dir(), canaries), "the search finds what is there")
	require.NotEmpty(t, Found(t, dir(), pieces), "the search finds what is there")
	for _, id := range erase {
		require.NoError(t, s.Update(ctx, "t", func(tx service.Tx) error { _, err := tx.Erase(id, "asked for"); return err }))
	}
	require.NoError(t, s.Scrub(ctx))
	if settle != nil {
		settle()
	}
	require.Empty(t, Found(t, dir(), canaries))
	require.Empty(t, Found(t, dir(), pieces))
	t.Logf("%d canaries and %d pieces of packed documents, none left", len(canaries), len(pieces))
}
