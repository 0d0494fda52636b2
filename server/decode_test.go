package server

import (
	"errors"
	"fmt"
	"net/http"
	"strings"
	"testing"

	"brasspeg/store"
)

type decodeSample struct {
	Piece  string            `json:"piece"`
	Pieces int               `json:"pieces"`
	Lines  []decodeLine      `json:"lines"`
	Notes  map[string]string `json:"notes"`
}

type decodeLine struct {
	Tag string `json:"tag"`
}

func TestDecodeJSON(t *testing.T) {
	for _, tt := range []struct {
		body  string
		class error
		field string
	}{
		{`{"piece":"P0000017X","pieces":2,"lines":[{"tag":"a"}],"notes":{"x":"y"}}`, nil, ""},
		{``, errMalformed, ""},
		{`{`, errMalformed, ""},
		{`{"piece":"a"} {"piece":"b"}`, errMalformed, ""},
		{`{"piece":"a"}]`, errMalformed, ""},
		{`{"piece":"a","piece":"b"}`, errMalformed, "piece"},
		{`{"PIECE":"a"}`, errMalformed, "PIECE"}, // Go's own decoder would take it for piece
		{`{"lines":[{"tag":"a"},{"tga":"b"}]}`, errMalformed, "lines[1].tga"},
		{`{"lines":[{"tag":"a","tag":"b"}]}`, errMalformed, "lines[0].tag"},
		{`{"notes":{"a":"1","a":"2"}}`, errMalformed, "notes.a"},
		{`{"pieces":"2"}`, errInvalid, "pieces"},
		{`{"pieces":1.5}`, errInvalid, "pieces"},
		{`{"pieces":1e400}`, errInvalid, "pieces"},
		{`{"pieces":99999999999999999999}`, errInvalid, "pieces"},
		{`{"piece":"a\u0000b"}`, store.ErrBadInput, ""},
		{"{\"piece\":\"\xff\"}", errMalformed, ""},
		{`{"piece":` + strings.Repeat("[", 50) + strings.Repeat("]", 50) + `}`, errMalformed, ""},
	} {
		_, err := decodeJSON[decodeSample]([]byte(tt.body))
		if !errors.Is(err, tt.class) {
			t.Errorf("decode %s: %v, want class %v", tt.body, err, tt.class)
			continue
		}
		if r, ok := errors.AsType[*refusal](err); ok && r.field != tt.field {
			t.Errorf("decode %s: names the field %q, want %q", tt.body, r.field, tt.field)
		}
	}
}

func FuzzDecodeJSON(f *testing.F) {
	f.Add(`{"piece":"a","lines":[{"tag":"b"}],"notes":{"c":"d"}}`)
	f.Add(`{"piece":"a","piece":"b"}`)
	f.Add(`[[[[`)
	f.Add(`{"pieces":-0}`)
	f.Fuzz(func(t *testing.T, s string) {
		if _, err := decodeJSON[decodeSample]([]byte(s)); err != nil {
			if p := problemOf(err); p.Status >= 500 || p.Code == "" {
				t.Errorf("%q: %v is no refusal that a client can read", s, err)
			}
		}
	})
}

// A full disk is told as one, and its folder to nobody.
func TestFullDiskIsTold(t *testing.T) {
	p := problemOf(fmt.Errorf("%w: /srv/shop (no space left on device)", store.ErrNoRoom))
	if p.Status != http.StatusInsufficientStorage || p.Code != "disk_full" || strings.Contains(p.Detail, "/srv") || !strings.Contains(p.Detail, "othing was booked") {
		t.Errorf("%+v", p)
	}
}
