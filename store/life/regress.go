package life

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize"
)

// A Law is the shape of the scatter of ln life.
type Law int

// The two laws of a censored regression.
const (
	LawWeibull   Law = iota // ln life scatters as the smallest extreme value
	LawLognormal            // ln life scatters normally
)

// terms returns ln f, its first two derivatives for a failure at z, or ln S and its first two
// derivatives for a censoring. ok is false where S underflows.
func (l Law) terms(z float64, failed bool) (ln, d1, d2 float64, ok bool) {
	if l == LawWeibull {
		e := math.Exp(z)
		if failed {
			return z - e, 1 - e, -e, !math.IsInf(e, 1)
		}
		return -e, -e, -e, !math.IsInf(e, 1)
	}
	if failed {
		return -z*z/2 - lnRoot2Pi, -z, -1, true
	}
	s := math.Erfc(z/math.Sqrt2) / 2
	if s < 1e-300 {
		return 0, 0, 0, false
	}
	h := math.Exp(-z*z/2-lnRoot2Pi) / s
	return math.Log(s), -h, -h * (h - z), true
}

var lnRoot2Pi = math.Log(2*math.Pi) / 2

// A row is one line of a censored regression: Count lives of e^y at the levels x.
type row struct {
	y      float64
	x      []float64
	failed bool
	count  float64
}

// A regression is ln life = beta·x + sigma*W with its log-likelihood (on the life scale) and
// the covariance of (beta..., ln sigma).
type regression struct {
	beta   []float64
	sigma  float64
	logLik float64
	cov    *mat.SymDense
}

// regress fits ln life = beta·x + sigma*W to lives of which some are censored. x should hold
// the constant 1 as its first entry. A *Refusal "cannot_fit" when no finite fit exists.
//
// In the parameters 1/sigma and beta/sigma the log-likelihood of both laws is concave (Burridge
// 1981), so Newton's method from gonum/optimize finds its one maximum or runs off to where the
// data leave it unbounded.
func regress(rows []row, law Law) (regression, error) {
	none := refuse("cannot_fit", "no estimate: these lives and speeds do not determine a finite fit; log more failures, at speeds and lives that differ")
	p := 0
	if len(rows) > 0 {
		p = len(rows[0].x)
	}
	var n, sy, syy float64
	for _, r := range rows {
		n, sy = n+r.count, sy+r.count*r.y
	}
	if n == 0 || p == 0 {
		return regression{}, none
	}
	mean := sy / n
	for _, r := range rows {
		syy += r.count * (r.y - mean) * (r.y - mean)
	}
	spread := math.Sqrt(syy / n)
	if spread < 1e-12 {
		return regression{}, none
	}
	// Standardised columns keep the Hessian well conditioned: y by mean and spread, x by its
	// range about its mean.
	mid, width := make([]float64, p), make([]float64, p)
	for j := range p {
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, r := range rows {
			lo, hi = math.Min(lo, r.x[j]), math.Max(hi, r.x[j])
		}
		mid[j], width[j] = (lo+hi)/2, (hi-lo)/2
		if j == 0 {
			mid[j], width[j] = 0, 1
		} else if width[j] == 0 {
			return regression{}, none
		}
	}
	std := make([]row, len(rows))
	for i, r := range rows {
		x := make([]float64, p)
		for j := range p {
			x[j] = (r.x[j] - mid[j]) / width[j]
		}
		std[i] = row{(r.y - mean) / spread, x, r.failed, r.count}
	}
	theta, ok := climb(std, law, p)
	if !ok {
		return regression{}, none
	}
	out := regression{beta: make([]float64, p), sigma: spread / theta[0]}
	out.beta[0] = mean
	for j := range p {
		b := spread * theta[1+j] / theta[0] / width[j]
		out.beta[j] += b
		out.beta[0] -= b * mid[j]
	}
	if err := out.inform(rows, law); err != nil {
		return regression{}, none
	}
	return out, nil
}

// climb maximises the log-likelihood of standardised rows over theta = (1/sigma, beta/sigma).
func climb(rows []row, law Law, p int) (theta []float64, ok bool) {
	var n float64
	for _, r := range rows {
		n += r.count
	}
	zOf := func(th []float64, r row) float64 {
		z := th[0] * r.y
		for j, x := range r.x {
			z -= th[1+j] * x
		}
		return z
	}
	prob := optimize.Problem{
		Func: func(th []float64) float64 {
			if th[0] <= 0 {
				return math.Inf(1)
			}
			s, lnA := 0.0, math.Log(th[0])
			for _, r := range rows {
				ln, _, _, ok := law.terms(zOf(th, r), r.failed)
				if !ok {
					return math.Inf(1)
				}
				if r.failed {
					ln += lnA
				}
				s -= r.count * ln
			}
			return s / n
		},
		Grad: func(grad, th []float64) {
			clear(grad)
			for _, r := range rows {
				_, d1, _, _ := law.terms(zOf(th, r), r.failed)
				d1 *= r.count / n
				grad[0] -= d1 * r.y
				if r.failed {
					grad[0] -= r.count / n / th[0]
				}
				for j, x := range r.x {
					grad[1+j] += d1 * x
				}
			}
		},
		Hess: func(h *mat.SymDense, th []float64) {
			h.Zero()
			v := make([]float64, p+1)
			for _, r := range rows {
				_, _, d2, _ := law.terms(zOf(th, r), r.failed)
				d2 *= r.count / n
				v[0] = r.y
				for j, x := range r.x {
					v[1+j] = -x
				}
				for i := range v {
					for j := i; j < len(v); j++ {
						h.SetSym(i, j, h.At(i, j)-d2*v[i]*v[j])
					}
				}
				if r.failed {
					h.SetSym(0, 0, h.At(0, 0)+r.count/n/(th[0]*th[0]))
				}
			}
		},
	}
	start := make([]float64, p+1)
	start[0] = 1
	res, err := optimize.Minimize(prob, start,
		&optimize.Settings{GradientThreshold: 1e-11, MajorIterations: 200},
		&optimize.Newton{Linesearcher: &optimize.Backtracking{}})
	if res == nil || (err != nil && len(res.X) == 0) {
		return nil, false
	}
	// The line search gives up where the likelihood is flat to the last digit; two bare
	// Newton steps then settle the digits it could not see.
	theta = res.X
	grad, h := make([]float64, p+1), mat.NewSymDense(p+1, nil)
	for range 3 {
		prob.Grad(grad, theta)
		prob.Hess(h, theta)
		var chol mat.Cholesky
		if !chol.Factorize(h) {
			return nil, false
		}
		step := mat.NewVecDense(p+1, nil)
		if chol.SolveVecTo(step, mat.NewVecDense(p+1, grad)) != nil {
			return nil, false
		}
		for i := range theta {
			theta[i] -= step.AtVec(i)
		}
		if theta[0] <= 0 {
			return nil, false
		}
	}
	prob.Grad(grad, theta)
	for _, g := range grad {
		if !(math.Abs(g) < 1e-7) {
			return nil, false
		}
	}
	// 1/sigma in units of the spread of the data: beyond this the data lie on the line.
	return theta, theta[0] < 1e9
}

// inform fills the log-likelihood and the covariance, the inverse of the observed information
// for (beta, ln sigma) in the units of the caller.
func (g *regression) inform(rows []row, law Law) error {
	p := len(g.beta)
	info := mat.NewSymDense(p+1, nil)
	v := make([]float64, p+1)
	for _, r := range rows {
		z := r.y
		for j, x := range r.x {
			z -= g.beta[j] * x
		}
		z /= g.sigma
		ln, d1, d2, ok := law.terms(z, r.failed)
		if !ok {
			return ErrNoAnswer
		}
		if r.failed {
			ln -= math.Log(g.sigma) + r.y
		}
		g.logLik += r.count * ln
		// dz/dbeta = -x/sigma, dz/dln sigma = -z; second derivatives of z: x/sigma and z.
		for j, x := range r.x {
			v[j] = -x / g.sigma
		}
		v[p] = -z
		for i := range v {
			for j := i; j < len(v); j++ {
				t := d2 * v[i] * v[j]
				if j == p {
					t -= d1 * v[i]
				}
				info.SetSym(i, j, info.At(i, j)-r.count*t)
			}
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(info) {
		return ErrNoAnswer
	}
	g.cov = mat.NewSymDense(p+1, nil)
	return chol.InverseTo(g.cov)
}

// se returns the standard error of parameter i of (beta..., ln sigma).
func (g *regression) se(i int) float64 { return math.Sqrt(g.cov.At(i, i)) }

// A LognormalFit is the law under which ln life is normal.
type LognormalFit struct {
	Mu, Sigma float64 // mean and standard deviation of ln life
	LogLik    float64 // on the time scale
}

// FitLognormal returns the lognormal law under which the lives are likeliest. It exists under
// the same rule as FitWeibull, with the same refusals.
func FitLognormal(lives []Life) (LognormalFit, error) {
	if err := exists(lives); err != nil {
		return LognormalFit{}, err
	}
	one := []float64{1}
	rows := make([]row, 0, len(lives))
	for _, l := range lives {
		if l.Count > 0 {
			rows = append(rows, row{math.Log(l.Age), one, l.Failed, float64(l.Count)})
		}
	}
	g, err := regress(rows, LawLognormal)
	if err != nil {
		return LognormalFit{}, err
	}
	return LognormalFit{Mu: g.beta[0], Sigma: g.sigma, LogLik: g.logLik}, nil
}
