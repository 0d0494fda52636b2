package labels

import (
	"bytes"
	"image"
	"image/png"
	"testing"
)

// reasonTags are the texts that the page of a machine understands, by reason.
var reasonTags = map[string]string{
	"planned": "EDGE-PLANNED", "worn": "EDGE-WORN", "finish": "EDGE-FINISH", "size": "EDGE-SIZE",
	"chipped": "EDGE-CHIPPED", "broken": "EDGE-BROKEN", "chatter": "EDGE-CHATTER", "end of job": "EDGE-END",
}

// Every reason card, on a label of 50 x 25 mm at 203 dpi and on a cell of an A4 sheet at 300,
// is read by programs that know nothing of ours; each has words and a shape of its own.
func TestReasonCardsAreRead(t *testing.T) {
	var pics []image.Image
	var want []string
	seen := map[string]string{}
	for reason, tag := range reasonTags {
		l := ReasonCard(reason, tag, "2026-11-25")
		if l.Note == "" || seen[l.Title] != "" || seen[l.Note] != "" {
			t.Errorf("the card of %s says %q and %q", reason, l.Title, l.Note)
		}
		seen[l.Title], seen[l.Note] = reason, reason
		for _, m := range []struct {
			a   Area
			dpi int
		}{{Area{50, 25}, 203}, {Standing, 300}} {
			b, err := PNG(l, m.a, m.dpi)
			if err != nil {
				t.Fatal(err)
			}
			p, err := png.Decode(bytes.NewReader(b))
			if err != nil {
				t.Fatal(err)
			}
			pics, want = append(pics, p), append(want, tag)
		}
	}
	for _, r := range readers(t, false) {
		for i, got := range r.read(t, pics) {
			if got != want[i] {
				t.Errorf("%s reads %q from the card of %s", r.name, got, want[i])
			}
		}
	}
}
