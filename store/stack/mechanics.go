package stack

// Mechanics are estimates beside a stack. They rank and warn; they never allow what a rule
// forbids. What cannot be computed from what is recorded stays unknown.
type Mechanics struct {
	ForceN       Opt // N, tangential
	DeflectionMM Opt // mm at the edge, perfect clamp
	FrequencyHz  Opt // Hz, first bending, solid bars only
	RPM          Opt // rev/min at the finished bore, else at the starting hole
	VC           Opt // m/min
	SFM          Opt // ft/min
	FeedMMMin    Opt // mm/min
	MinutesInCut Opt // min for the depth
	PowerKW      Opt // kW at the machine
	RtUM, RaUM   Opt // micrometres, theoretical; real surfaces run 1.5 to 3 times rougher
	FlowLMin     Opt // L/min through the head's nozzles
	Notes        []string
}

func mechanics(r *Request, st *Stack) Mechanics { return Mechanics{} }
