package shop

import (
	"fmt"
	"maps"
	"slices"
)

// check looks for what would make the demo a lie: codes that name nothing, lots of pieces and
// pieces in lots, numbers out of range. It returns the first fault.
func (s *Shop) check() error {
	bad := func(file, row, format string, a ...any) error {
		return fmt.Errorf("demo shop: %s: %s: %s", file, row, fmt.Sprintf(format, a...))
	}
	parts := map[string]*Part{}
	for i := range s.Parts {
		p := &s.Parts[i]
		if parts[p.ID] != nil {
			return bad("parts.json", p.ID, "stands there twice")
		}
		parts[p.ID] = p
	}
	codes := map[string]string{}
	add := func(code, what string) error {
		if code == "" || codes[code] != "" {
			return fmt.Errorf("demo shop: code %q of a %s is empty or also names a %s", code, what, codes[code])
		}
		codes[code] = what
		return nil
	}
	for _, v := range s.Suppliers {
		if err := add(v.Code, "supplier"); err != nil {
			return err
		}
		if v.LeadDays < 1 || v.Currency == "" {
			return bad("suppliers.json", v.Code, "needs a lead time of 1 day or more and a currency")
		}
	}
	for _, v := range s.People {
		if err := add(v.Code, "person"); err != nil {
			return err
		}
		if !slices.Contains([]string{"attendant", "operator", "manager", "admin"}, v.Role) {
			return bad("people.json", v.Code, "role %q; use attendant, operator, manager or admin", v.Role)
		}
	}
	for _, v := range s.Places {
		if err := add(v.Code, "place"); err != nil {
			return err
		}
	}
	for _, v := range s.Machines {
		if err := add(v.Code, "machine"); err != nil {
			return err
		}
	}
	for _, p := range s.Parts {
		if err := checkPart(&p, parts, codes, bad); err != nil {
			return err
		}
	}
	jobs := map[string]bool{}
	for _, r := range s.Rules.Running {
		jobs[r.Code] = true
	}
	for _, j := range s.Jobs {
		if jobs[j.Code] {
			return bad("jobs.json", j.Code, "stands there twice")
		}
		jobs[j.Code] = true
		if s.Station(j.Machine, j.Station) == nil {
			return bad("jobs.json", j.Code, "no station %d on machine %s", j.Station, j.Machine)
		}
		if j.Qty < 1 || j.Due.Before(j.Need) || j.Request.Depth <= 0 || j.Request.BoreStartD <= 0 {
			return bad("jobs.json", j.Code, "quantity, dates, depth or bore out of range")
		}
	}
	for i, p := range s.Pieces {
		row := fmt.Sprintf("row %d (%s)", i+1, p.Part)
		part := parts[p.Part]
		switch {
		case part == nil:
			return bad("pieces.json", row, "no such part")
		case codes[p.Place] != "place" || p.Home != "" && codes[p.Home] != "place":
			return bad("pieces.json", row, "no place %q", p.Place+p.Home)
		case part.Counted() != (p.Condition == ""):
			return bad("pieces.json", row, "a piece has a condition, a lot has none")
		case p.Qty < 1 || (!part.Counted() && p.Qty != 1):
			return bad("pieces.json", row, "quantity %d", p.Qty)
		case p.PartUsed && (p.EdgesLeft < 1 || p.EdgesLeft >= part.Edges):
			return bad("pieces.json", row, "%d edges left of %d", p.EdgesLeft, part.Edges)
		case p.Out != nil && (codes[p.Out.To] != "person" || !jobs[p.Out.Job] || p.Out.Due.Before(p.Out.Since)):
			return bad("pieces.json", row, "is out to nobody, for no job, or due before it went")
		}
	}
	return s.Rules.check(s, parts, codes)
}

// checkPart looks at one part: every kind has the columns it cannot do without.
func checkPart(p *Part, parts map[string]*Part, codes map[string]string, bad func(file, row, format string, a ...any) error) error {
	if p.PriceCents <= 0 || p.Currency == "" || p.LeadDays < 1 || p.Pack < 1 || p.MinOrder < 1 || codes[p.Supplier] != "supplier" {
		return bad("parts.json", p.ID, "price, currency, lead time, pack, minimum order or supplier missing")
	}
	for _, sp := range p.Spares {
		if q := parts[sp]; q == nil || q.Kind != "spare" {
			return bad("parts.json", p.ID, "%s is no spare part", sp)
		}
	}
	need := map[string]bool{}
	switch p.Kind {
	case "holder":
		need = map[string]bool{"interface": p.Interface != "", "DCONWS": p.DCONWS != nil, "LSC": p.LSC != nil, "clamp": p.Clamp != "", "WT": p.WT != nil}
	case "sleeve":
		need = map[string]bool{"DCONMS": p.DCONMS != nil, "DCONWS": p.DCONWS != nil, "LSC": p.LSC != nil, "type": p.Type != "", "for_damped": p.ForDamped != nil, "sealed": p.Sealed != nil, "index": p.Index != "", "WT": p.WT != nil}
	case "bar":
		need = map[string]bool{"DCONMS": p.DCONMS != nil, "OAL": p.OAL != nil, "construction": p.Construction != "", "flat": p.Flat != nil, "WT": p.WT != nil, "CCWS or seat": (p.CCWS != "") != (p.Seat != "")}
	case "head":
		need = map[string]bool{"CCMS": p.CCMS != "", "HAND": p.Hand != "", "DMIN": p.DMIN != nil, "seat": p.Seat != "", "LF": p.LF != nil, "WT": p.WT != nil}
	case "insert":
		need = map[string]bool{"seat": p.Seat != "", "RE": p.RE != nil, "edges": p.Edges > 0, "grade": p.Grade != ""}
	case "hose", "fitting":
		need = map[string]bool{"ends": len(p.Ends) == 2}
	case "spare":
	default:
		return bad("parts.json", p.ID, "kind %q is not known", p.Kind)
	}
	for _, col := range slices.Sorted(maps.Keys(need)) {
		if !need[col] {
			return bad("parts.json", p.ID, "%s is missing", col)
		}
	}
	return nil
}
