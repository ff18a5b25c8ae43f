package rows

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"sort"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/internal/service"
)

var rewrite = flag.Bool("rewrite", false, "add new fields to testdata")

// fill sets every field of a value to something, lists to one entry.
func fill(v reflect.Value, n *int) {
	*n++
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				fill(v.Field(i), n)
			}
		}
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 1, 1))
		fill(v.Index(0), n)
	case reflect.Array:
		for i := range v.Len() {
			fill(v.Index(i), n)
		}
	case reflect.String:
		v.SetString(fmt.Sprintf("text %d", *n))
	case reflect.Bool:
		v.SetBool(true)
	case reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64, reflect.Int:
		v.SetInt(int64(*n%100 + 1))
	case reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		v.SetUint(uint64(*n%100 + 1))
	default:
		panic(v.Kind().String() + " has no place in a document")
	}
	if id, ok := v.Addr().Interface().(*service.ID); ok {
		id[6], id[8] = 0x70, 0x80
	}
}

// leaves gives every path of a JSON value with what is there.
func leaves(path string, v any, out map[string]any) {
	switch v := v.(type) {
	case map[string]any:
		for k, x := range v {
			leaves(path+"."+k, x, out)
		}
	case []any:
		for i, x := range v {
			leaves(fmt.Sprintf("%s[%d]", path, i), x, out)
		}
	default:
		out[path] = v
	}
}

func leavesOf(t *testing.T, b []byte) map[string]any {
	var v any
	require.NoError(t, json.Unmarshal(b, &v))
	out := map[string]any{}
	leaves("", v, out)
	return out
}

// What was ever stored stays readable: no field of a pinned document is lost or renamed.
// A new field is added to the pins with -rewrite.
func TestDocumentsStayReadable(t *testing.T) {
	for _, v := range []any{
		&service.Athlete{}, &service.Performance{}, &service.SessionLog{}, &service.Measurement{}, &service.OwnExercise{},
		&service.SavedPlan{}, &service.Program{}, &service.Key{}, &service.Revision{}, &service.Job{}, &service.Trial{}, &service.Participant{},
	} {
		name := reflect.TypeOf(v).Elem().Name()
		n := 0
		fill(reflect.ValueOf(v).Elem(), &n)
		now, err := encode(v, formatJSON)
		require.NoError(t, err)
		path := filepath.Join("testdata", name+".json")
		pin, err := os.ReadFile(path)
		if *rewrite && os.IsNotExist(err) {
			require.NoError(t, os.WriteFile(path, append(now, '\n'), 0o644))
			continue
		}
		require.NoError(t, err)
		read := reflect.New(reflect.TypeOf(v).Elem())
		require.NoError(t, decode(formatJSON, pin, read.Interface()), name)
		again, err := encode(read.Interface(), formatJSON)
		require.NoError(t, err)
		was, is := leavesOf(t, pin), leavesOf(t, again)
		for p, x := range was {
			require.Equal(t, x, is[p], "%s%s is lost: documents that have it would be misread. Keep the name, or read the old one in decode", name, p)
		}
		var fresh []string
		for p := range leavesOf(t, now) {
			if _, ok := was[p]; !ok {
				fresh = append(fresh, p)
			}
		}
		sort.Strings(fresh)
		if *rewrite && len(fresh) > 0 {
			require.NoError(t, os.WriteFile(path, append(now, '\n'), 0o644))
			continue
		}
		require.Empty(t, fresh, "%s has new fields: run with -rewrite", name)
	}
}

func TestPacked(t *testing.T) {
	var r, got service.Revision
	n := 0
	fill(reflect.ValueOf(&r).Elem(), &n)
	r.Facts = service.Facts{}
	b, err := encode(&r, formatPacked)
	require.NoError(t, err)
	plain, err := encode(&r, formatJSON)
	require.NoError(t, err)
	require.Less(t, len(b), len(plain)/2)
	require.NoError(t, decode(formatPacked, b, &got))
	require.Equal(t, r, got)

	damaged := bytes.Clone(b)
	damaged[len(damaged)/2] ^= 0x10
	bomb, _ := packing()
	for what, err := range map[string]error{
		"newer format":   decode(3, b, &got),
		"damaged":        decode(formatPacked, damaged, &got),
		"not packed":     decode(formatPacked, plain, &got),
		"no JSON":        decode(formatJSON, b, &got),
		"far too large":  decode(formatPacked, bomb.EncodeAll(make([]byte, maxDocument+1), nil), &got),
		"another number": decode(0, plain, &got),
	} {
		f, ok := fault.As(err)
		require.True(t, ok, what)
		require.Equal(t, fault.Internal, f.Kind, what)
	}
}

func TestMigrationsAreNumbered(t *testing.T) {
	read := func(names ...string) ([]Migration, error) {
		folder := fstest.MapFS{}
		for _, n := range names {
			folder["m/"+n] = &fstest.MapFile{Data: []byte("-- why\nCREATE a;\n\nCREATE b;\n\n\n")}
		}
		return Migrations(folder, "m")
	}
	got, err := read("0001_begin.sql", "0002_more.sql")
	require.NoError(t, err)
	require.Equal(t, []string{"-- why\nCREATE a;", "CREATE b;"}, got[1].Statements)
	require.Equal(t, "more", got[1].Name)
	for _, bad := range [][]string{{"0002_a.sql"}, {"0001_a.sql", "0003_b.sql"}, {"1_a.sql"}, {"x.sql"}, {"0001_a.sql", "0001_b.sql"}} {
		_, err := read(bad...)
		require.Error(t, err, bad)
	}
	todo, err := Pending(got, []Applied{{1, got[0].Digest}})
	require.NoError(t, err)
	require.Equal(t, got[1:], todo)
}
