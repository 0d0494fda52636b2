// Package life answers what a shop asks about cutting edges: how long one lasts, when to
// change it, and how many inserts the rest of the job will eat.
//
// The material is a list of edge runs. A run ends in a failure (worn, finish, size: the
// wear-out kind; chipped, broken: the sudden kind) or unfinished, because the edge was taken
// off on plan or at the end of the job. An unfinished run is censored: it says "at least this
// long" and is neither a failure nor nothing. Leaving such runs out, or counting them as
// failures, bends every figure that follows; this package does neither.
//
// From bottom to top:
//
//	Life, Survive            ages with censoring, the product-limit curve
//	Weibull, FitWeibull      the two-parameter law and its fit; FitLognormal, FitExponential
//	AssumedShape, RatePrior, Penalised   what can be said with fewer than five failures
//	Taylor, FitTaylor        life against cutting speed, and the speeds that pay
//	AgeReplacement, ChangeEvery          the cheapest change interval, or "run to failure"
//	Job, Renewal             inserts for a job by arithmetic and by chance
//	Run, Fit, Family         all of it for one family of runs, with sentences a person reads
//	Account                  edges issued = used + left + thrown away + unexplained
//
// Ages are in whatever unit the caller counts in (parts, or minutes in cut) and must be the
// same throughout one call. A request that has no honest answer comes back as a *Refusal whose
// text says why and what would mend it; no function returns NaN as an answer.
//
// The package is pure: no clock, no database, no logger. Special functions, quantiles and
// minimisation come from gonum.
package life
