package server

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"reflect"
	"strings"
	"unicode/utf8"

	"github.com/labstack/echo/v4"
)

// maxBody is the largest request body in bytes, maxDepth the deepest nesting of one.
const (
	maxBody  = 64 << 10
	maxDepth = 16
)

// decode reads the request's JSON body into a T. It refuses what a careless client may send
// and echo's own Bind lets pass: another content type (415), a body over 64 KiB (413), text
// that is not UTF-8 or holds NUL, a member that T does not name in exactly that spelling, a
// member given twice, and anything after the value (all 400, with the member as Field). A
// member of the wrong type is 422.
func decode[T any](c echo.Context) (T, error) {
	var in T
	kind, _, err := mime.ParseMediaType(c.Request().Header.Get(echo.HeaderContentType))
	if err != nil || kind != echo.MIMEApplicationJSON {
		return in, &refusal{class: errMediaType, detail: "send the body as application/json"}
	}
	body, err := io.ReadAll(http.MaxBytesReader(c.Response(), c.Request().Body, maxBody))
	if err != nil {
		if _, big := errors.AsType[*http.MaxBytesError](err); big {
			return in, &refusal{class: errTooLarge, detail: "the body is longer than 64 KiB; send it in parts"}
		}
		return in, &refusal{class: errMalformed, detail: "the body could not be read to its end; send it again"}
	}
	return decodeJSON[T](body)
}

// decodeJSON is decode for a body already read.
func decodeJSON[T any](body []byte) (T, error) {
	var in T
	if !utf8.Valid(body) || bytes.IndexByte(body, 0) >= 0 {
		return in, &refusal{class: errMalformed, detail: "the body is not valid UTF-8 text"}
	}
	d := json.NewDecoder(bytes.NewReader(body))
	d.UseNumber()
	if err := walk(d, reflect.TypeFor[T](), "", 0); err != nil {
		return in, err
	}
	if _, err := d.Token(); err != io.EOF {
		return in, &refusal{class: errMalformed, detail: "something follows the JSON value; send one value only"}
	}
	if err := json.Unmarshal(body, &in); err != nil {
		if e, ok := errors.AsType[*json.UnmarshalTypeError](err); ok {
			return in, &refusal{class: errInvalid, field: e.Field,
				detail: fmt.Sprintf("%s cannot be a JSON %s here", e.Field, e.Value)}
		}
		if e, ok := errors.AsType[*refusal](err); ok { // from an UnmarshalJSON of ours
			return in, e
		}
		return in, &refusal{class: errMalformed, detail: "the body is not the JSON expected here"}
	}
	if strings.ContainsRune(string(body), '\\') && holdsNUL(reflect.ValueOf(in)) {
		return in, &refusal{class: errMalformed, detail: "a text holds the character NUL"}
	}
	return in, nil
}

// walk reads one JSON value and holds the names of its members against t; path is the
// member it belongs to, for the message.
func walk(d *json.Decoder, t reflect.Type, path string, depth int) error {
	tok, err := d.Token()
	if err != nil {
		return malformed(err, path)
	}
	delim, nested := tok.(json.Delim)
	if !nested {
		return nil
	}
	if depth == maxDepth {
		return &refusal{class: errMalformed, field: path, detail: "the body is nested too deep"}
	}
	for t != nil && t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	if delim == '[' {
		var elem reflect.Type
		if t != nil && (t.Kind() == reflect.Slice || t.Kind() == reflect.Array) {
			elem = t.Elem()
		}
		for i := 0; d.More(); i++ {
			if err := walk(d, elem, fmt.Sprintf("%s[%d]", path, i), depth+1); err != nil {
				return err
			}
		}
		_, err = d.Token()
		return malformed(err, path)
	}
	seen := map[string]bool{}
	for d.More() {
		tok, err := d.Token()
		if err != nil {
			return malformed(err, path)
		}
		name, _ := tok.(string)
		full := strings.TrimPrefix(path+"."+name, ".")
		if seen[name] {
			return &refusal{class: errMalformed, field: full, detail: fmt.Sprintf("%q stands twice in the body; send it once", full)}
		}
		seen[name] = true
		member, ok := memberType(t, name)
		if !ok {
			return &refusal{class: errMalformed, field: full, detail: fmt.Sprintf("%q is not known here; take it out or mend its spelling", full)}
		}
		if err := walk(d, member, full, depth+1); err != nil {
			return err
		}
	}
	_, err = d.Token()
	return malformed(err, path)
}

// memberType returns the type of t's member with exactly this JSON name. A t that is no
// struct and no map takes any name; the conversion that follows will refuse the object.
func memberType(t reflect.Type, name string) (reflect.Type, bool) {
	if t == nil {
		return nil, true
	}
	switch t.Kind() {
	case reflect.Struct:
		for i := range t.NumField() {
			f := t.Field(i)
			if f.Anonymous {
				if m, ok := memberType(f.Type, name); ok {
					return m, true
				}
				continue
			}
			tag, _, _ := strings.Cut(f.Tag.Get("json"), ",")
			if tag == name && tag != "-" {
				return f.Type, true
			}
		}
		return nil, false
	case reflect.Map:
		return t.Elem(), true
	}
	return nil, true
}

func malformed(err error, path string) error {
	if err == nil {
		return nil
	}
	where := ""
	if path != "" {
		where = " at " + path
	}
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return &refusal{class: errMalformed, field: path, detail: "the JSON body is empty or ends too early" + where}
	}
	return &refusal{class: errMalformed, field: path, detail: "the body is not JSON" + where}
}

// holdsNUL reports whether any text in v holds NUL, which JSON can spell as an escape and
// PostgreSQL cannot store.
func holdsNUL(v reflect.Value) bool {
	switch v.Kind() {
	case reflect.String:
		return strings.ContainsRune(v.String(), 0)
	case reflect.Pointer, reflect.Interface:
		return !v.IsNil() && holdsNUL(v.Elem())
	case reflect.Slice, reflect.Array:
		for i := range v.Len() {
			if holdsNUL(v.Index(i)) {
				return true
			}
		}
	case reflect.Map:
		for _, k := range v.MapKeys() {
			if holdsNUL(k) || holdsNUL(v.MapIndex(k)) {
				return true
			}
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if holdsNUL(v.Field(i)) {
				return true
			}
		}
	}
	return false
}
