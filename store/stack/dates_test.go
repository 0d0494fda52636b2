package stack

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
)

// TestDates: what is promised is not free on any day of its days, both included, and when it
// can be had again counts all the days that are needed.
func TestDates(t *testing.T) {
	hold := strings.Replace(roundHolder, `"DCONWS":32`, `"DCONWS":25`, 1)
	bar := with(t, shortBar, `{"OAL":240}`)
	for _, tt := range []struct {
		what        string
		bar         string // members of the bar
		need, until Date
		job         string
		ok          bool
		from        Date
		by          string
	}{
		{"ends the day before", `{"reserved":[{"job":"J-2","from":"2026-03-10","to":"2026-03-15"}]}`, "2026-03-16", "", "", true, "", ""},
		{"ends on the day", `{"reserved":[{"job":"J-2","from":"2026-03-10","to":"2026-03-16"}]}`, "2026-03-16", "", "", false, "2026-03-17", ""},
		{"begins the day after", `{"reserved":[{"job":"J-2","from":"2026-03-17","to":"2026-03-20"}]}`, "2026-03-16", "", "", true, "", ""},
		{"begins in the middle", `{"reserved":[{"job":"J-2","from":"2026-03-17","to":"2026-03-20"}]}`, "2026-03-16", "2026-03-17", "", false, "2026-03-21", ""},
		{"lies within", `{"reserved":[{"job":"J-2","from":"2026-03-17","to":"2026-03-17"}]}`, "2026-03-16", "2026-03-20", "", false, "2026-03-18", ""},
		{"its own", `{"reserved":[{"job":"J-1","from":"2026-03-10","to":"2026-03-20"}]}`, "2026-03-16", "2026-03-18", "J-1", true, "", ""},
		{"two with a gap too short", `{"reserved":[{"job":"J-2","from":"2026-03-16","to":"2026-03-17"},{"job":"J-3","from":"2026-03-20","to":"2026-03-22"}]}`, "2026-03-16", "2026-03-18", "", false, "2026-03-23", ""},
		{"two with a gap long enough", `{"reserved":[{"job":"J-3","from":"2026-03-21","to":"2026-03-22"},{"job":"J-2","from":"2026-03-16","to":"2026-03-17"}]}`, "2026-03-16", "2026-03-18", "", false, "2026-03-18", ""},
		{"for good", `{"reserved":[{"job":"J-2","from":"2026-03-10","to":"2999-12-31"}]}`, "2026-03-16", "", "", false, "", ""},
		{"out, due back", `{"status":"out","out":{"to":"Brisa","due":"2026-03-18"}}`, "2026-03-16", "", "", false, "2026-03-18", "Brisa"},
		{"out, due back, then promised", `{"status":"out","out":{"to":"Brisa","due":"2026-03-18"},"reserved":[{"job":"J-2","from":"2026-03-18","to":"2026-03-19"}]}`, "2026-03-16", "", "", false, "2026-03-20", "Brisa"},
		{"out, nobody knows till when", `{"status":"out","out":{"to":"Brisa"}}`, "2026-03-16", "", "", false, "", "Brisa"},
		// It is said to be due before it is needed: out is out all the same.
		{"out, due before", `{"status":"out","out":{"to":"Brisa","due":"2026-03-12"}}`, "2026-03-16", "", "", false, "2026-03-12", "Brisa"},
		{"on order", `{"status":"on_order","due":"2026-03-20"}`, "2026-03-16", "", "", false, "2026-03-20", ""},
		{"over the turn of the year", `{"reserved":[{"job":"J-2","from":"2026-12-30","to":"2027-01-02"}]}`, "2026-12-31", "", "", false, "2027-01-03", ""},
		{"a leap day", `{"reserved":[{"job":"J-2","from":"2028-02-27","to":"2028-02-28"}]}`, "2028-02-28", "", "", false, "2028-02-29", ""},
	} {
		r := request40()
		r.Job, r.NeedDate, r.Until = tt.job, tt.need, tt.until
		v := checked(t, shop(t, hold, with(t, bar, tt.bar), shortHead, someInserts), r)
		if v.Buildable != tt.ok || v.AvailableOn != tt.from || v.HeldBy != tt.by {
			t.Errorf("%s: buildable %v, on %q, held by %q; want %v, %q, %q", tt.what, v.Buildable, v.AvailableOn, v.HeldBy, tt.ok, tt.from, tt.by)
		}
	}
}

// TestLotDates: of a lot only what others have been promised is gone, and it is to be had again
// as soon as one piece is.
func TestLotDates(t *testing.T) {
	hold := strings.Replace(roundHolder, `"DCONWS":32`, `"DCONWS":25`, 1)
	bar := with(t, shortBar, `{"OAL":240}`)
	for _, tt := range []struct {
		what  string
		res   string
		need  Date
		until Date
		ok    bool
		from  Date
	}{
		{"three of four", `[{"job":"J-2","from":"2026-03-10","to":"2026-03-20","qty":3}]`, "2026-03-16", "", true, ""},
		{"all four", `[{"job":"J-2","from":"2026-03-10","to":"2026-03-20","qty":4}]`, "2026-03-16", "", false, "2026-03-21"},
		{"two and two, one ends first", `[{"job":"J-2","from":"2026-03-10","to":"2026-03-25","qty":2},{"job":"J-3","from":"2026-03-10","to":"2026-03-18","qty":2}]`, "2026-03-16", "", false, "2026-03-19"},
		{"used up by others", `[{"job":"J-2","from":"2026-03-10","to":"2999-12-31","qty":3},{"job":"J-3","from":"2026-03-10","to":"2999-12-31","qty":1}]`, "2026-03-16", "", false, ""},
		{"used up but one, which is free later", `[{"job":"J-2","from":"2026-03-10","to":"2999-12-31","qty":3},{"job":"J-3","from":"2026-03-10","to":"2026-03-17","qty":1}]`, "2026-03-16", "", false, "2026-03-18"},
		// Two promises that do not overlap do not add up.
		{"one after the other", `[{"job":"J-2","from":"2026-03-10","to":"2026-03-16","qty":3},{"job":"J-3","from":"2026-03-18","to":"2026-03-20","qty":3}]`, "2026-03-16", "", true, ""},
	} {
		r := request40()
		r.NeedDate, r.Until = tt.need, tt.until
		v := checked(t, shop(t, hold, bar, shortHead, with(t, someInserts, `{"reserved":`+tt.res+`}`)), r)
		if v.Buildable != tt.ok || v.AvailableOn != tt.from {
			t.Errorf("%s: buildable %v, on %q; want %v, %q (%s)", tt.what, v.Buildable, v.AvailableOn, tt.ok, tt.from, v.Sentence())
		}
	}
}

// On the day that is told, and for as long as is needed, the item is free; on no earlier day.
func TestFromIsTheFirstDay(t *testing.T) {
	told := 0
	for i := range 4000 {
		m := rand.New(rand.NewPCG(14, uint64(i)))
		day := func(n int) Date { return Date("2026-03-10").AddDays(m.IntN(n)) }
		it := Item{ID: "X", Part: &Part{Code: "X", Kind: Insert}, Status: In, Qty: 1 + m.IntN(3)}
		for range m.IntN(5) {
			from := day(14)
			it.Reserved = append(it.Reserved, Reservation{Job: fmt.Sprint("J-", m.IntN(3)), From: from, To: from.AddDays(m.IntN(5)), Qty: m.IntN(3)})
		}
		r := request40()
		r.Job, r.NeedDate = "J-1", day(8)
		r.Until = r.NeedDate.AddDays(m.IntN(4))
		days := 0
		for d := r.NeedDate; d < r.Until; d = d.AddDays(1) {
			days++
		}
		on := func(d Date) int {
			q := r
			q.NeedDate, q.Until = d, d.AddDays(days)
			return it.free(&q)
		}
		got, ok := it.from(&r)
		if !ok {
			t.Fatalf("trial %d: no day, though every promise ends: %+v", i, it.Reserved)
		}
		want := r.NeedDate
		for on(want) == 0 {
			want = want.AddDays(1)
			told++
		}
		if got != want {
			t.Fatalf("trial %d: from %s, the first free day is %s: %d of %+v, %s to %s", i, got, want, it.Qty, it.Reserved, r.NeedDate, r.Until)
		}
	}
	if told == 0 {
		t.Error("always free: nothing is proven")
	}
}

// TestStations: one request asked for each of several stations. Each has its own seat, outlet,
// pump, swing and load; what one cannot do another may.
func TestStations(t *testing.T) {
	s := shop(t, strings.Replace(roundHolder, `"DCONWS":32`, `"DCONWS":25`, 1),
		strings.Replace(with(t, roundHolder, `{"id":"HLD-B","interface":"BMT65","coolant":"none"}`), `"DCONWS":32`, `"DCONWS":25`, 1),
		with(t, shortBar, `{"OAL":240,"coolant_in":["bore","F:G 1/8"]}`), shortHead, someInserts, fitting("NIP", "M:G 1/8", "M:G 1/8"))
	r := request40()
	r.Coolant, r.CoolantBar = true, 40
	for _, tt := range []struct {
		at    Station
		ok    bool
		codes string
		route string
	}{
		{Station{Interface: "VDI50", CoolantMaxBar: Some(70)}, true, "[]", "through"},
		{Station{Interface: "VDI50", CoolantMaxBar: Some(20)}, false, "[PUMP]", ""},
		{Station{Interface: "BMT65", CoolantMaxBar: Some(70)}, false, "[INTERFACE COOLANT_BREAK]", ""}, // of its holders one feeds no bore, one fits another turret
		{Station{Interface: "BMT65", CoolantMaxBar: Some(70), CoolantPort: "F:G 1/8"}, true, "[]", "line"},
		{Station{Interface: "BMT65", CoolantMaxBar: Some(70), CoolantPort: "F:G 1/8", MaxProjection: Some(129)}, false, "[PROJECTION]", ""},
		{Station{Interface: "BMT65", CoolantMaxBar: Some(70), CoolantPort: "F:G 1/8", MaxMassKg: Some(5)}, false, "[MASS]", ""},
		{Station{Interface: "VDI40", CoolantMaxBar: Some(70)}, false, "[INTERFACE]", ""},
	} {
		r.Station = tt.at
		v := checked(t, s, r)
		if v.Buildable != tt.ok || fmt.Sprint(codes(&v)) != tt.codes {
			t.Errorf("%+v: buildable %v, %v; want %v, %s", tt.at, v.Buildable, codes(&v), tt.ok, tt.codes)
		}
		if v.Buildable && v.Stacks[0].Route.Kind != tt.route {
			t.Errorf("%+v: coolant by %s, want %s", tt.at, v.Stacks[0].Route.Kind, tt.route)
		}
	}
}
