package server

import (
	"cmp"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"github.com/labstack/echo/v4"

	"brasspeg/store"
	"brasspeg/store/stack"
)

// purchasesView is what one purchase would free, and the set of least cost.
type purchasesView struct {
	Readings []reading
	Proof    string
	Edges    string
	Lines    []freeingRow
	Singles  []freeingRow
	Unsolved []unsolvedRow
}

type freeingRow struct{ Href, Code, Name, Pieces, Cost, Jobs, Count, By string }

type unsolvedRow struct{ Href, Job, Why, Best string }

// purchasesPage says what to buy so that every planned job can be built in time: GET /purchases.
func (s *Server) purchasesPage(c echo.Context) error {
	p, err := s.store.Purchases(c.Request().Context())
	if err != nil {
		return err
	}
	return s.page(c, http.StatusOK, "purchases", "What one purchase would free", purchasesOf(&p, holdersFor(c)))
}

func purchasesOf(p *store.Purchases, see holders) purchasesView {
	v := purchasesView{Readings: []reading{{"Cost of the set", money2(p.Cents), p.Currency}, {"Parts to buy", fmt.Sprint(len(p.Lines)), ""}, {"Jobs no purchase helps in time", fmt.Sprint(len(p.Unsolved)), ""}}}
	switch {
	case p.Gap == 0:
		v.Proof = fmt.Sprintf("No cheaper set exists among the parts on record with a price and a lead time; %s looked at.", count(int64(p.Looked), "choice was", "choices were"))
	default:
		v.Proof = fmt.Sprintf("At least %s %s is needed by any set; the best one found costs %s more. The search was ended before it was done.", money2(p.Bound), p.Currency, money2(p.Gap))
	}
	if len(p.FewEdges) > 0 {
		v.Edges = "Short of edges for the whole run, which Buying looks after; counted here with the inserts there are: " + strings.Join(p.FewEdges, ", ") + "."
	}
	for _, l := range p.Lines {
		v.Lines = append(v.Lines, freeingRow{Href: "/parts/" + pathOf(l.Part.Code), Code: l.Part.Code, Name: l.Part.Designation, Pieces: fmt.Sprint(l.Qty),
			Cost: money(float64(l.Cents), p.Currency), Jobs: strings.Join(l.Jobs, ", "), By: string(l.By)})
	}
	for _, o := range p.Singles {
		v.Singles = append(v.Singles, freeingRow{Href: "/parts/" + pathOf(o.Part.Code), Code: o.Part.Code, Name: o.Part.Designation,
			Cost: money(float64(o.Cents), p.Currency), Jobs: strings.Join(o.Jobs, ", "), Count: fmt.Sprint(len(o.Jobs))})
	}
	for _, u := range p.Unsolved {
		row := unsolvedRow{Href: "/jobs/" + pathOf(u.Job), Job: u.Job, Why: sentence(u.Why)}
		if u.Best != nil {
			row.Best = "Easiest: " + u.Best.Text
			if len(u.Best.Parts) > 0 && len(u.Best.Parts[0].Owned) > 0 {
				b := u.Best.Parts[0].Owned[0]
				row.Best += "; " + veilName(see, b.HeldBy).Replace(b.Text)
			}
			row.Best += "."
		}
		v.Unsolved = append(v.Unsolved, row)
	}
	return v
}

func money2(cents int) string { return fmt.Sprintf("%d.%02d", cents/100, cents%100) }

func sortCloseLines(ls []store.CloseLine) {
	slices.SortFunc(ls, func(a, b store.CloseLine) int {
		return cmp.Or(cmp.Compare(a.Item, b.Item), cmp.Compare(a.Place, b.Place))
	})
}

// An optionGroup is ways out that ask for the same thing: the first told with all its sizes,
// the others only by how they differ in the mass the machine can still carry.
type optionGroup struct {
	stack.Option
	Looser float64 // kg, the loosest limit among the others; 0 where there is none
	Others int
}

// distinct tells each way out once. Two options are one when they miss the same kinds of parts
// and the same pieces or records would fill them, or, where nobody has recorded one, when only
// the mass allowed differs.
func distinct(all []stack.Option) []optionGroup {
	var out []optionGroup
	at := map[string]int{}
	for i := range all {
		o := &all[i]
		key, mass := "", 0.0
		for _, m := range o.Parts {
			key += "/" + string(m.Kind) + ":"
			known := ""
			for _, b := range m.Owned {
				if b.Item != nil {
					known += " " + b.Item.ID
				}
			}
			for _, b := range m.Catalogue {
				if b.Part != nil {
					known += " " + b.Part.Code
				}
			}
			for _, n := range m.Needs {
				if w, ok := n.Value.(float64); ok && n.Name == "WT_max" {
					mass = max(mass, w)
					continue
				}
				if known == "" {
					key += fmt.Sprintf(" %s=%v", n.Name, n.Value)
				}
			}
			key += known
		}
		if k, ok := at[key]; ok {
			out[k].Others++
			out[k].Looser = max(out[k].Looser, mass)
			continue
		}
		at[key] = len(out)
		out = append(out, optionGroup{Option: *o})
	}
	return out
}
