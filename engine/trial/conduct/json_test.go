package conduct

import (
	"reflect"
	"regexp"
	"strings"
	"testing"
)

// Chains are kept as JSON and hashed: every name in one is written down with its field, so
// that renaming a field in Go changes no file and breaks no hash.
func TestNamesInChainsAreWrittenDown(t *testing.T) {
	named := regexp.MustCompile(`^[a-z][a-z0-9]*(_[a-z0-9]+)*$`)
	seen := map[reflect.Type]bool{}
	var walk func(x reflect.Type)
	walk = func(x reflect.Type) {
		switch x.Kind() {
		case reflect.Pointer, reflect.Slice, reflect.Array, reflect.Map:
			walk(x.Elem())
			return
		case reflect.Struct:
		default:
			return
		}
		if seen[x] {
			return
		}
		seen[x] = true
		if strings.HasPrefix(x.Name(), "Opt[") {
			v, _ := x.FieldByName("Value") // written as the value alone, or not at all
			walk(v.Type)
			return
		}
		for i := range x.NumField() {
			f := x.Field(i)
			if !f.IsExported() {
				continue
			}
			if name, _, _ := strings.Cut(f.Tag.Get("json"), ","); !named.MatchString(name) {
				t.Errorf("%s.%s is called %q in a chain", x, f.Name, name)
			}
			walk(f.Type)
		}
	}
	walk(reflect.TypeFor[Event]())
	if len(seen) < 40 {
		t.Errorf("only %d types were looked at", len(seen))
	}
}
