package stack

import (
	"fmt"
	"testing"
)

// What is bought for a bar held by its coupling is the head that is not too long, however many
// longer ones are on hand.
func TestPurchaseBesideCoupledBar(t *testing.T) {
	parts := []string{coupledHolder, coupledBar, someInserts}
	for i := range 12 {
		parts = append(parts, with(t, shortHead, fmt.Sprintf(`{"id":"HED-L%d","LF":120,"qty":9}`, i)))
	}
	s := shop(t, parts...)
	if err := s.AddPart(priced(read(t, shortHead), 12_000, 5)); err != nil {
		t.Fatal(err)
	}
	r := request40()
	r.Job = "J-1"
	p := s.Purchases(Plan{Today: "2026-03-01", Jobs: []Request{r}})
	if len(p.Lines) != 1 || p.Lines[0].Part.Code != "HED-S" || p.Cents != 12_000 || len(p.Unsolved) > 0 {
		t.Errorf("bought %+v for %d cents, unsolved %v; want HED-S for 12000", p.Lines, p.Cents, p.Unsolved)
	}
}
