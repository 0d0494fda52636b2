package store

import (
	"errors"
	"strings"
	"testing"
	"time"

	"brasspeg/store/life"
)

// What a change is told with: what to do with the insert, the day where it is not today's, and
// nothing that was undone.
func TestEdgeChangeInWords(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		b := newBench(s, 3)
		ended := func(r life.Reason, finished bool) string {
			t.Helper()
			b.clock.step(3 * time.Minute)
			o := op(b.op1)
			rc, err := b.LogEdge(ctx, o, EdgeIn{Station: b.st.ID, Item: b.box.ID, Parts: 10, Reason: r, Finished: finished, Note: "note of it"})
			b.must(err)
			return rc.Says
		}
		for _, tt := range []struct {
			reason   life.Reason
			finished bool
			says     string
		}{
			{life.Worn, false, "Edge 2 is up; 1 left after it."},
			{life.Broken, false, "undo this and tick that no other edge"},
			{life.EndOfJob, false, "goes to the scrap tub"}, // its last
			{life.EndOfJob, false, "bring it to the window"},
			{life.Broken, true, "1 edge was given up unused; the insert goes to the scrap tub"},
		} {
			if says := ended(tt.reason, tt.finished); !strings.Contains(says, tt.says) {
				t.Errorf("%s: %q does not say %q", tt.reason, says, tt.says)
			}
		}
		view, err := s.MachineView(ctx, "L2")
		s.must(err)
		if h := strings.Join(view.Handover, " "); !strings.Contains(h, "station 5, at ") || !strings.Contains(h, "Note, at ") {
			t.Errorf("the same day: %s", h)
		}
		day := b.clock.now().Local().Format("on Mon 2 Jan at ")
		b.clock.step(26 * time.Hour)
		view, err = s.MachineView(ctx, "L2")
		s.must(err)
		if h := strings.Join(view.Handover, " "); !strings.Contains(h, "station 5, "+day) || !strings.Contains(h, "Note, "+day) {
			t.Errorf("the next day: %s, want %q", h, day)
		}
		if _, err := s.LogEdge(ctx, op(b.gate), EdgeIn{Station: b.st.ID, Item: b.box.ID, Parts: 10, Reason: life.Worn, After: "none"}); !errors.Is(err, ErrExists) || !strings.Contains(err.Error(), "logged "+day) {
			t.Errorf("a page of yesterday: %v", err)
		}
		last := ended(life.Chipped, false)
		view, err = s.MachineView(ctx, "L2")
		s.must(err)
		_, err = s.Reverse(ctx, op(b.boss), view.Latest[0].OpID, "not this one")
		s.must(err)
		view, err = s.MachineView(ctx, "L2")
		s.must(err)
		if strings.Contains(view.Handover[0], "chipped") || !view.Latest[0].Undone || !strings.Contains(last, "chipped") {
			t.Errorf("an undone change is handed over: %s", view.Handover[0])
		}
	})
}
