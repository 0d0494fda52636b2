package reorder

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"testing"
)

// The tolerances stand in the files; a whole number must be met exactly.
var referenceFiles = []struct {
	file, kind string
	rel        float64
	cases      int
}{
	{"eoq.json", "order-quantity", 1e-9, 26},
	{"reorder_point.json", "reorder-point", 1e-7, 57},
	{"croston.json", "intermittent", 1e-9, 9},
	{"classification.json", "demand-class", 1e-9, 11},
	{"classification.json", "abc", 1e-9, 3},
}

// TestReference answers every case of every file; each carries its source.
func TestReference(t *testing.T) {
	for _, rf := range referenceFiles {
		raw, err := os.ReadFile("../../testdata/reorder/" + rf.file)
		if err != nil {
			t.Fatal(err)
		}
		list, err := List(rf.kind, raw)
		if err != nil || len(list) != rf.cases {
			t.Fatalf("List(%s, %s) holds %d cases, %v; want %d", rf.kind, rf.file, len(list), err, rf.cases)
		}
		for _, c := range list {
			var ask map[string]any
			if err := json.Unmarshal(c, &ask); err != nil {
				t.Fatal(err)
			}
			want, ok := ask["expected"].(map[string]any)
			if rf.kind == "intermittent" { // questions and answers stand in the same objects
				want, ok = map[string]any{}, true
				for _, k := range []string{"periods", "nonzero", "croston", "tsb", "croston_given_start"} {
					if v, has := ask[k]; has {
						want[k] = v
					}
				}
			}
			if !ok {
				t.Fatalf("%s %v has no expected", rf.file, ask["id"])
			}
			answer, refused := Respond(rf.kind, c)
			out, err := json.Marshal(answer)
			if err != nil {
				t.Fatal(err)
			}
			var got map[string]any
			if err := json.Unmarshal(out, &got); err != nil {
				t.Fatal(err)
			}
			if (refused != nil) != (want["status"] == "invalid") {
				t.Errorf("%s %v: error %v, want status %v", rf.file, ask["id"], refused, want["status"])
			}
			if d := differs(want, got, rf.rel, rf.kind == "intermittent"); d != "" {
				t.Errorf("%s %v: %s (source: %v)", rf.file, ask["id"], d, ask["source"])
			}
			if got["id"] != ask["id"] {
				t.Errorf("%s %v: id %v not echoed", rf.file, ask["id"], got["id"])
			}
		}
	}
}

// differs compares what the file expects with what came; members that the file leaves out
// are free. It returns the first difference as text.
func differs(want, got any, rel float64, sameShape bool) string {
	switch w := want.(type) {
	case map[string]any:
		g, ok := got.(map[string]any)
		if !ok {
			return fmt.Sprintf("got %v, want an object", got)
		}
		for k, v := range w {
			x, has := g[k]
			if !has {
				return "no member " + k
			}
			if d := differs(v, x, rel, sameShape); d != "" {
				return k + ": " + d
			}
		}
		return ""
	case []any:
		g, ok := got.([]any)
		if !ok || len(g) != len(w) {
			return fmt.Sprintf("got %v, want %v", got, want)
		}
		for i := range w {
			if d := differs(w[i], g[i], rel, sameShape); d != "" {
				return fmt.Sprintf("[%d]: %s", i, d)
			}
		}
		return ""
	case float64:
		g, ok := got.(float64)
		// Expected figures have 12 digits, so 0 may be their rounding noise.
		if !ok || math.Abs(g-w) > rel*math.Abs(w)+1e-12 {
			return fmt.Sprintf("got %v, want %v", got, w)
		}
		return ""
	}
	if want != got {
		return fmt.Sprintf("got %v, want %v", got, want)
	}
	return ""
}

// TestPublished allows 0.5 % against what a book printed, never against the exact value.
func TestPublished(t *testing.T) {
	compared := 0
	for _, rf := range referenceFiles[:2] {
		raw, err := os.ReadFile("../../testdata/reorder/" + rf.file)
		if err != nil {
			t.Fatal(err)
		}
		list, _ := List(rf.kind, raw)
		for _, c := range list {
			var ask struct {
				ID        string
				Source    string
				Published map[string]any
			}
			if err := json.Unmarshal(c, &ask); err != nil {
				t.Fatal(err)
			}
			answer, _ := Respond(rf.kind, c)
			for name, printed := range ask.Published {
				w, ok := printed.(float64)
				if !ok {
					continue
				}
				v := answer.Get(name)
				if i, whole := v.(int); whole {
					v = float64(i)
				}
				got, ok := v.(float64)
				if !ok {
					continue // printed under another name than ours
				}
				compared++
				if math.Abs(got-w) > 0.005*math.Abs(w)+0.5*boolTo1(name == "Q" || name == "max_backorder") {
					t.Errorf("%s %s: %v, printed %v (%s)", ask.ID, name, got, w, ask.Source)
				}
			}
		}
	}
	if compared < 25 {
		t.Errorf("only %d printed figures compared", compared)
	}
}

// boolTo1 allows half a piece where a book rounds pieces.
func boolTo1(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
