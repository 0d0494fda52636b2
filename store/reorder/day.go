package reorder

import (
	"fmt"
	"time"
)

// A Day is a calendar day, counted from 1 January 1970 = 0. Lead times and needs are days;
// hours would pretend to more than suppliers know.
type Day int

// DayOf is the calendar day of t in t's own time zone.
func DayOf(t time.Time) Day {
	y, m, d := t.Date()
	return Day(time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Unix() / 86400)
}

// ParseDay reads YYYY-MM-DD from 2000-01-01 to 2100-01-01.
func ParseDay(s string) (Day, error) {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil || t.Year() < 2000 || t.After(time.Date(2100, 1, 1, 0, 0, 0, 0, time.UTC)) {
		return 0, &BadInput{"day", clip([]byte(s)), "is not a day from 2000 to 2100", "write it as 2026-05-14"}
	}
	return DayOf(t), nil
}

// Time is the beginning of the day in UTC.
func (d Day) Time() time.Time { return time.Unix(int64(d)*86400, 0).UTC() }

func (d Day) String() string { return d.Time().Format(time.DateOnly) }

// MarshalText writes YYYY-MM-DD.
func (d Day) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// UnmarshalText reads what MarshalText writes.
func (d *Day) UnmarshalText(text []byte) (err error) {
	*d, err = ParseDay(string(text))
	return err
}

// Say is the day as a person says it on the day today: today, tomorrow, 14 May, and with
// the year where it is another one.
func (d Day) Say(today Day) string {
	switch t := d.Time(); {
	case d == today:
		return "today"
	case d == today+1:
		return "tomorrow"
	case d == today-1:
		return "yesterday"
	case t.Year() == today.Time().Year():
		return t.Format("2 January")
	default:
		return t.Format("2 January 2006")
	}
}

// on puts "on" before a date and nothing before today or tomorrow.
func (d Day) on(today Day) string {
	if d >= today-1 && d <= today+1 {
		return d.Say(today)
	}
	return "on " + d.Say(today)
}

// CalendarDays turns working days into calendar days, rounded up: 10 at 5 a week are 14.
// A supplier quotes the one, a calendar needs the other.
func CalendarDays(working, perWeek int) (int, error) {
	if perWeek < 1 || perWeek > 7 {
		return 0, &BadInput{"days a week", fmt.Sprint(perWeek), "lie between 1 and 7", "5 is usual"}
	}
	if working < 0 || working > 3650 {
		return 0, &BadInput{"working days", fmt.Sprint(working), "must be from 0 to 3650", "check the unit"}
	}
	return (working*7 + perWeek - 1) / perWeek, nil
}
