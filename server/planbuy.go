package server

import (
	"cmp"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"github.com/labstack/echo/v4"

	"brasspeg/server/access"
	"brasspeg/store"
	"brasspeg/store/stack"
)

// purchasesView is the set of least cost for all planned jobs, who it leaves out and why, and
// what one purchase would free.
type purchasesView struct {
	Readings []reading
	Proof    string
	Edges    string
	Lines    []freeingRow
	Left     []unsolvedRow
	LeftNote string
	Singles  []freeingRow
	Unsolved []unsolvedRow
	Op       string // of the form that drafts the set, "" for who may not or when there is none
}

type freeingRow struct{ Href, Code, Name, Pieces, Cost, Jobs, Count, By string }

type unsolvedRow struct{ Href, Job, Why, Best string }

// purchasesPage says what to buy so that every planned job can be built in time: GET /purchases.
func (s *Server) purchasesPage(c echo.Context) error {
	p, err := s.store.Purchases(c.Request().Context())
	if err != nil {
		return err
	}
	v := purchasesOf(&p, holdersFor(c))
	if len(v.Lines) > 0 && may(c, access.EditOrders) {
		v.Op = newOp()
	}
	return s.page(c, http.StatusOK, "purchases", "Purchases for the planned jobs", v)
}

// draftPurchases puts the set of least cost on orders in the making: POST /purchases/draft.
func (s *Server) draftPurchases(c echo.Context, o store.Op, _ opIn) (string, store.Receipt, error) {
	r, err := s.store.DraftPurchases(c.Request().Context(), o)
	return "/orders", r, err
}

func purchasesOf(p *store.Purchases, see holders) purchasesView {
	v := purchasesView{Proof: proofOf(p)}
	gap := reading{"Above the least possible, at most", money2(p.Gap), p.Currency}
	if p.Gap == 0 {
		gap = reading{"Proof", "proven least", ""}
	}
	v.Readings = []reading{{"Cost of the set", money2(p.Cents), p.Currency}, gap, {"Parts to buy", fmt.Sprint(len(p.Lines)), ""},
		{"Jobs left out", fmt.Sprint(len(p.Left)), ""}, {"Jobs no purchase helps in time", fmt.Sprint(len(p.Unsolved)), ""}}
	if len(p.FewEdges) > 0 {
		v.Edges = "Short of edges for the whole run, which Buying looks after; counted here with the inserts there are: " + strings.Join(p.FewEdges, ", ") + "."
	}
	row := func(part *stack.Part, qty, cents int, jobs []string) freeingRow {
		return freeingRow{Href: "/parts/" + pathOf(part.Code), Code: part.Code, Name: part.Designation, Pieces: fmt.Sprint(qty),
			Cost: money(float64(cents), p.Currency), Jobs: strings.Join(jobs, ", "), Count: fmt.Sprint(len(jobs))}
	}
	for _, l := range p.Lines {
		r := row(l.Part, l.Qty, l.Cents, l.Jobs)
		r.By = string(l.By)
		v.Lines = append(v.Lines, r)
	}
	for _, o := range p.Singles {
		v.Singles = append(v.Singles, row(o.Part, o.Qty, o.Cents, o.Jobs))
	}
	for _, l := range p.Left {
		v.Left = append(v.Left, unsolvedRow{Href: "/jobs/" + pathOf(l.Job), Job: l.Job, Why: sentence(l.Why)})
	}
	switch n := len(p.Left); {
	case n > p.LeftAtLeast && p.LeftAtLeast > 0:
		v.LeftNote = fmt.Sprintf("At least %d must be left out; that %d must be is not proven.", p.LeftAtLeast, n)
	case n > p.LeftAtLeast:
		v.LeftNote = "That all of these must be left out is not proven."
	case n > 0:
		v.LeftNote = "No plan leaves out fewer. The earlier a job begins, the sooner it is kept."
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

// proofOf says what is proven of the cost.
func proofOf(p *store.Purchases) string {
	if p.Gap == 0 {
		return fmt.Sprintf("Proven least: no cheaper set exists among the parts on record with a price and a lead time (%s weighed).", count(int64(p.Looked), "way was", "ways were"))
	}
	return fmt.Sprintf("At most %s %s above the least possible: any set costs at least %s %s. The search was ended before it could prove more.",
		p.Currency, money2(p.Gap), p.Currency, money2(p.Bound))
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
