package drawing

// buildable is a stack of invented parts that a shop would set.
func buildable() Side {
	return Side{
		Title: "Stack for job J-2101", Station: "Lathe 2, station 7, VDI 50",
		Parts: []Part{
			{Kind: Holder, Label: "HLD-050", Sizes: []string{"VDI 50, bore 50", "split clamp"}, X0: 0, X1: 150, D: 110},
			{Kind: Sleeve, Label: "SLV-50-40", Sizes: []string{"50 outside, 40 inside", "full round"}, X0: 10, X1: 150, D: 50},
			{Kind: Bar, Label: "BAR-040A", Sizes: []string{"40 mm shank, damped"}, X0: 5, X1: 398, D: 40},
			{Kind: Head, Label: "HED-40R", Sizes: []string{"coupling H40, right"}, X0: 398, X1: 428, D: 44},
			{Kind: Insert, Label: "DCMT 11T308", Sizes: []string{"radius 0.8 mm"}, X0: 420, X1: 430, D: 9.525},
		},
		Bore:      Bore{Face: 180, Depth: 250, D: 62, Before: 58},
		Overhang:  Span{150, 430, "7.0 x D"},
		Grip:      Span{10, 150, "3.5 x D"},
		Clearance: Span{150, 180, ""},
		Coolant:   []Joint{{Label: "outlet G 1/4 female"}, {Label: "nipple G 1/4 to M14"}, {Label: "hose 8 mm, 120 bar"}, {Label: "bar inlet G 1/8"}},
		Inside:    5, Inch: true,
	}
}

// lacking is the same stack with its sleeve and a fitting missing.
func lacking() Side {
	s := buildable()
	s.Title = "Job J-2101 cannot be built"
	s.Parts[1] = Part{Kind: Sleeve, Label: "not recorded", Sizes: []string{"outside 50 mm", "inside 40 mm", "length 128 mm or more"}, X0: 10, X1: 150, D: 50, Missing: true}
	s.Coolant[1] = Joint{Label: "nipple G 1/4 male to M14 female", Missing: true}
	return s
}
