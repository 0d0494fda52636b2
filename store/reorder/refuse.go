package reorder

import (
	"errors"
	"fmt"
	"math"
	"strconv"
)

// ErrInput is the class of everything that was asked in a way that has no answer.
var ErrInput = errors.New("input that has no answer")

// A BadInput names the field, the value as it was given, what is wrong with it, and how to
// mend it. It is an ErrInput.
type BadInput struct {
	Field string // as in the question: cycle_service, pack, lead_time
	Value string // as given; empty when it is missing
	Why   string // what is wrong
	Mend  string // what to write instead
}

func (e *BadInput) Error() string {
	if e.Value == "" {
		return fmt.Sprintf("%s: %s; %s", e.Field, e.Why, e.Mend)
	}
	return fmt.Sprintf("%s %s: %s; %s", e.Field, e.Value, e.Why, e.Mend)
}

func (e *BadInput) Unwrap() error { return ErrInput }

// most is the largest quantity or cost taken as meant. Beyond it whole numbers would no
// longer be exact in a float64 once multiplied, and no crib holds it.
const most = 1e12

func show(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }

// positive refuses what is not > 0 and not beyond most.
func positive(field string, x float64) error {
	if math.IsNaN(x) || x <= 0 {
		return &BadInput{field, show(x), "must be more than 0", "give a number above 0"}
	}
	return bounded(field, x)
}

// notNegative refuses what is below 0 or beyond most.
func notNegative(field string, x float64) error {
	if math.IsNaN(x) || x < 0 {
		return &BadInput{field, show(x), "cannot be negative", "give 0 or more"}
	}
	return bounded(field, x)
}

func bounded(field string, x float64) error {
	if x > most {
		return &BadInput{field, show(x), "is beyond anything a shop holds", "check the unit; at most 1e12"}
	}
	return nil
}

// service refuses a target that is not a probability strictly between 0 and 1. 95 is not
// read as 0.95: who types 95 may as well have meant 9.5.
func service(field string, p float64) error {
	switch {
	case p > 0 && p < 1:
		return nil
	case p > 1 && p < 100:
		return &BadInput{field, show(p), "a service level lies between 0 and 1",
			fmt.Sprintf("write %s if %s %% is meant", show(p/100), show(p))}
	case p == 1 || p == 100:
		return &BadInput{field, show(p), "never running out would need infinite stock", "give less than 1, such as 0.99"}
	}
	return &BadInput{field, show(p), "a service level lies between 0 and 1", "give a share such as 0.95"}
}

// whole refuses what is not a whole number of at least min.
func whole(field string, x float64, min int) error {
	if err := bounded(field, x); err != nil {
		return err
	}
	if math.IsNaN(x) || x != math.Trunc(x) {
		return &BadInput{field, show(x), "must be a whole number", "give whole pieces"}
	}
	if x < float64(min) {
		return &BadInput{field, show(x), fmt.Sprintf("must be at least %d", min), fmt.Sprintf("give %d or more", min)}
	}
	return nil
}

// first returns the first error, so that checks read as a list.
func first(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// ceil rounds up to a whole number, but takes what is above one by no more than rounding
// noise (1e-9 relative) for that number: 28.000000000000004 pieces are 28.
func ceil(x float64) int {
	return int(math.Ceil(x - 1e-9*math.Max(1, math.Abs(x))))
}
