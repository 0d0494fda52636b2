package shop

import "time"

// Workday returns midnight UTC of the day n working days (Monday to Friday) after today's
// date, before it when n is negative. For n = 0 it is today itself, also on a weekend, so
// that the order of days never turns round.
func Workday(today time.Time, n int) time.Time {
	y, m, d := today.Date()
	t := time.Date(y, m, d, 0, 0, 0, 0, time.UTC)
	step := 1
	if n < 0 {
		step, n = -1, -n
	}
	for n > 0 {
		t = t.AddDate(0, 0, step)
		if wd := t.Weekday(); wd != time.Saturday && wd != time.Sunday {
			n--
		}
	}
	return t
}
