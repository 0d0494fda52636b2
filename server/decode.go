package server

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"reflect"
	"regexp"
	"strings"
	"unicode/utf8"

	"github.com/labstack/echo/v4"

	"brasspeg/store"
)

// maxBody is the largest request body in bytes, maxFileBody that of one that carries a table
// as a member, maxDepth the deepest nesting of one.
const (
	maxBody     = 64 << 10
	maxFileBody = store.MaxImport + store.MaxImport/4 // line ends and quotes are two bytes each in JSON
	maxDepth    = 16
)

// mostBody is the largest body the route takes.
func mostBody(c echo.Context) int64 {
	switch c.Path() {
	case "/parts/import", "/api/v1/parts/files":
		return maxFileBody
	}
	return maxBody
}

func tooLarge(most int64) error {
	return &refusal{class: errTooLarge, detail: fmt.Sprintf("the body is longer than %d KiB; send it in parts", most>>10)}
}

func unreadable(code, field, format string, args ...any) error {
	return &refusal{class: errMalformed, code: code, field: field, detail: fmt.Sprintf(format, args...)}
}

// decode reads the request's JSON body into a T. It refuses what a careless client may send
// and echo's own Bind lets pass: another content type or a packed body (415), a body too long
// for the route (413), text that is not UTF-8, a member that T does not name in exactly that
// spelling, a member given twice, and anything after the value (all 400, with the member as
// Field). A member of the wrong type, one that is marked need:"yes" and not there, and a text
// with characters that no field takes (unless marked text:"raw") are 422.
func decode[T any](c echo.Context) (T, error) {
	var in T
	r := c.Request()
	kind, _, err := mime.ParseMediaType(r.Header.Get(echo.HeaderContentType))
	if err != nil || kind != echo.MIMEApplicationJSON {
		return in, &refusal{class: errMediaType, detail: "send the body as application/json"}
	}
	if enc := r.Header.Get(echo.HeaderContentEncoding); enc != "" && enc != "identity" {
		return in, &refusal{class: errMediaType, detail: "send the body as it is, not packed"}
	}
	most := mostBody(c)
	body, err := io.ReadAll(http.MaxBytesReader(c.Response(), r.Body, most))
	if err != nil {
		if _, big := errors.AsType[*http.MaxBytesError](err); big {
			return in, tooLarge(most)
		}
		return in, unreadable("", "", "the body could not be read to its end; send it again")
	}
	return decodeJSON[T](body)
}

// decodeJSON is decode for a body already read.
func decodeJSON[T any](body []byte) (T, error) {
	var in T
	switch {
	case !utf8.Valid(body), loneSurrogate(body):
		return in, unreadable("encoding_invalid", "", "the body is not valid UTF-8 text")
	case bytes.IndexByte(body, 0) >= 0:
		return in, unreadable("body_syntax", "", "the body holds the character NUL")
	case depth(body) > maxDepth:
		return in, unreadable("too_deep", "", "the body is nested deeper than %d levels", maxDepth)
	case string(bytes.TrimSpace(body)) == "null":
		return in, mistyped("", "null")
	}
	d := json.NewDecoder(bytes.NewReader(body))
	d.UseNumber()
	w := walker{Decoder: d}
	if err := w.walk(reflect.TypeFor[T](), ""); err != nil {
		return in, err
	}
	if _, err := d.Token(); err != io.EOF {
		return in, unreadable("trailing_data", "", "something follows the JSON value; send one value only")
	}
	if err := json.Unmarshal(body, &in); err != nil {
		if e, ok := errors.AsType[*json.UnmarshalTypeError](err); ok {
			return in, mistyped(e.Field, e.Value)
		}
		if e, ok := errors.AsType[*refusal](err); ok { // from an UnmarshalJSON of ours
			return in, e
		}
		return in, unreadable("body_syntax", "", "the body is not the JSON expected here")
	}
	if err := sound("", reflect.ValueOf(in)); err != nil {
		return in, err
	}
	return in, w.missing
}

// mistyped is a member whose JSON value is of the wrong type; value is what it was, as the
// decoder calls it.
func mistyped(field, value string) error {
	name := field
	if name == "" {
		name = "the body"
	}
	if n, ok := strings.CutPrefix(value, "number "); ok {
		if strings.ContainsAny(n, ".eE") {
			return &refusal{class: errInvalid, code: "not_integer", field: field, detail: fmt.Sprintf("%s is a whole number without point and exponent, not %s", name, clip(n))}
		}
		return &refusal{class: errInvalid, code: "out_of_range", field: field, detail: fmt.Sprintf("%s can not be %s", name, clip(n))}
	}
	return &refusal{class: errInvalid, code: "type_mismatch", field: field, detail: fmt.Sprintf("%s cannot be a JSON %s here", name, value)}
}

// depth is how deep body is nested, counted outside of its texts; it need not be JSON.
func depth(body []byte) int {
	now, most, text := 0, 0, false
	for i := 0; i < len(body); i++ {
		switch b := body[i]; {
		case text && b == '\\':
			i++
		case b == '"':
			text = !text
		case text:
		case b == '{' || b == '[':
			now++
			most = max(most, now)
		case b == '}' || b == ']':
			now--
		}
	}
	return most
}

var surrogate = regexp.MustCompile(`\\(?:\\|u[dD][89aAbB][0-9a-fA-F]{2}(?:\\u[dD][c-fC-F][0-9a-fA-F]{2})?|u[dD][c-fC-F][0-9a-fA-F]{2})`)

// loneSurrogate reports half a character, spelt as an escape without its other half, which the
// decoder would quietly replace.
func loneSurrogate(body []byte) bool {
	for _, m := range surrogate.FindAll(body, -1) {
		if len(m) == 6 { // "\\" is 2, a whole pair 12
			return true
		}
	}
	return false
}

// A walker reads JSON beside the type it is meant for.
type walker struct {
	*json.Decoder
	missing error // the first needed member that is not there; other faults are told before it
}

// walk reads one JSON value and holds the names of its members against t; path is the
// member it belongs to, for the message.
func (d *walker) walk(t reflect.Type, path string) error {
	tok, err := d.Token()
	if err != nil {
		return malformed(err, path)
	}
	delim, nested := tok.(json.Delim)
	if !nested {
		return nil
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
			if err := d.walk(elem, fmt.Sprintf("%s[%d]", path, i)); err != nil {
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
			return unreadable("duplicate_field", full, "%q stands twice in the body; send it once", full)
		}
		seen[name] = true
		member, ok := memberType(t, name)
		if !ok {
			return unreadable("unknown_field", full, "%q is not known here; take it out or mend its spelling", full)
		}
		if err := d.walk(member, full); err != nil {
			return err
		}
	}
	if d.missing == nil {
		d.missing = needed(t, seen, path)
	}
	_, err = d.Token()
	return malformed(err, path)
}

// needed refuses an object of t that lacks a member marked as needed.
func needed(t reflect.Type, seen map[string]bool, path string) error {
	if t == nil || t.Kind() != reflect.Struct {
		return nil
	}
	for i := range t.NumField() {
		f := t.Field(i)
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		if f.Tag.Get("need") == "yes" && !seen[name] {
			full := strings.TrimPrefix(path+"."+name, ".")
			return missing(full, full+" is not there")
		}
	}
	return nil
}

// missing is a refusal of a request that lacks a member.
func missing(field, detail string) error {
	return &refusal{class: errInvalid, code: "missing_field", field: field, detail: detail}
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
		return unreadable("body_syntax", path, "the JSON body is empty or ends too early%s", where)
	}
	return unreadable("body_syntax", path, "the body is not JSON%s", where)
}

// sound refuses a text in v with characters that no field takes. field is the member v is.
func sound(field string, v reflect.Value) error {
	switch v.Kind() {
	case reflect.String:
		return store.Sound(cmp.Or(field, "the body"), v.String())
	case reflect.Pointer, reflect.Interface:
		if !v.IsNil() {
			return sound(field, v.Elem())
		}
	case reflect.Slice, reflect.Array:
		if v.Type().Elem().Kind() == reflect.Uint8 {
			return nil
		}
		for i := range v.Len() {
			if err := sound(field, v.Index(i)); err != nil {
				return err
			}
		}
	case reflect.Map:
		for _, k := range v.MapKeys() {
			if err := sound(field, k); err != nil {
				return err
			}
			if err := sound(strings.TrimPrefix(field+"."+fmt.Sprint(k), "."), v.MapIndex(k)); err != nil {
				return err
			}
		}
	case reflect.Struct:
		for i := range v.NumField() {
			f := v.Type().Field(i)
			if !f.IsExported() || f.Tag.Get("text") == "raw" {
				continue
			}
			name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
			if err := sound(strings.TrimPrefix(field+"."+name, "."), v.Field(i)); err != nil {
				return err
			}
		}
	}
	return nil
}
