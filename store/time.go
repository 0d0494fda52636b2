package store

import (
	"database/sql/driver"
	"fmt"
	"time"

	"gorm.io/gorm"
	"gorm.io/gorm/schema"
)

// A Time is a moment in UTC, whole milliseconds. Its text in SQLite sorts as the moments do,
// so MAX and ORDER BY are true; in PostgreSQL it is a timestamptz(3).
type Time struct{ time.Time }

const timeLayout = "2006-01-02 15:04:05.000Z"

// At returns t as the store keeps it.
func At(t time.Time) Time { return Time{t.UTC().Truncate(time.Millisecond)} }

// GormDBDataType names the column type of each engine.
func (Time) GormDBDataType(db *gorm.DB, _ *schema.Field) string {
	if db.Name() == "postgres" {
		return "timestamptz(3)"
	}
	return "text"
}

// Value writes the zero Time as NULL. It is the text form on both engines: PostgreSQL reads it.
func (t Time) Value() (driver.Value, error) {
	if t.IsZero() {
		return nil, nil
	}
	return t.UTC().Format(timeLayout), nil
}

// Scan reads either engine's form; NULL is the zero Time.
func (t *Time) Scan(v any) error {
	switch x := v.(type) {
	case nil:
		t.Time = time.Time{}
		return nil
	case time.Time:
		t.Time = x.UTC()
		return nil
	case []byte:
		return t.Scan(string(x))
	case string:
		for _, layout := range []string{timeLayout, time.RFC3339Nano} {
			if u, err := time.Parse(layout, x); err == nil {
				t.Time = u.UTC()
				return nil
			}
		}
	}
	return fmt.Errorf("%v is not a time this store wrote", v)
}

// A Day is a calendar day, YYYY-MM-DD, without a zone: the day on the shop's own calendar.
// Empty means none. Days compare as text.
type Day string

// DayOf is the day of t in its own location.
func DayOf(t time.Time) Day { return Day(t.Format(time.DateOnly)) }

// Add is the day n days later.
func (d Day) Add(n int) Day {
	t, err := time.Parse(time.DateOnly, string(d))
	if err != nil {
		return d
	}
	return DayOf(t.AddDate(0, 0, n))
}
