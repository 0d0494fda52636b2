// Package drawing draws what people would rather see than read: a boring stack from the side
// with its overhang, grip and missing part, an insert, the entering angle of a bar, and the
// setup sheet that goes to the machine.
//
// Every drawing is made once, as lines and words in the ink of the house, and written by two
// pens: SVG for pages (no style attributes, so it passes a strict content policy) and PDF for
// paper. Shapes are to scale; what is only a scheme, such as the coolant line, says so in the
// description of the picture. The package takes plain values in millimetres and knows neither
// store nor HTTP.
package drawing

import (
	"errors"
	"fmt"
	"math"
)

// ErrDrawing is the class of every refusal: a value that cannot be drawn, or a text the font
// lacks. The message names the value and what would do.
var ErrDrawing = errors.New("drawing")

func refuse(format string, args ...any) error {
	return fmt.Errorf("%w: "+format, append([]any{ErrDrawing}, args...)...)
}

// finite refuses what is no length a shop could mean; 20 m is beyond every lathe.
func finite(name string, v float64) error {
	if math.IsNaN(v) || math.Abs(v) > 20000 {
		return refuse("%s is %v mm; must be a number from -20000 to 20000", name, v)
	}
	return nil
}
