package store

import (
	"math"
	"testing"

	"brasspeg/store/life"
)

// Where lives are on record the rest of a job is what the life room expects of it, less what
// the job holds already, and its scatter goes into the point to order at.
func TestBuyingAsksTheLives(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		b := newBench(s, 2)
		for _, parts := range []int{21, 24, 20, 26, 18, 22, 25, 19, 23, 21, 24, 20} {
			b.log(EdgeIn{Parts: parts, Reason: life.Worn})
		}
		j, err := s.Job(ctx, b.job.ID)
		s.must(err)
		j.PartsQty = j.PartsDone + 600
		_, err = s.SaveJob(ctx, s.boss.ID, j)
		s.must(err)
		need, err := s.JobEdges(ctx, b.job.ID, 0.5)
		s.must(err)
		if need.Need == nil {
			t.Fatalf("no forecast: %s", need.Says)
		}
		want := int(math.Ceil(need.Need.Demand.ExpectedEdges)) - need.Held
		l := s.line(b.ins)
		if len(l.Needs) != 2 || l.Needs[0].Job != j.Code || l.Needs[0].Left != want || l.Needs[0].SD != need.Need.Demand.SDEdges || want < 10 {
			t.Errorf("buying expects %+v of J-1, and of J-2 which runs the same; the life room %d edges with scatter %v", l.Needs, want, need.Need.Demand.SDEdges)
		}
		if l.Advice.Forecast.Weekly != 0 {
			t.Errorf("what the job took counts as use without a job: %v a week", l.Advice.Forecast.Weekly)
		}
	})
}
