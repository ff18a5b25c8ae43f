package fault

import (
	"errors"
	"testing"
)

func TestFieldsInTheOrderPeopleCount(t *testing.T) {
	c := NewCollector(Invalid)
	for _, f := range []string{"days[10].minutes", "days[2].minutes", "days[2]", "athlete", "days[02].minutes", "days[2].places[11]", "days[2].places[3]"} {
		c.Add("R", f, "is wrong")
	}
	var f *Error
	if !errors.As(c.Err(), &f) {
		t.Fatal("no fault")
	}
	want := []string{"athlete", "days[2]", "days[2].minutes", "days[2].places[3]", "days[2].places[11]", "days[02].minutes", "days[10].minutes"}
	for i, v := range f.Violations {
		if v.Field != want[i] {
			t.Errorf("%d: %s, want %s", i, v.Field, want[i])
		}
	}
}
