package stack

import "cmp"

// An Answer is a verdict as programs read it: the fields of the reference cases' `expected`,
// and beside them what a person would ask next.
type Answer struct {
	ID        string             `json:"id"`
	Buildable bool               `json:"buildable"`
	Warnings  []Code             `json:"warnings"`
	Reasons   []Code             `json:"reasons"`
	Missing   [][]AnswerPart     `json:"missing"`
	Note      string             `json:"note"`
	Parts     []string           `json:"parts,omitempty"`
	Overhang  Opt                `json:"overhang_mm,omitzero"`
	Ratio     Opt                `json:"overhang_ratio,omitzero"`
	Clamp     Opt                `json:"clamp_ratio,omitzero"`
	Mass      Opt                `json:"mass_kg,omitzero"`
	Limit     Opt                `json:"coolant_limit_bar,omitzero"`
	Weakest   string             `json:"coolant_weakest,omitempty"`
	Available Date               `json:"available_on,omitempty"`
	HeldBy    string             `json:"held_by,omitempty"`
	Why       []Reason           `json:"sentences,omitempty"` // of the warnings or reasons
	Options   []AnswerOption     `json:"options,omitempty"`   // one for each of missing, in the same order
	Places    map[string]string  `json:"places,omitempty"`    // piece -> drawer
	Coolant   []string           `json:"coolant_route,omitempty"`
	Checks    []Check            `json:"checks,omitempty"`
	Remarks   []string           `json:"remarks,omitempty"`
	Estimates map[string]float64 `json:"estimates,omitempty"` // mechanics, unit in the name
	Others    []AnswerStack      `json:"others,omitempty"`    // further stacks, best first
	Worse     []AnswerWorse      `json:"worse,omitempty"`
	Misses    []Miss             `json:"near_misses,omitempty"`
}

// An AnswerPart is a missing part with every size it must have.
type AnswerPart struct {
	Kind     Kind           `json:"kind"`
	Requires map[string]any `json:"requires"`
}

// An AnswerOption tells how an option is to be had.
type AnswerOption struct {
	Text      string         `json:"text"`
	Prefers   map[string]any `json:"prefers,omitempty"`
	Warnings  []Code         `json:"warnings,omitempty"` // raised once it is built so
	Owned     []string       `json:"owned,omitempty"`
	Catalogue []string       `json:"catalogue,omitempty"`
	Supplies  []AnswerSupply `json:"supplies,omitempty"`
	Available Date           `json:"available_on,omitempty"`
	Earliest  Date           `json:"earliest,omitempty"` // by waiting or buying, when every part has a day
	HeldBy    string         `json:"held_by,omitempty"`
	Price     Opt            `json:"price_cents,omitzero"`
	Currency  string         `json:"currency,omitempty"`
	LeadDays  Opt            `json:"lead_days,omitzero"`
}

// An AnswerSupply is a piece or a recorded part that would do for a missing one.
type AnswerSupply struct {
	Kind     Kind   `json:"kind"`
	State    Code   `json:"state"`          // OUT, RESERVED, QUARANTINE, LOST, ON_ORDER; CATALOGUE: to be bought
	Item     string `json:"item,omitempty"` // tag
	Part     string `json:"part"`
	HeldBy   string `json:"held_by,omitempty"`
	Job      string `json:"job,omitempty"`
	Why      string `json:"why,omitempty"`
	Ordered  Date   `json:"ordered,omitempty"`
	From     Date   `json:"from,omitempty"` // first day it can be had
	Price    Opt    `json:"price_cents,omitzero"`
	Currency string `json:"currency,omitempty"`
	LeadDays Opt    `json:"lead_days,omitzero"`
}

// codeBook is the state of a recorded part that is to be bought.
const codeBook Code = "CATALOGUE"

func (m *Missing) supplies() (out []AnswerSupply) {
	for _, b := range m.Owned {
		out = append(out, AnswerSupply{Kind: m.Kind, State: b.Code, Item: b.Item.ID, Part: b.Item.Part.Code, HeldBy: b.HeldBy, Job: b.Job,
			Why: b.Why, Ordered: b.Item.Ordered, From: b.From})
	}
	for _, b := range m.Catalogue {
		s := AnswerSupply{Kind: m.Kind, State: codeBook, Part: b.Part.Code, Price: b.Part.PriceCents, LeadDays: b.Part.LeadDays}
		if s.Price.Known {
			s.Currency = b.Part.Currency
		}
		out = append(out, s)
	}
	return out
}

// An AnswerStack is a further stack in short.
type AnswerStack struct {
	Parts    []string `json:"parts"`
	Warnings []Code   `json:"warnings"`
	Overhang float64  `json:"overhang_mm"`
	Ratio    float64  `json:"overhang_ratio"`
}

// An AnswerWorse is a yes to an easier question.
type AnswerWorse struct {
	What    string      `json:"what"`
	Changes string      `json:"changes"`
	Stack   AnswerStack `json:"stack"`
}

// Answer writes the verdict for programs under the id of its case.
func (v *Verdict) Answer(id string) Answer {
	a := Answer{ID: id, Buildable: v.Buildable, Warnings: []Code{}, Reasons: []Code{}, Missing: [][]AnswerPart{},
		Limit: v.CoolantLimit, Weakest: v.Weakest, Available: v.AvailableOn, HeldBy: v.HeldBy, Misses: v.Misses}
	for _, r := range v.Reasons {
		a.Reasons = append(a.Reasons, r.Code)
	}
	a.Why = v.Reasons
	for i := range v.Options {
		o := &v.Options[i]
		parts := []AnswerPart{}
		b := AnswerOption{Text: o.Text, Available: o.AvailableOn, Earliest: o.Earliest, HeldBy: o.HeldBy, Price: o.PriceCents, Currency: o.Currency, LeadDays: o.LeadDays}
		for j := range o.Parts {
			m := &o.Parts[j]
			parts = append(parts, AnswerPart{m.Kind, m.Requires()})
			for _, n := range m.Prefers {
				if b.Prefers == nil {
					b.Prefers = map[string]any{}
				}
				b.Prefers[n.Name] = n.Value
			}
			for _, w := range m.Owned {
				b.Owned = append(b.Owned, w.Text)
			}
			b.Supplies = append(b.Supplies, m.supplies()...)
			for _, w := range m.Catalogue {
				b.Catalogue = append(b.Catalogue, w.Text)
			}
		}
		for _, w := range o.Warnings {
			b.Warnings = append(b.Warnings, w.Code)
		}
		a.Missing, a.Options = append(a.Missing, parts), append(a.Options, b)
	}
	for i := range v.Worse {
		w := &v.Worse[i]
		a.Worse = append(a.Worse, AnswerWorse{w.What, w.Changes, w.Stack.short()})
	}
	if len(v.Stacks) == 0 {
		a.Note = v.Sentence()
		return a
	}
	st := &v.Stacks[0]
	s := st.short()
	a.Parts, a.Warnings, a.Why = s.Parts, s.Warnings, st.Warnings
	a.Overhang, a.Ratio, a.Mass = Some(s.Overhang), Some(s.Ratio), st.Mass
	if c := st.ClampRatio(); c.Known {
		a.Clamp = Some(round(c.V, 3))
	}
	if a.Mass.Known {
		a.Mass.V = round(a.Mass.V, 3)
	}
	for _, u := range st.Pieces {
		if u.Place != "" {
			if a.Places == nil {
				a.Places = map[string]string{}
			}
			a.Places[u.ID()] = u.Place
		}
	}
	a.Coolant, a.Checks, a.Remarks, a.Estimates = st.Route.Steps, st.Checks, st.Remarks, st.Mech.known()
	for i := range v.Stacks[1:] {
		a.Others = append(a.Others, v.Stacks[i+1].short())
	}
	a.Note = v.Sentence()
	return a
}

func (s *Stack) short() AnswerStack {
	out := AnswerStack{Parts: s.IDs(), Warnings: []Code{}, Overhang: round(s.Overhang, 3), Ratio: round(s.Ratio, 3)}
	for _, w := range s.Warnings {
		out.Warnings = append(out.Warnings, w.Code)
	}
	return out
}

// Sentence says the verdict to a person in a line or two.
func (v *Verdict) Sentence() string {
	if v.Buildable {
		st := &v.Stacks[0]
		text := "Can be built: set it " + num(round(st.Overhang, 3)) + " mm out, " + num(round(st.Ratio, 2)) + " x D."
		for _, w := range st.Warnings {
			text += " Note: " + w.Text + "."
		}
		return text
	}
	text := "Cannot be built"
	for i, r := range v.Reasons {
		text += cmp.Or(map[int]string{0: ": "}[i], "; ") + r.Text
	}
	text += "."
	if len(v.Options) > 0 {
		text += " Would do: " + v.Options[0].Text + "."
	}
	if v.AvailableOn != "" {
		text += " By waiting: on " + string(v.AvailableOn) + "."
	}
	return text
}
