package standard

import (
	"errors"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func TestCheckSystems(t *testing.T) {
	for _, r := range rows(t, "iso7064") {
		if got, err := CheckSystem(r["system"]).Check(r["data"]); err != nil || r["data"]+got != r["complete"] || got != r["check"] {
			t.Errorf("%s of %s = %q, %v, want %q", r["system"], r["data"], got, err, r["check"])
		}
		if !CheckSystem(r["system"]).Valid(r["complete"]) {
			t.Errorf("%s: %s is not valid", r["system"], r["complete"])
		}
	}
	for _, r := range rows(t, "iso7064_checks") {
		if got := CheckSystem(r["system"]).Valid(r["text"]); got != (r["expected"] == "valid") {
			t.Errorf("%s: Valid(%s) = %v, want %s (%s)", r["system"], r["text"], got, r["expected"], r["reason"])
		}
	}
	if _, err := CheckSystem("MOD 5").Check("1"); err == nil {
		t.Error("an unknown system gave a check character")
	}
}

func TestParseTag(t *testing.T) {
	tag, err := NewTag('T', 1234)
	if err != nil || tag != "T0001234X" { // the label of the scanner cases
		t.Fatalf("NewTag = %q, %v", tag, err)
	}
	for _, text := range []string{
		"T0001234X", "t0001234x", "T0001234X\r\n", "T0001234X\t", "  T0001234X ", "\ufeffT0001234X", "]Q1T0001234X", "]C0T0001234X",
		"Ｔ０００１２３４Ｘ", "TOOO1234X", "tooo1234x", "TOOOI234X", "t000l234x", "T000-1234-X", "T 0001234 X",
	} {
		if got, err := ParseTag(text); err != nil || got != tag {
			t.Errorf("ParseTag(%q) = %q, %v, want %q", text, got, err, tag)
		}
	}
	for _, tt := range []struct{ text, code string }{
		{"T00012340", CodeCheck}, {"T0001243X", CodeCheck}, {"T0001234", CodeCheck}, {"0001234X", CodeForm},
		{"T0001234XT0001234X", CodeForm}, {"T0001234X\rT0001234X", CodeControl}, {"Tààà&é\"'X", CodeCharset}, {"ßT0001234", CodeCharset},
		{"", CodeEmpty}, {"\r\n", CodeEmpty}, {" \t\u00a0 ", CodeEmpty}, {string(make([]byte, 513)), CodeTooLong}, {"T000\x001234", CodeControl},
		{"T000\x1b[2J1234", CodeControl}, {"\u202eT0001234", CodeBidi}, {"T000\u200b1234", CodeInvisible}, {"T000\u00ad1234", CodeInvisible},
		{"Т0001234X", CodeCharset}, {"T000\xff1234", CodeEncoding}, {"javascript:alert(1)", CodeForm}, {"%00", CodeForm},
		{"BEGIN:VCARD\nVERSION:3.0", CodeControl},
	} {
		var r *Refusal
		if got, err := ParseTag(tt.text); !errors.As(err, &r) || r.Code != tt.code || !errors.Is(err, ErrDesignation) {
			t.Errorf("ParseTag(%q) = %q, %v, want %s", tt.text, got, err, tt.code)
		}
	}
	for _, bad := range []struct {
		kind byte
		n    int64
	}{{'t', 1}, {'1', 1}, {'T', -1}, {'T', MaxTag + 1}, {0, 1}} {
		if got, err := NewTag(bad.kind, bad.n); err == nil {
			t.Errorf("NewTag(%q, %d) = %q, want a refusal", bad.kind, bad.n, got)
		}
	}
}

// Characters that look alike are offered before all others, and a kind letter typed as a
// digit is folded.
func TestTagCandidateOrder(t *testing.T) {
	for _, tt := range []struct{ scanned, tag string }{{"T00B1234", "T0081234"}, {"T0001284", "T0001234"}, {"T7001234", "T1001234"}} {
		data := tt.tag
		tag := data + tagCheck(data)
		scan := tt.scanned + tag[tagLen-1:]
		if got := TagCandidates(scan); len(got) == 0 || got[0] != tag {
			t.Errorf("TagCandidates(%q) = %q, want %q first", scan, got, tag)
		}
	}
	for kind, typed := range map[byte]string{'O': "0", 'I': "1"} {
		tag, err := NewTag(kind, 42)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := ParseTag(typed + tag[1:]); err != nil || got != tag {
			t.Errorf("ParseTag(%q) = %q, %v, want %q", typed+tag[1:], got, err, tag)
		}
	}
}

// One misread character is always seen, as ISO/IEC 7064 promises, and the right tag is
// among the candidates.
func TestTagMisread(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tag := anyTag(t)
		b := []byte(tag)
		i := rapid.IntRange(0, tagLen-1).Draw(t, "at")
		b[i] = rapid.SampledFrom([]byte("0123456789ABCDEFGHJKMNPQRSTUVWXYZ")).Draw(t, "c")
		got, err := ParseTag(string(b))
		if err == nil && got != tag {
			t.Fatalf("%q, a slip of %q, reads as %q", b, tag, got)
		}
		if err != nil && !slices.Contains(TagCandidates(string(b)), tag) {
			t.Fatalf("%q is not among the candidates of %q: %v", tag, b, TagCandidates(string(b)))
		}
	})
}

func anyTag(t *rapid.T) string {
	kind := rapid.SampledFrom([]byte("TLBE")).Draw(t, "kind")
	tag, err := NewTag(kind, rapid.Int64Range(0, MaxTag).Draw(t, "n"))
	if err != nil {
		t.Fatal(err)
	}
	if got, err := ParseTag(tag); err != nil || got != tag {
		t.Fatalf("ParseTag(%q) = %q, %v", tag, got, err)
	}
	return tag
}

// Two neighbours swapped are nearly always seen: the hybrid system lets a few by, such as
// B0045000V and B0054000V. Counted here over a fixed spread of numbers.
func TestTagSwaps(t *testing.T) {
	swaps, unseen := 0, 0
	for n := int64(0); n <= MaxTag; n += 9973 {
		tag, err := NewTag('T', n)
		if err != nil {
			t.Fatal(err)
		}
		for i := 0; i+1 < tagLen; i++ {
			b := []byte(tag)
			b[i], b[i+1] = b[i+1], b[i]
			if string(b) == tag {
				continue
			}
			swaps++
			if got, err := ParseTag(string(b)); err == nil && got != tag {
				unseen++
			} else if err != nil && !slices.Contains(TagCandidates(string(b)), tag) {
				t.Fatalf("%q is not among the candidates of %q", tag, b)
			}
		}
	}
	t.Logf("%d of %d swaps unseen (%.2f %%)", unseen, swaps, 100*float64(unseen)/float64(swaps))
	if unseen*100 > swaps {
		t.Errorf("%d of %d swaps unseen: more than 1 in 100", unseen, swaps)
	}
}

func FuzzParseTag(f *testing.F) {
	for _, s := range []string{"T0001234X", "tooo1234x", "]Q1T0001234X", "T0001234", "0001234X"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if len(TagCandidates(s)) > 48 {
			t.Errorf("%q has too many candidates", s)
		}
		tag, err := ParseTag(s)
		if err != nil {
			return
		}
		if again, err := ParseTag(tag); err != nil || again != tag {
			t.Errorf("%q reads as %q, but that reads as %q, %v", s, tag, again, err)
		}
	})
}
