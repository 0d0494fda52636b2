package stack

import (
	"errors"
	"reflect"
	"strings"
	"testing"
)

// FuzzReadCases: no text of a person makes the reader or the search panic, every fault is a
// named field, and an accepted part survives the round trip.
func FuzzReadCases(f *testing.F) {
	const good = `{"id":"x","request":{"job":"J","need_date":"2026-03-16","station":{"interface":"VDI50","coolant_port":"F:G 1/4","coolant_max_bar":50},"bore_start_d":40,"depth":120,"clearance":15,"hand":"R","insert":{"seat":"CCMT09T3","RE":0.4},"coolant":true,"coolant_bar":20},"on_hand":[` +
		`{"kind":"bar","id":"B","DCONMS":25,"construction":"carbide","OAL":300,"CCWS":"H25","coolant":true,"coolant_in":["bore","F:G 1/4"],"status":"in"},` +
		`{"kind":"adapter","id":"A","joints":[{"side":"machine","family":"coupling","code":"H25"},{"side":"workpiece","family":"coupling","code":"H32"}],"LF":40,"DMIN":30,"coolant":true,"status":"in"},` +
		`{"kind":"insert","id":"I","designation":"CCMT 09T304","qty":4,"edges":2,"status":"out","out":{"to":"x","due":"2026-03-18"}}]}`
	f.Add(good)
	f.Add(`[` + good + `,{"cases":[]}]`)
	f.Add(`{"cases":[{"id":1}]}`)
	f.Add(strings.Repeat("[", 100))
	f.Fuzz(func(t *testing.T, text string) {
		cases, err := ReadCases([]byte(text))
		if err != nil {
			if !errors.Is(err, ErrField) {
				t.Errorf("%v is no field", err)
			}
			return
		}
		for i := range cases[:min(len(cases), 8)] {
			c := &cases[i]
			v, err := c.Check()
			if err != nil {
				if !errors.Is(err, ErrField) && c.Err != nil {
					t.Errorf("%v is no field", err)
				}
				continue
			}
			if v.Buildable != (len(v.Stacks) > 0) || v.Buildable && len(v.Options) > 0 {
				t.Errorf("buildable %v with %d stacks and %d options", v.Buildable, len(v.Stacks), len(v.Options))
			}
			for _, it := range c.Items {
				p, err := ReadPartMap(it.Part.Fields())
				if err != nil {
					t.Errorf("%v does not read back: %v", it.Part.Fields(), err)
				} else if !reflect.DeepEqual(p.Fields(), it.Part.Fields()) {
					t.Errorf("%v reads back as %v", it.Part.Fields(), p.Fields())
				}
			}
		}
	})
}
