package shop

import (
	"fmt"
	"slices"
)

// Rules say how the last months of the shop went; Shop.History plays them from the seed.
// Days are working days from today, negative in the past.
type Rules struct {
	Seed     uint64 `json:"seed"`
	Workdays int    `json:"workdays"` // length of the history, working days

	Families []Family  `json:"families"`
	Running  []Running `json:"running"`

	Leads       []Lead      `json:"leads"`
	OrderSizes  []OrderSize `json:"order_sizes"`
	SpareUse    []Usage     `json:"spare_use"`
	CountsAWeek int         `json:"counts_a_week"`
	CountWrong  float64     `json:"count_wrong"` // share of counts that are one piece off
	Mistakes    int         `json:"mistakes"`    // issues that were reversed a few minutes later
	Gone        []Gone      `json:"gone"`
}

// A Family is work that comes again and again: one operation on one kind of part.
type Family struct {
	Code       string   `json:"code"`
	Name       string   `json:"name"`
	Machine    string   `json:"machine"`
	Station    int      `json:"station"`
	Material   string   `json:"material"` // group of ISO 513
	KcGroup    int      `json:"kc_group"` // VDI 3323
	Request    Request  `json:"request"`
	Cutting    Cutting  `json:"cutting"`
	Insert     string   `json:"insert"`
	Kit        []string `json:"kit"` // parts taken as pieces: holder, sleeve, bar, head, hose
	Operator   string   `json:"operator"`
	QtyMin     int      `json:"qty_min"`
	QtyMax     int      `json:"qty_max"`
	Every      int      `json:"every_workdays"`
	MinPerPart float64  `json:"min_per_part"` // minutes in cut a part

	// Parts an edge lasts: Weibull, and a sudden end with a constant chance a part. The edge
	// comes off earlier when PlannedAt parts are made (0: it is run until it fails).
	Shape     float64 `json:"shape"`
	Scale     float64 `json:"scale"`
	Sudden    float64 `json:"sudden"` // chance of a sudden end a part
	PlannedAt int     `json:"planned_at"`
	Until     int     `json:"until"` // last working day, 0 = up to now
	Heats     []Heat  `json:"heats,omitempty"`
}

// A Heat is a batch of material from a day on, with the factor by which edges last.
type Heat struct {
	Name   string  `json:"name"`
	From   int     `json:"from"`
	Factor float64 `json:"factor"`
}

// A Running job has not ended: what it holds stands as out in pieces.json.
type Running struct {
	Code   string `json:"code"`
	Name   string `json:"name"`
	Family string `json:"family"`
	Qty    int    `json:"qty"`
	Since  int    `json:"since"`
	Due    int    `json:"due"`
}

// A Lead says how long a supplier really takes, in working days: from Min to Max, and LateBy
// more with the chance Late.
type Lead struct {
	Supplier string  `json:"supplier"`
	Min      int     `json:"min"`
	Max      int     `json:"max"`
	Late     float64 `json:"late"`
	LateBy   int     `json:"late_by"`
}

// An OrderSize is how many pieces of a part the shop used to order at a time.
type OrderSize struct {
	Part string `json:"part"`
	Qty  int    `json:"qty"`
}

// A Usage is what is taken of a part a week, on average, without a job.
type Usage struct {
	Part    string  `json:"part"`
	PerWeek float64 `json:"per_week"`
}

// A Gone piece was in the shop and was scrapped.
type Gone struct {
	Part   string `json:"part"`
	Place  string `json:"place"`
	On     int    `json:"on"`
	Reason string `json:"reason"`
}

// check looks for names that mean nothing and numbers that cannot be played.
func (r *Rules) check(s *Shop, parts map[string]*Part, codes map[string]string) error {
	bad := func(row, format string, a ...any) error {
		return fmt.Errorf("demo shop: history.json: %s: %s", row, fmt.Sprintf(format, a...))
	}
	if r.Workdays < 20 || r.Workdays > 1000 {
		return bad("workdays", "%d; use 20 to 1000", r.Workdays)
	}
	for _, f := range r.Families {
		in := parts[f.Insert]
		switch {
		case in == nil || in.Kind != "insert":
			return bad(f.Code, "%s is no insert", f.Insert)
		case s.Station(f.Machine, f.Station) == nil:
			return bad(f.Code, "no station %d on machine %s", f.Station, f.Machine)
		case codes[f.Operator] != "person":
			return bad(f.Code, "no person %q", f.Operator)
		case f.QtyMin < 1 || f.QtyMax < f.QtyMin || f.Every < 1 || f.MinPerPart <= 0 || f.Shape <= 0 || f.Scale <= 0 || f.Sudden < 0 || f.Sudden >= 1 || f.PlannedAt < 0 || f.Until > 0:
			return bad(f.Code, "a number is out of range")
		}
		for _, k := range f.Kit {
			if p := parts[k]; p == nil || p.Counted() {
				return bad(f.Code, "%s is no part kept as pieces", k)
			}
		}
	}
	for _, v := range r.Running {
		if !slices.ContainsFunc(r.Families, func(f Family) bool { return f.Code == v.Family }) || v.Since >= 0 || v.Due < v.Since || v.Qty < 1 {
			return bad(v.Code, "family, days or quantity make no sense")
		}
	}
	for _, v := range r.Leads {
		if codes[v.Supplier] != "supplier" || v.Min < 1 || v.Max < v.Min || v.LateBy < 0 {
			return bad("leads", "%s: no supplier, or days out of range", v.Supplier)
		}
	}
	for _, v := range r.OrderSizes {
		if p := parts[v.Part]; p == nil || !p.Counted() || v.Qty < 1 || v.Qty%p.Pack != 0 {
			return bad("order_sizes", "%s: %d is no number of whole boxes", v.Part, v.Qty)
		}
	}
	for _, v := range r.SpareUse {
		if p := parts[v.Part]; p == nil || !p.Counted() || v.PerWeek <= 0 {
			return bad("spare_use", "%s: no such lot part, or no use", v.Part)
		}
	}
	for _, v := range r.Gone {
		if p := parts[v.Part]; p == nil || p.Counted() || v.On >= 0 || codes[v.Place] != "place" {
			return bad("gone", "%s: no piece, no place, or not in the past", v.Part)
		}
	}
	return nil
}
