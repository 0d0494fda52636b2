package server

import (
	"encoding/json"
	"reflect"
	"strings"
	"testing"

	"brasspeg/store/stack"
)

// Everything the search for purchases tells is in the answer, and the description knows it: each
// field of the result is filled, and each member of the answer must be there and not empty.
func TestPurchasesAnswerTellsAll(t *testing.T) {
	part := &stack.Part{Code: "SLV-5025"}
	p := stack.Purchases{
		Lines: []stack.PurchaseLine{{Part: part, Qty: 2, Cents: 43600, Jobs: []string{"J-1", "J-2"}, By: "2026-12-02"}},
		Cents: 43600, Bound: 43000, Gap: 600, Currency: "EUR", Looked: 7,
		Unsolved:    []stack.Unsolved{{Job: "J-3", Why: "comes too late", Parts: []*stack.Part{part}, Best: &stack.Option{Text: "a sleeve"}}},
		Left:        []stack.Left{{Job: "J-4", Why: "all there is goes to J-1", Parts: []*stack.Part{part}, With: []string{"J-1"}}},
		LeftAtLeast: 1, FewEdges: []string{"J-2"},
		Singles: []stack.Single{{Part: part, Qty: 3, Cents: 65400, Jobs: []string{"J-1"}}},
	}
	for v, i := reflect.ValueOf(p), 0; i < v.NumField(); i++ {
		if v.Field(i).IsZero() {
			t.Fatalf("%s is new and not told here: fill it, and tell it in the answer", v.Type().Field(i).Name)
		}
	}
	b, err := json.Marshal(purchasesOutOf(&p))
	must(t, err)
	const want = `{"currency":"EUR","cents":43600,"bound_cents":43000,"gap_cents":600,` +
		`"lines":[{"part":"SLV-5025","pieces":2,"cents":43600,"by":"2026-12-02","jobs":["J-1","J-2"]}],` +
		`"singles":[{"part":"SLV-5025","pieces":3,"cents":65400,"jobs":["J-1"]}],` +
		`"unsolved":[{"job":"J-3","why":"comes too late","parts":["SLV-5025"],"best":"a sleeve"}],` +
		`"left":[{"job":"J-4","why":"all there is goes to J-1","parts":["SLV-5025"],"with":["J-1"]}],"left_at_least":1,"few_edges":["J-2"]}`
	if string(b) != want {
		t.Errorf("answer %s\nwant %s", b, want)
	}
	schema := describedAPI(t, string(openAPISource)).Components.Schemas["Purchases"].Value
	for _, answer := range []stack.Purchases{p, {}} { // and of nothing no list is null
		var v any
		b, err := json.Marshal(purchasesOutOf(&answer))
		must(t, err)
		must(t, json.Unmarshal(b, &v))
		if err := schema.VisitJSON(v); err != nil {
			t.Errorf("%s does not fit its description: %v", b, err)
		}
		if strings.Contains(string(b), "null") {
			t.Errorf("a list is null: %s", b)
		}
	}
}
