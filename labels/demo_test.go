package labels

// shop is one label of every kind, with invented contents, as a crib would print them.
func shop() map[string]Label {
	return map[string]Label{
		"sleeve": {Tag: "P0000417N", Kind: Piece, Head: "sleeve", Title: "Split sleeve 50 → 32",
			Sizes: []Size{{Name: "outside", Value: "50", Unit: "mm"}, {Name: "inside", Value: "32", Unit: "mm"}, {Name: "grip", Value: "128", Unit: "mm"}},
			Never: []string{"full-round clamp only, no screws on this bar"}, Note: "drawer C-07", Printed: "2026-11-25"},
		"head": {Tag: "P00010326", Kind: Piece, Head: "head", Title: "Head for CNMG 12, coupling 32",
			Sizes:   []Size{{Name: "coupling", Value: "K32"}, {Name: "hand", Value: "R"}, {Name: "pocket", Value: "CN 12"}, {Name: "smallest bore", Value: "40", Unit: "mm"}},
			Printed: "2026-11-25"},
		"insert": {Tag: "L0000088F", Kind: Lot, Head: "inserts", Title: "CNMG 120408-MF",
			Sizes: []Size{{Name: "radius", Value: "0.8", Unit: "mm", Large: true}, {Name: "edges", Value: "4"}},
			Note:  "box 3, heat 77120, new only", Printed: "2026-11-25"},
		"bin": {Tag: "B0000012P", Kind: Bin, Title: "C-07-3", Sizes: []Size{{Name: "for", Value: "sleeves 40"}},
			Printed: "2026-11-25"},
		"person": {Tag: "U00000056", Kind: Person, Title: "Åse Bjørnsdóttir-Łukasiewicz", Note: "window and machines", Printed: "2026-11-25"},
		"job": {Tag: "J0000203X", Kind: Job, Title: "Spindle housing, bore 62 H7 x 480",
			Sizes: []Size{{Name: "machine", Value: "LATHE 2"}, {Name: "pieces", Value: "40"}, {Name: "from", Value: "30 Nov"}}, Printed: "2026-11-25"},
		"station": {Tag: "S0000021Z", Kind: Station, Title: "Lathe 2, station 7",
			Sizes: []Size{{Name: "seat", Value: "VDI 50"}, {Name: "coolant", Value: "70", Unit: "bar"}}, Printed: "2026-11-25"},
		"return": ActCard(Return, "A0000001S", "2026-11-25"),
		"qty5":   QuantityKey(5, "A0000025C", "2026-11-25"),
		"worn":   ReasonCard("worn", "EDGE-WORN", "2026-11-25"),
	}
}
