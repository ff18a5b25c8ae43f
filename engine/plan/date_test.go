package plan

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// TestDatesAgreeWithTheCalendar walks two centuries day by day.
func TestDatesAgreeWithTheCalendar(t *testing.T) {
	for day := time.Date(1900, 1, 1, 0, 0, 0, 0, time.UTC); day.Year() < 2100; day = day.AddDate(0, 0, 1) {
		text := day.Format(time.DateOnly)
		d, err := ParseDate(text)
		require.NoError(t, err)
		want := Weekday(day.Weekday())
		if want == 0 {
			want = Sunday
		}
		if d.Weekday() != want || d.String() != text || d.Year() != day.Year() {
			t.Fatalf("%s is a %s of %d (%s), want %s", d, d.Weekday(), d.Year(), text, want)
		}
	}
}

func TestDatesCount(t *testing.T) {
	leap, err := ParseDate("2028-02-28")
	require.NoError(t, err)
	require.Equal(t, "2028-02-29", leap.AddDays(1).String())
	require.Equal(t, "2028-03-01", leap.AddDays(2).String())
	require.Equal(t, leap, leap.AddDays(400).AddDays(-400))
	require.Equal(t, Date(0), Date(0).AddDays(0))
	require.Equal(t, "1970-01-01", Date(0).String())
	require.Equal(t, Thursday, Date(0).Weekday())
	require.Equal(t, Wednesday, Date(-1).Weekday())
	require.Equal(t, Thursday, Date(-700).Weekday())
}

func TestDatesThatAreNone(t *testing.T) {
	for _, s := range []string{"", "2027-02-29", "2027-13-01", "2027-00-10", "2027-1-1", "01.02.2027", "2027-01-01T00:00:00Z", " 2027-01-01", "20270101", "2027-01-32"} {
		_, err := ParseDate(s)
		require.ErrorContains(t, err, "YYYY-MM-DD", "%q", s)
	}
}

// FuzzParseDate: what is read prints as it was written, and is the day that the calendar
// says.
func FuzzParseDate(f *testing.F) {
	for _, s := range []string{"2027-01-04", "1970-01-01", "0000-01-01", "9999-12-31", "2028-02-29", "2027-02-29", "+027-01-01", "2027-01-04 ", "２０２７-01-04"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		d, err := ParseDate(s)
		if err != nil {
			require.Zero(t, d)
			return
		}
		require.Equal(t, s, d.String())
		day, err := time.Parse(time.DateOnly, s)
		require.NoError(t, err)
		require.Equal(t, int(day.Weekday()), int(d.Weekday())%7)
		require.Equal(t, day.Year(), d.Year())
		again, err := ParseDate(d.AddDays(1).AddDays(-1).String())
		require.NoError(t, err)
		require.Equal(t, d, again)
	})
}
