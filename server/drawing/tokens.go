package drawing

// The colours of the house, as in the stylesheet of the pages (the light theme); a test holds
// the two together. Paper is printed with the same values.
const (
	Ground = "#f6f1e7" // warm paper
	Ink    = "#1c1a17" // lines and words
	Faint  = "#5f574a" // second voice: units, captions
	Rule   = "#b9b0a0" // hairlines, hatching, never words
	Accent = "#7a5c1e" // dark brass
	Warn   = "#8a2d1f" // what is missing
)

// A pen is how a mark is drawn: a class for the stylesheet (which may give it other colours
// in a dark theme), and the colours and widths where there is no stylesheet.
type pen struct {
	class  string
	stroke string  // colour, "" none
	width  float64 // in units of the drawing
	fill   string  // colour, "" none
	dash   []float64
}

var (
	penOutline = pen{"d-outline", Ink, 1.4, Ground, nil}
	penThin    = pen{"d-thin", Ink, 0.7, "", nil}
	penHatch   = pen{"d-hatch", Rule, 0.8, "", nil}
	penWall    = pen{"d-wall", Ink, 1.4, "", nil}
	penAxis    = pen{"d-axis", Faint, 0.6, "", []float64{14, 3, 3, 3}}
	penDim     = pen{"d-dim", Ink, 0.7, "", nil}
	penArrow   = pen{"d-arrow", "", 0, Ink, nil}
	penMissing = pen{"d-missing", Warn, 1.6, Ground, []float64{7, 4}}
	penLeadOut = pen{"d-missing-lead", Warn, 0.8, "", nil}
	penEdge    = pen{"d-edge", Accent, 1.2, Accent, nil}
	penCoolant = pen{"d-coolant", Accent, 1.2, "", nil}
	penFlow    = pen{"d-flow", Accent, 0.9, "", []float64{2, 3}}
	penLack    = pen{"d-lack", Warn, 1.2, "", []float64{6, 4}}
	penSolid   = pen{"d-solid", "", 0, Ink, nil}
)

// A voice is how words are set.
type voice struct {
	class string
	face  face
	size  float64 // em in units of the drawing
	fill  string
}

var (
	voiceName  = voice{"d-name", faceMono, 13, Ink}
	voiceText  = voice{"d-text", facePlain, 12, Ink}
	voiceFaint = voice{"d-faint", facePlain, 11.5, Faint}
	voiceDim   = voice{"d-figure", faceBold, 14, Ink}
	voiceWarn  = voice{"d-warn", faceBold, 13, Warn}
	voiceLack  = voice{"d-lack-text", facePlain, 12, Warn}
	voiceTitle = voice{"d-title", faceBold, 15, Ink}
)
