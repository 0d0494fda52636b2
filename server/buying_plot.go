package server

import (
	"bytes"
	"fmt"
	"image/color"
	"math"
	"net/http"

	"github.com/labstack/echo/v4"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"

	"brasspeg/store"
	"brasspeg/store/reorder"
)

// The colours of a plot: those of the light theme and of paper, see app.css.
var (
	plotGround = color.NRGBA{0xf6, 0xf1, 0xe7, 0xff}
	plotInk    = color.NRGBA{0x1c, 0x1a, 0x17, 0xff}
	plotFaint  = color.NRGBA{0x5f, 0x57, 0x4a, 0xff}
	plotRule   = color.NRGBA{0xb9, 0xb0, 0xa0, 0xff}
	plotAccent = color.NRGBA{0x7a, 0x5c, 0x1e, 0xff}
	plotWarn   = color.NRGBA{0x8a, 0x2d, 0x1f, 0xff}
	plotBand   = color.NRGBA{0x7a, 0x5c, 0x1e, 0x2e}
)

// lookBack is how many days of the past a plot shows.
const lookBack = 90

// stockPlot draws stock over time: GET /buying/parts/:code/stock.svg.
func (s *Server) stockPlot(c echo.Context) error {
	ctx := c.Request().Context()
	p, err := s.store.PartByCode(ctx, c.Param("code"))
	if err != nil {
		return err
	}
	l, err := s.store.BuyLine(ctx, p.ID)
	if err != nil {
		return err
	}
	past, err := s.store.StockHistory(ctx, l, l.Today()-lookBack)
	if err != nil {
		return err
	}
	svg, err := drawStock(l, past)
	if err != nil {
		return err
	}
	return sendPacked(c, http.StatusOK, "image/svg+xml", svg)
}

// ahead is what is expected of a part from today on: the mean and the range of nine cases in
// ten, a day each.
type aheadDay struct{ mean, low, high float64 }

func aheadOf(l *store.BuyLine, days int) []aheadDay {
	f := l.Advice.Forecast
	weekly, variance := f.Weekly, f.SD*f.SD // of a week
	if len(f.Sizes) > 0 {                   // rare withdrawals: rate times the mean square of their size
		m1, m2 := 0.0, 0.0
		for _, x := range f.Sizes {
			m1 += float64(x.N) * x.P
			m2 += float64(x.N) * float64(x.N) * x.P
		}
		if m1 > 0 {
			variance = weekly * m2 / m1
		}
	}
	out := make([]aheadDay, days+1)
	stock := float64(l.Advice.Free)
	jobVar := 0.0
	for n := range out {
		d := l.Today() + reorder.Day(n)
		for _, o := range l.Arrivals {
			if max(o.Due, l.Today()+1) == d {
				stock += float64(o.Units)
			}
		}
		for _, j := range l.Needs {
			if max(j.Need, l.Today()) == d {
				stock -= float64(j.Left)
				jobVar += j.SD * j.SD
			}
		}
		if n > 0 {
			stock -= weekly / 7
		}
		half := 1.6449 * math.Sqrt(variance*float64(n)/7+jobVar) // 5 of 100 on each side
		out[n] = aheadDay{stock, stock - half, stock + half}
	}
	return out
}

// drawStock draws the past, what is expected with its range, the reorder point, the days that
// matter and the planned jobs.
func drawStock(l *store.BuyLine, past []store.StockDay) ([]byte, error) {
	days := min(180, max(45, 2*l.Lead.Plan))
	for _, n := range l.Needs {
		days = max(days, min(180, int(n.Need-l.Today())+7))
	}
	p := plot.New()
	p.BackgroundColor = plotGround
	p.X.Tick.Marker = dayTicks{l.Today()}
	p.Y.Label.Text = l.Unit.Many
	for _, ax := range []*plot.Axis{&p.X, &p.Y} {
		ax.Color, ax.Label.TextStyle.Color, ax.Tick.Color, ax.Tick.Label.Color = plotFaint, plotFaint, plotFaint, plotInk
		ax.LineStyle.Width, ax.Tick.LineStyle.Width = vg.Points(0.5), vg.Points(0.5)
		ax.Tick.Label.Font.Size, ax.Label.TextStyle.Font.Size = 9, 9
	}
	future := aheadOf(l, days)
	top := float64(max(l.OnHand, l.Advice.Point, 4))
	var line plotter.XYs
	for i, d := range past {
		x := float64(d.Day - l.Today())
		if i > 0 {
			line = append(line, plotter.XY{X: x, Y: float64(past[i-1].Units)})
		}
		line = append(line, plotter.XY{X: x, Y: float64(d.Units)})
		top = max(top, float64(d.Units))
	}
	var band, mean plotter.XYs
	for n, f := range future {
		band = append(band, plotter.XY{X: float64(n), Y: f.high})
		mean = append(mean, plotter.XY{X: float64(n), Y: f.mean})
		top = max(top, f.high)
	}
	for n := len(future) - 1; n >= 0; n-- {
		band = append(band, plotter.XY{X: float64(n), Y: future[n].low})
	}
	bottom := 0.0
	for _, f := range future {
		bottom = min(bottom, max(f.low, -top/3))
	}
	for i := range band {
		band[i].Y = min(max(band[i].Y, bottom), top*1.02)
	}
	for i := range mean {
		mean[i].Y = max(mean[i].Y, bottom)
	}
	poly, err := plotter.NewPolygon(band)
	if err != nil {
		return nil, err
	}
	poly.Color, poly.LineStyle.Width = plotBand, 0
	p.Add(poly)
	add := func(xy plotter.XYs, c color.Color, w float64, dash ...vg.Length) error {
		ln, err := plotter.NewLine(xy)
		if err != nil {
			return err
		}
		ln.Color, ln.Width, ln.Dashes = c, vg.Points(w), dash
		p.Add(ln)
		return nil
	}
	first := float64(-lookBack)
	a := l.Advice
	orderBy, hasOrder := float64(a.Alert.OrderBy-l.Today()), a.Order > 0
	type draws struct {
		xy   plotter.XYs
		c    color.Color
		w    float64
		dash []vg.Length
	}
	level := func(y float64) plotter.XYs { return plotter.XYs{{X: first, Y: y}, {X: float64(days), Y: y}} }
	upright := func(x, y float64) plotter.XYs { return plotter.XYs{{X: x, Y: bottom}, {X: x, Y: y}} }
	all := []draws{{level(0), plotInk, 0.5, nil}}
	if a.Point > 0 {
		all = append(all, draws{level(float64(a.Point)), plotAccent, 0.9, []vg.Length{4, 3}})
	}
	all = append(all, draws{upright(0, top), plotRule, 0.6, nil})
	if hasOrder {
		all = append(all, draws{upright(orderBy, top), plotWarn, 1, []vg.Length{2, 2}}, draws{upright(min(float64(days), orderBy+float64(l.Lead.Plan)), top), plotWarn, 0.6, []vg.Length{2, 2}})
	}
	if len(line) > 1 {
		all = append(all, draws{line, plotInk, 1.4, nil})
	}
	all = append(all, draws{mean, plotInk, 1.2, []vg.Length{5, 3}})
	for _, d := range all {
		if err := add(d.xy, d.c, d.w, d.dash...); err != nil {
			return nil, err
		}
	}
	texts := plotter.XYLabels{}
	say := func(x, y float64, t string) {
		texts.XYs = append(texts.XYs, plotter.XY{X: x, Y: y})
		texts.Labels = append(texts.Labels, t)
	}
	if a.Point > 0 {
		say(first+1, float64(a.Point)+top*0.015, fmt.Sprintf("reorder point %d", a.Point))
	}
	say(0.6, top*1.02, "today")
	if hasOrder {
		say(orderBy+0.6, top*0.94, "order by "+a.Alert.OrderBy.Say(l.Today()))
		say(min(float64(days), orderBy+float64(l.Lead.Plan))+0.6, top*0.86, "latest arrival")
	}
	for i, n := range l.Needs {
		if x := float64(max(n.Need, l.Today()) - l.Today()); x <= float64(days) && i < 8 {
			say(x+0.6, top*(0.76-0.06*float64(i%6)), fmt.Sprintf("%s takes %d", n.Job, n.Left))
		}
	}
	labels, err := plotter.NewLabels(texts)
	if err != nil {
		return nil, err
	}
	for i := range labels.TextStyle {
		labels.TextStyle[i].Font.Size = 8.5
		labels.TextStyle[i].Color = plotFaint
	}
	p.Add(labels)
	p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = first, float64(days), bottom, top*1.1
	canvas := vgsvg.New(24*vg.Centimeter, 9*vg.Centimeter)
	p.Draw(draw.New(canvas))
	var b bytes.Buffer
	if _, err := canvas.WriteTo(&b); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

// dayTicks writes days as dates, about ten of them.
type dayTicks struct{ today reorder.Day }

func (t dayTicks) Ticks(lo, hi float64) []plot.Tick {
	step := 7
	for (hi-lo)/float64(step) > 12 {
		step += 7
	}
	var out []plot.Tick
	for d := int(math.Ceil(lo/float64(step))) * step; d <= int(hi); d += step {
		out = append(out, plot.Tick{Value: float64(d), Label: (t.today + reorder.Day(d)).Time().Format("2 Jan")})
	}
	return out
}
