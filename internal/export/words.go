package export

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/phasewright/phasewright/engine/plan"
)

func number(n int32) string { return strconv.Itoa(int(n)) }

// count prints a number with its noun: "1 set", "4 sets".
func count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

func span(r plan.Range) string {
	if r.Min == r.Max {
		return number(r.Min)
	}
	return number(r.Min) + "–" + number(r.Max)
}

// weekday prints "Mon".
func weekday(w plan.Weekday) string {
	if w == plan.WeekdayUnspecified {
		return ""
	}
	return w.String()[:3]
}

// shortDate prints "5 Jan", longDate "Mon 5 Jan 2026".
func shortDate(d plan.Date) string { return calendar(d).Format("2 Jan") }

func longDate(d plan.Date) string { return calendar(d).Format("Mon 2 Jan 2006") }

func calendar(d plan.Date) time.Time { return time.Unix(int64(d)*86400, 0).UTC() }

// minutes rounds up.
func minutes(s plan.Seconds) string { return number(int32((s + 59) / 60)) }

// runs prints a rising list of numbers as "1–3, 5".
func runs(list []int32) string {
	var out []string
	for i := 0; i < len(list); {
		j := i
		for j+1 < len(list) && list[j+1] == list[j]+1 {
			j++
		}
		out = append(out, span(plan.Range{Min: list[i], Max: list[j]}))
		i = j + 1
	}
	return strings.Join(out, ", ")
}

// inWeeks prints "week 3" or "weeks 1–3, 5".
func inWeeks(list []int32) string {
	if len(list) == 1 {
		return "week " + number(list[0])
	}
	return "weeks " + runs(list)
}

// sentence makes the first letter a capital.
func sentence(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// distinct adds a text once.
func distinct(list []string, s string) []string {
	for _, have := range list {
		if have == s {
			return list
		}
	}
	return append(list, s)
}

// factor prints permille as a factor: 1040 is "1.04".
func factor(p plan.Permille) string { return plan.Load{Milli: int64(p)}.Number() }
