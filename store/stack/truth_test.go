package stack

import (
	"math/rand/v2"
	"regexp"
	"slices"
	"testing"
)

var nothingSaid = map[string]*regexp.Regexp{
	"head":   regexp.MustCompile(`no head on hand for pocket (.+), hand (.+) and a hole of .+ mm has (?:the|its) coupling ([^ ;]+)`),
	"holder": regexp.MustCompile(`^no holder on hand has the coupling (.+) that holds ([^,]+)`),
	"seat":   regexp.MustCompile(`^no holder on hand bolts to (.+)$`),
	"insert": regexp.MustCompile(`^no insert on hand fits the pocket (.+)$`),
	"bore":   regexp.MustCompile(`^nothing on hand holds the .+ shank of (.+): no holder of that bore, no sleeve with that inside$`),
}

// TestNothingOnHandIsTrue: where a reason says that nothing of a sort is on hand, nothing of that
// sort is free on a random shelf.
func TestNothingOnHandIsTrue(t *testing.T) {
	n := 6000
	if testing.Short() {
		n = 1500
	}
	said := map[string]int{}
	for i := range n {
		m := &maker{Rand: rand.New(rand.NewPCG(45, uint64(i)))}
		r, items := m.request(), []Item(nil)
		if i%2 == 0 {
			items = m.shelf()
		} else {
			r, items = m.linkShelf()
		}
		v := checked(t, shelfOf(t, items), r)
		reached := []string{r.Station.Interface} // turret seats
		for range 2 {
			for _, it := range items {
				if out := it.Part.code(Workpiece, TurretSeat); out != "" && it.Part.Kind == Adapter && slices.Contains(reached, it.Part.Interface()) && twinFree(it, r) {
					reached = append(reached, out)
				}
			}
		}
		any := func(yes func(p *Part) bool) *Item {
			for k := range items {
				if twinFree(items[k], r) && yes(items[k].Part) {
					return &items[k]
				}
			}
			return nil
		}
		for _, reason := range v.Reasons {
			for what, re := range nothingSaid {
				s := re.FindStringSubmatch(reason.Text)
				if s == nil {
					continue
				}
				said[what]++
				var there *Item
				switch what {
				case "head":
					there = any(func(p *Part) bool {
						return p.Kind == Head && p.Seat() == s[1] && (p.Hand == s[2] || p.Hand == "N") && p.DMIN.Known && p.DMIN.V <= r.BoreStartD && p.CCMS() == s[3] &&
							(!r.Coolant || p.Coolant && p.CP.Or(0) >= r.CoolantBar) && p.LF.Known
					})
				case "holder":
					there = any(func(p *Part) bool {
						return p.Kind == Holder && p.CCWS() == s[1] && slices.Contains(reached, p.Interface())
					})
				case "seat":
					there = any(func(p *Part) bool { return p.Kind == Holder && p.Interface() == s[1] })
				case "insert":
					there = any(func(p *Part) bool { return p.Kind == Insert && p.Seat() == s[1] })
				case "bore":
					at := slices.IndexFunc(items, func(it Item) bool { return it.called() == s[1] })
					d := items[at].Part.DCONMS()
					there = any(func(p *Part) bool {
						return p.Kind == Holder && p.DCONWS().Known && Equal(p.DCONWS().V, d.V) && slices.Contains(reached, p.Interface())
					})
				}
				if there != nil {
					t.Fatalf("trial %d: %q, but %s is there\n%s", i, reason.Text, there.ID, dump(r, items))
				}
			}
		}
	}
	t.Log(said)
	for what := range nothingSaid {
		if said[what] == 0 {
			t.Errorf("never said of %s", what)
		}
	}
}
