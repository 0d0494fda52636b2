package life

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
)

// A Taylor is the line V * T^N = C between cutting speed V and edge life T, in the units of the
// data (m/min and min, as a rule). N is above 0 for an edge that lives shorter at more speed.
//
// Source: F. W. Taylor, On the Art of Cutting Metals, Trans. ASME 28 (1907); ISO 3685.
type Taylor struct{ N, C float64 }

// Life returns the life at speed v (> 0): (C/v)^(1/N).
func (t Taylor) Life(v float64) float64 { return math.Pow(t.C/v, 1/t.N) }

// Speed returns the speed at which an edge lives as long as asked (life > 0): C / life^N.
func (t Taylor) Speed(life float64) float64 { return t.C / math.Pow(life, t.N) }

// A TaylorFit is a least-squares line of ln life on ln speed, life being what varies.
type TaylorFit struct {
	Taylor
	Intercept, Slope float64 // of ln T on ln V
	R2               float64
	ResidSD          float64 // of ln T; NaN with two points
	// Swapped is the line of ln V on ln T, shown only so that a swapped regression is known for
	// what it is.
	Swapped Taylor
}

// checkSpeeds refuses lists that no line can be put through: fewer than two different speeds,
// or values at or below 0.
func checkSpeeds(v, life []float64) error {
	if len(v) != len(life) {
		return refuse("invalid", "%d speeds and %d lives: give as many of one as of the other", len(v), len(life))
	}
	for i := range v {
		if !(v[i] > 0 && life[i] > 0) || math.IsInf(v[i], 1) || math.IsInf(life[i], 1) {
			return refuse("invalid", "point %d: speed %g, life %g; both must be above 0", i+1, v[i], life[i])
		}
	}
	for i := range v {
		if v[i] != v[0] {
			return nil
		}
	}
	return refuse("cannot_fit", "no line: lives at two different speeds at least are needed, there are %d of them at one speed", len(v))
}

// FitTaylor puts the Taylor line through speeds and complete lives by least squares; two points
// give the line through both. Refusals: "invalid" for values at or below 0, "cannot_fit" for
// fewer than two speeds or equal lives, and "reject_wrong_sign" when life does not fall with
// speed; the last comes with the fit, to be shown and never used.
func FitTaylor(v, life []float64) (TaylorFit, error) {
	if err := checkSpeeds(v, life); err != nil {
		return TaylorFit{}, err
	}
	x, y := logs(v), logs(life)
	var f TaylorFit
	f.Intercept, f.Slope = stat.LinearRegression(x, y, nil, false)
	f.R2 = stat.RSquared(x, y, nil, f.Intercept, f.Slope)
	f.ResidSD = residSD(len(x), 2, func(i int) float64 { return y[i] - f.Intercept - f.Slope*x[i] })
	if math.Abs(f.Slope)*(slices.Max(x)-slices.Min(x)) < 1e-12 {
		return f, refuse("cannot_fit", "no line: the lives are the same at every speed, so n cannot be told")
	}
	f.Taylor = Taylor{-1 / f.Slope, math.Exp(-f.Intercept / f.Slope)}
	if a, b := stat.LinearRegression(y, x, nil, false); !math.IsNaN(b) {
		f.Swapped = Taylor{-b, math.Exp(a)}
	}
	return f, wrongSign(f.N)
}

func wrongSign(n float64) error {
	if n > 0 {
		return nil
	}
	return refuse("reject_wrong_sign", "not used: in these data life does not fall with speed (n = %.3g); something else than speed changed, or the lives are too few", n)
}

func logs(v []float64) []float64 {
	out := make([]float64, len(v))
	for i := range v {
		out[i] = math.Log(v[i])
	}
	return out
}

// residSD returns the residual standard deviation of n points and p parameters, NaN when
// nothing is left over.
func residSD(n, p int, resid func(i int) float64) float64 {
	if n <= p {
		return math.NaN()
	}
	var ss float64
	for i := range n {
		ss += resid(i) * resid(i)
	}
	return math.Sqrt(ss / float64(n-p))
}

// An Extended is V * T^N * f^A * d^B = C, with feed f and depth d. B is 0 when depth was not
// varied.
type Extended struct{ N, A, B, C float64 }

// Life returns the life at speed v, feed f and depth d, all > 0; d is ignored when B is 0.
func (e Extended) Life(v, f, d float64) float64 {
	c := e.C / v / math.Pow(f, e.A)
	if e.B != 0 {
		c /= math.Pow(d, e.B)
	}
	return math.Pow(c, 1/e.N)
}

// ExtendedFrom returns the form with known exponents through one known life: n > 0, and speed,
// feed, depth and life all > 0.
func ExtendedFrom(n, a, b, v, f, d, life float64) (Extended, error) {
	e := Extended{N: n, A: a, B: b, C: v * math.Pow(life, n) * math.Pow(f, a) * math.Pow(d, b)}
	if !(n > 0 && v > 0 && f > 0 && d > 0 && life > 0 && e.C > 0) || math.IsInf(e.C, 1) {
		return Extended{}, refuse("invalid", "n, speed, feed, depth and life must all be above 0")
	}
	return e, nil
}

// An ExtendedFit is the least-squares plane ln T = b0 + b1 ln V + b2 ln f (+ b3 ln d).
type ExtendedFit struct {
	Extended
	Coef    []float64 // b0, b1, b2 and b3 when depth was given
	ResidSD float64   // of ln T; NaN when there are as many points as coefficients
}

// FitExtended puts the extended Taylor form through complete lives; depth may be nil. As many
// points as coefficients give the plane through all. Refusals as for FitTaylor; "cannot_fit"
// also when speed, feed and depth did not vary independently.
func FitExtended(v, feed, depth, life []float64) (ExtendedFit, error) {
	cols := [][]float64{v, feed}
	if depth != nil {
		cols = append(cols, depth)
	}
	n, p := len(life), len(cols)+1
	a := mat.NewDense(max(n, 1), p, nil)
	for j, col := range cols {
		if len(col) != n {
			return ExtendedFit{}, refuse("invalid", "%d lives, but %d values in column %d: give as many of each", n, len(col), j+1)
		}
		for i, x := range col {
			if !(x > 0 && life[i] > 0) || math.IsInf(x, 1) || math.IsInf(life[i], 1) {
				return ExtendedFit{}, refuse("invalid", "point %d: speed, feed, depth and life must all be above 0", i+1)
			}
			a.Set(i, 0, 1)
			a.Set(i, j+1, math.Log(x))
		}
	}
	if n < p {
		return ExtendedFit{}, refuse("cannot_fit", "no fit: %d points at least are needed, there are %d", p, n)
	}
	y := logs(life)
	var qr mat.QR
	qr.Factorize(a)
	b := mat.NewVecDense(p, nil)
	// Cond is that of the columns as they stand; above 1e10 they say the same thing twice.
	if err := qr.SolveVecTo(b, false, mat.NewVecDense(n, y)); err != nil || !(qr.Cond() < 1e10) {
		return ExtendedFit{}, refuse("cannot_fit", "no fit: speed, feed and depth did not vary independently of each other")
	}
	f := ExtendedFit{Coef: b.RawVector().Data}
	f.ResidSD = residSD(n, p, func(i int) float64 {
		r := y[i] - f.Coef[0]
		for j := range cols {
			r -= f.Coef[j+1] * a.At(i, j+1)
		}
		return r
	})
	b1 := f.Coef[1]
	if math.Abs(b1) < 1e-12 {
		return f, refuse("cannot_fit", "no fit: life does not depend on speed, so n cannot be told")
	}
	f.Extended = Extended{N: -1 / b1, A: f.Coef[2] / b1, C: math.Exp(-f.Coef[0] / b1)}
	if depth != nil {
		f.B = f.Coef[3] / b1
	}
	return f, wrongSign(f.N)
}

// A CensoredTaylor is ln T = B0 + B1 ln V + Sigma*W fitted to lives of which some are unfinished.
type CensoredTaylor struct {
	Taylor
	B0, B1, Sigma float64
	LogLik        float64 // on the time scale
	SEB0, SEB1    float64
}

// FitTaylorCensored fits the Taylor line by maximum likelihood to edges of which some never
// failed; lives[i] ran at speed v[i]. Leaving the unfinished edges out, or taking them as
// failures, bends n and C. Refusals as for FitTaylor, and "no_failures".
func FitTaylorCensored(v []float64, lives []Life, law Law) (CensoredTaylor, error) {
	ages := make([]float64, len(lives))
	for i, l := range lives {
		ages[i] = l.Age
	}
	if err := checkSpeeds(v, ages); err != nil {
		return CensoredTaylor{}, err
	}
	if err := checkLives(lives, false); err != nil {
		return CensoredTaylor{}, err
	}
	if _, failed := tally(lives); failed == 0 {
		return CensoredTaylor{}, refuse("no_failures", "no line: none of these edges failed")
	}
	rows := make([]row, 0, len(lives))
	for i, l := range lives {
		if l.Count > 0 {
			rows = append(rows, row{math.Log(l.Age), []float64{1, math.Log(v[i])}, l.Failed, float64(l.Count)})
		}
	}
	g, err := regress(rows, law)
	if err != nil {
		return CensoredTaylor{}, err
	}
	out := CensoredTaylor{B0: g.beta[0], B1: g.beta[1], Sigma: g.sigma, LogLik: g.logLik, SEB0: g.se(0), SEB1: g.se(1)}
	out.Taylor = Taylor{-1 / out.B1, math.Exp(-out.B0 / out.B1)}
	return out, wrongSign(out.N)
}

// RatioLife returns by what factor the life changes when the speed is multiplied by factor (>
// 0): factor^(-1/n). At n = 0.5 half the speed gives four times the life.
func RatioLife(n, factor float64) (float64, error) {
	if !(n > 0 && factor > 0) || math.IsInf(factor, 1) {
		return 0, refuse("invalid", "n and the speed factor must be above 0")
	}
	return math.Pow(factor, -1/n), nil
}
