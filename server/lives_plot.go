package server

import (
	"bytes"
	"errors"
	"fmt"
	"image/color"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"

	"brasspeg/store"
	"brasspeg/store/life"
)

var errNoPlot = errors.New("nothing is logged yet")

// The inks of a life plot, those of paper in app.css. Lines differ by dash and width, so that
// it reads without colour.
var (
	lifeGround = color.NRGBA{0xf6, 0xf1, 0xe7, 0xff}
	lifeInk    = color.NRGBA{0x1c, 0x1a, 0x17, 0xff}
	lifeFaint  = color.NRGBA{0x5f, 0x57, 0x4a, 0xff}
	lifeBand   = color.NRGBA{0x7a, 0x5c, 0x1e, 0x30}
)

func newLifePlot(x, y string) *plot.Plot {
	p := plot.New()
	p.BackgroundColor = lifeGround
	p.X.Label.Text, p.Y.Label.Text = x, y
	for _, ax := range []*plot.Axis{&p.X, &p.Y} {
		ax.Color, ax.Tick.Color = lifeFaint, lifeFaint
		ax.Label.TextStyle.Color, ax.Tick.Label.Color = lifeInk, lifeInk
		ax.Label.TextStyle.Font.Size, ax.Tick.Label.Font.Size = 10, 9
	}
	// Text begins at its left end: a browser's font may be wider than the one it was measured with.
	p.Legend.Top, p.Legend.Left = true, true
	p.Legend.XOffs = 4 * vg.Inch
	p.X.Tick.Marker = wholeTicks{}
	p.Legend.TextStyle.Font.Size = 9
	p.Legend.TextStyle.Color = lifeInk
	return p
}

func lifeSVG(p *plot.Plot) ([]byte, error) {
	c := vgsvg.New(7.2*vg.Inch, 3.9*vg.Inch)
	p.Draw(draw.Crop(draw.New(c), vg.Points(8), -vg.Points(14), vg.Points(4), -vg.Points(6)))
	var b bytes.Buffer
	_, err := c.WriteTo(&b)
	return b.Bytes(), err
}

func lifeLine(xy plotter.XYs, width float64, dashes ...vg.Length) (*plotter.Line, error) {
	l, err := plotter.NewLine(xy)
	if err != nil {
		return nil, err
	}
	l.Width, l.Color, l.Dashes = vg.Points(width), lifeInk, dashes
	return l, nil
}

// drawCurve draws what was seen as steps, the fit with its band, and the planned change.
func drawCurve(lv store.LifeView) ([]byte, error) {
	f := &lv.Fit
	if len(f.Observed) == 0 {
		return nil, errNoPlot
	}
	p := newLifePlot("parts on the edge", "share of edges still good, %")
	p.Y.Min, p.Y.Max, p.X.Min = 0, 100, 0
	end := f.Observed[len(f.Observed)-1].Age
	if len(f.Fitted) > 0 {
		var band plotter.XYs
		mid := make(plotter.XYs, len(f.Fitted))
		for i, pt := range f.Fitted {
			mid[i] = plotter.XY{X: pt.Age, Y: 100 * pt.Survival}
			band = append(band, plotter.XY{X: pt.Age, Y: 100 * pt.High})
			end = math.Max(end, pt.Age)
		}
		for i := len(f.Fitted) - 1; i >= 0; i-- {
			band = append(band, plotter.XY{X: f.Fitted[i].Age, Y: 100 * f.Fitted[i].Low})
		}
		poly, err := plotter.NewPolygon(band)
		if err != nil {
			return nil, err
		}
		poly.Color = lifeBand
		poly.LineStyle = draw.LineStyle{Color: lifeFaint, Width: vg.Points(0.5)}
		line, err := lifeLine(mid, 1.6)
		if err != nil {
			return nil, err
		}
		p.Add(poly, line)
		p.Legend.Add(fmt.Sprintf("fit, with its %.0f %% band", 100*f.Options.Level), line)
	}
	steps := plotter.XYs{{X: 0, Y: 100}}
	var marks plotter.XYs
	last := 100.0
	for _, st := range f.Observed {
		steps = append(steps, plotter.XY{X: st.Age, Y: last}, plotter.XY{X: st.Age, Y: 100 * st.Survival})
		last = 100 * st.Survival
		if st.Censored > 0 {
			marks = append(marks, plotter.XY{X: st.Age, Y: last})
		}
	}
	seen, err := lifeLine(steps, 1, vg.Points(3), vg.Points(2))
	if err != nil {
		return nil, err
	}
	p.Add(seen)
	p.Legend.Add("seen (product-limit)", seen)
	if len(marks) > 0 {
		sc, err := plotter.NewScatter(marks)
		if err != nil {
			return nil, err
		}
		sc.GlyphStyle = draw.GlyphStyle{Color: lifeInk, Radius: vg.Points(3), Shape: draw.PlusGlyph{}}
		p.Add(sc)
		p.Legend.Add("taken off still good", sc)
	}
	at := lv.Family.PlannedAt
	word := "planned change"
	if at == 0 && f.Change != nil {
		at, word = f.Change.Parts, "advised change"
	}
	if at > 0 {
		v, err := lifeLine(plotter.XYs{{X: float64(at), Y: 0}, {X: float64(at), Y: 100}}, 1.2, vg.Points(7), vg.Points(3), vg.Points(1), vg.Points(3))
		if err != nil {
			return nil, err
		}
		p.Add(v)
		p.Legend.Add(fmt.Sprintf("%s, %d parts", word, at), v)
		end = math.Max(end, float64(at))
	}
	p.X.Max = end * 1.02
	return lifeSVG(p)
}

// drawCost draws the cost of a part over the change interval, with the cheapest one.
func drawCost(lv store.LifeView) ([]byte, error) {
	f := &lv.Fit
	ch := f.Change
	if ch == nil || f.Options.Costs == nil || len(f.Law) == 0 {
		return nil, errNoPlot
	}
	p := newLifePlot("change after so many parts", "cost of a part")
	p.Y.Min = 0
	end := int(math.Ceil(math.Min(f.Law.Quantile(0.99), 100_000)))
	end = max(end, 2*ch.Parts, 10)
	var xy plotter.XYs
	top := 3 * math.Max(ch.ToFailure, ch.Cost)
	for i := range 121 {
		n := max(1, end*i/120)
		if y := life.CostEvery(f.Law.Survival, *f.Options.Costs, n); y <= top {
			xy = append(xy, plotter.XY{X: float64(n), Y: y})
		}
	}
	if len(xy) < 2 {
		return nil, errNoPlot
	}
	line, err := lifeLine(xy, 1.6)
	if err != nil {
		return nil, err
	}
	flat, err := lifeLine(plotter.XYs{{X: 0, Y: ch.ToFailure}, {X: float64(end), Y: ch.ToFailure}}, 1, vg.Points(3), vg.Points(3))
	if err != nil {
		return nil, err
	}
	p.Add(line, flat)
	p.Legend.Add("changed on plan", line)
	p.Legend.Add("run to failure", flat)
	if ch.Parts > 0 {
		sc, err := plotter.NewScatter(plotter.XYs{{X: float64(ch.Parts), Y: ch.Cost}})
		if err != nil {
			return nil, err
		}
		sc.GlyphStyle = draw.GlyphStyle{Color: lifeInk, Radius: vg.Points(4), Shape: draw.RingGlyph{}}
		p.Add(sc)
		p.Legend.Add(fmt.Sprintf("cheapest, %d parts", ch.Parts), sc)
	}
	return lifeSVG(p)
}

func curveAlt(f *life.Family, fam store.EdgeFamily) string {
	if len(f.Law) == 0 {
		return "No curve: nothing is logged yet."
	}
	t := fmt.Sprintf("Share of edges still good over parts on the edge: half are left at %.0f parts, one in ten at %.0f.", f.Law.Quantile(0.5), f.Law.Quantile(0.9))
	if fam.PlannedAt > 0 {
		t += fmt.Sprintf(" The planned change stands at %d parts.", fam.PlannedAt)
	}
	return t
}

func costAlt(ch *life.Change) string {
	if ch.Parts == 0 {
		return fmt.Sprintf("Cost of a part over the change interval: it falls towards %.3g, running to failure.", ch.ToFailure)
	}
	return fmt.Sprintf("Cost of a part over the change interval: lowest, %.3g, at %d parts; running to failure costs %.3g.", ch.Cost, ch.Parts, ch.ToFailure)
}

// wholeTicks are the usual ticks with whole numbers beside them: parts are counted.
type wholeTicks struct{}

func (wholeTicks) Ticks(low, high float64) []plot.Tick {
	ticks := plot.DefaultTicks{}.Ticks(low, high)
	for i := range ticks {
		if ticks[i].Label != "" {
			ticks[i].Label = figure(ticks[i].Value, 1)
		}
	}
	return ticks
}
