package reorder

import (
	"fmt"
	"math"
	"strconv"
)

// Money is an amount in hundredths of a currency. The currency is three capital letters
// (ISO 4217); no amount is without one, and amounts of two currencies are never added.
type Money struct {
	Cents    int64
	Currency string
}

func (m Money) String() string {
	sign, c := "", m.Cents
	if c < 0 {
		sign, c = "-", -c
	}
	s := strconv.FormatInt(c/100, 10)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return fmt.Sprintf("%s%s.%02d %s", sign, s, c%100, m.Currency)
}

// check refuses an amount below 0, absurdly large, or without a currency.
func (m Money) check(field string) error {
	given := strconv.FormatFloat(float64(m.Cents)/100, 'f', 2, 64)
	if len(m.Currency) != 3 {
		return &BadInput{field, given, "has no currency", "write it with one, such as " + given + " EUR"}
	}
	for _, r := range m.Currency {
		if r < 'A' || r > 'Z' {
			return &BadInput{field, given + " " + clip([]byte(m.Currency)), "has no known currency", "use three capital letters, such as EUR"}
		}
	}
	if m.Cents < 0 {
		return &BadInput{field, given, "cannot be negative", "give 0 or more"}
	}
	if m.Cents > 1e14 {
		return &BadInput{field, given, "is beyond anything a shop pays", "check the unit"}
	}
	return nil
}

// times multiplies and stays at the largest amount instead of overflowing.
func (m Money) times(n float64) Money {
	c := math.Round(float64(m.Cents) * n)
	return Money{int64(math.Max(-9e17, math.Min(9e17, c))), m.Currency}
}
