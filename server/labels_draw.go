package server

import (
	"strings"

	"brasspeg/labels"
	"brasspeg/store"
)

// DrawLabels puts what the store says of things into the form that package labels draws.
// printed is the date of print, as it shall read.
func DrawLabels(texts []store.LabelText, printed string) []labels.Label {
	out := make([]labels.Label, len(texts))
	for i, t := range texts {
		out[i] = drawLabel(t, printed)
	}
	return out
}

// cardNotes are for the cards that package labels has no words for.
var cardNotes = map[string]string{
	"issue":   "then scan what goes out and who takes it",
	"inspect": "then scan what has to be looked at",
	"regrind": "then scan what goes to the grinder, and the days until it is back",
	"scrap":   "then scan what is scrapped, and the quantity key of the reason",
	"move":    "then scan the thing and the drawer it goes into",
	"clear":   "puts away what was scanned; nothing is booked",
}

func drawLabel(t store.LabelText, printed string) labels.Label {
	if t.Key > 0 {
		return labels.QuantityKey(t.Key, t.Tag, printed)
	}
	if t.Reason {
		return labels.ReasonCard(t.Title, t.Tag, printed)
	}
	if t.Kind == "act" {
		l := labels.ActCard(labels.Deed(strings.ReplaceAll(t.Title, "-", " ")), t.Tag, printed)
		if note, ok := cardNotes[t.Title]; ok {
			l.Title, l.Note = strings.ToUpper(l.Title[:1])+l.Title[1:], note
		}
		return l
	}
	l := labels.Label{Tag: t.Tag, Kind: labels.Kind(t.Kind), Head: t.Head, Title: t.Title, Never: t.Never, Note: t.Note, Printed: printed}
	for _, s := range t.Sizes {
		l.Sizes = append(l.Sizes, labels.Size{Name: s.Name, Value: s.Value, Unit: s.Unit, Large: s.Large})
	}
	return l
}
