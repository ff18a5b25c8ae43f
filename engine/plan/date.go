package plan

import (
	"fmt"
	"time"
)

// Date is a calendar day without time or zone: the number of days since 1970-01-01.
type Date int32

// ParseDate reads YYYY-MM-DD and refuses days that don't exist.
func ParseDate(s string) (Date, error) {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return 0, fmt.Errorf("%q is not a calendar date written YYYY-MM-DD", s)
	}
	return Date(t.Unix() / 86400), nil
}

// String prints YYYY-MM-DD.
func (d Date) String() string { return d.time().Format(time.DateOnly) }

// Year gives the calendar year.
func (d Date) Year() int { return d.time().Year() }

// Weekday gives the day of the week.
func (d Date) Weekday() Weekday {
	// 1970-01-01 was a Thursday.
	return Weekday((int(d)%7+7+3)%7 + 1)
}

// AddDays moves the date.
func (d Date) AddDays(n int) Date { return d + Date(n) }

func (d Date) time() time.Time { return time.Unix(int64(d)*86400, 0).UTC() }

// Weekday is ISO 8601: Monday is 1.
type Weekday uint8

// Days of the week; the zero value is unset.
const (
	WeekdayUnspecified Weekday = iota
	Monday
	Tuesday
	Wednesday
	Thursday
	Friday
	Saturday
	Sunday
)

var weekdayNames = [...]string{"", "Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"}

// String gives the English name.
func (w Weekday) String() string {
	if int(w) < len(weekdayNames) {
		return weekdayNames[w]
	}
	return fmt.Sprintf("Weekday(%d)", uint8(w))
}
