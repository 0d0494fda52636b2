package server

import (
	"encoding/json"
	"math"
	"net/http"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"brasspeg/store"
)

// What a form does stands in three steps that are the same for all: its body is decoded
// strictly, the act is done under the op id the form was made with, and the browser goes on to
// a page, or a program gets the receipt. form has these; an act has only what is its own.

// An opIn is the op id of a form, which is made with the page so that a second press of the
// button is the same act. It is embedded in every form's body.
type opIn struct {
	Op string `json:"op"`
}

func (o opIn) opID() string { return o.Op }

// form is the handler of a form whose body is a T. act does what is asked and says which page
// comes next. Without an op id in the body that of the Idempotency-Key counts, so that the same
// act answers a program.
func form[T interface{ opID() string }](act func(echo.Context, store.Op, T) (next string, r store.Receipt, err error)) echo.HandlerFunc {
	return func(c echo.Context) error {
		in, err := decode[T](c)
		if err != nil {
			return err
		}
		next, r, err := act(c, formOp(c, in.opID()), in)
		if err != nil {
			return err
		}
		return doneAt(c, next, r)
	}
}

// act is the handler of a program's act whose body is a T: decoded strictly, done under its
// Idempotency-Key, answered with the receipt.
func act[T any](do func(echo.Context, store.Op, T) (store.Receipt, error)) echo.HandlerFunc {
	return func(c echo.Context) error {
		in, err := decode[T](c)
		if err != nil {
			return err
		}
		r, err := do(c, opOf(c), in)
		if err != nil {
			return err
		}
		return booked(c, r)
	}
}

// formOp is who acts, under the op id that the form was made with.
func formOp(c echo.Context, id string) store.Op {
	o := opOf(c)
	if id != "" {
		o.ID = id
	}
	return o
}

// doneAt answers a form: the browser goes on to a page, a program gets the receipt.
func doneAt(c echo.Context, path string, r store.Receipt) error {
	if c.Request().Header.Get("HX-Request") != "true" {
		return booked(c, r)
	}
	if r.Replayed {
		c.Response().Header().Set("Idempotent-Replayed", "true")
	}
	c.Response().Header().Set("HX-Redirect", path)
	return c.NoContent(http.StatusNoContent)
}

// A typed is a number as it was written: a form sends the text of its field, a program a JSON
// number. number and decimal read it.
type typed string

// UnmarshalJSON takes a JSON text or a JSON number; nothing else is a number.
func (t *typed) UnmarshalJSON(b []byte) error {
	if b[0] == '"' {
		return json.Unmarshal(b, (*string)(t))
	}
	var n json.Number
	if err := json.Unmarshal(b, &n); err != nil {
		return mistyped("", "value of that kind")
	}
	*t = typed(n)
	return nil
}

// The most that a form's number can be, and the highest number of a row.
const (
	mostTyped = 1_000_000
	mostID    = 1<<63 - 1
)

// number reads a whole number of a form, 0 to a million.
func number[S ~string](field string, text S) (int, error) {
	n, err := store.ReadWhole(field, string(text), 0, mostTyped)
	return int(n), err
}

// rowID reads the number of a row, as a page wrote it into its form.
func rowID[S ~string](field string, text S) (int64, error) {
	return store.ReadWhole(field, string(text), 1, mostID)
}

// decimal reads a number a person typed, with a point or a comma.
func decimal[S ~string](field string, text S) (float64, error) {
	v, err := strconv.ParseFloat(strings.Replace(strings.TrimSpace(string(text)), ",", ".", 1), 64)
	if err != nil || len(text) > 20 || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, &refusal{class: errInvalid, field: field, detail: field + " is a number, not " + clip(string(text))}
	}
	return v, nil
}
