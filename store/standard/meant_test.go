package standard

import (
	"slices"
	"strings"
	"testing"
)

// What was likely meant stands first; nothing is offered that does not read.
func TestMeant(t *testing.T) {
	insert := func(s string) error { _, err := ParseInsert(s); return err }
	bar := func(s string) error { _, err := ParseBar(s); return err }
	for _, tt := range []struct {
		read func(string) error
		text string
		want string // the first; empty: none
		also string // among the others
	}{
		{insert, "CNMG 12O408", "CNMG120408", ""},
		{insert, "CNMG I2O4O8-MF", "CNMG120408-MF", ""},
		{insert, "СNMG 120408", "CNMG120408", ""},
		{insert, "CNMG 12040", "CNMG120404", "CNMG120408"},
		{insert, "CNMG 1204", "CNMG120404", "CNMG120412"},
		{insert, "CNMG 1204088", "CNMG120408", ""},
		{insert, "CNG 120408", "CNMG120408", ""},
		{insert, "CNMGG 120408", "CNMG120408", ""},
		{insert, "CNMG 130408", "CNMG120408", ""},
		{insert, "WNMG 120408", "WNMG080408", ""},
		{insert, "TNMG 120408", "TNMG220408", ""},
		{insert, "RCMT 1204", "RCMT1204M0", "RCMT120400"},
		{insert, "RCMT 120408", "RCMT1204M0", "RCMT120400"},
		{insert, "CNMG 120408-", "CNMG120408", ""},
		{insert, "CNMG 12-04-08", "CNMG120408", ""},
		{insert, "16ER 1.50 ISO", "", ""},
		{bar, "A25T-SCLCR O9", "A25T-SCLCR09", ""},
		{bar, "25T-SCLCR 09", "S25T-SCLCR09", "A25T-SCLCR09"},
		{bar, "A5T-SCLCR 09", "A05T-SCLCR09", ""},
		{bar, "A25T-SWLCR 09", "A25T-SWLCR06", "A25T-SWLCR08"},
		{bar, "A25T-SCLC 09", "A25T-SCLCR09", "A25T-SCLCL09"},
		{bar, "A25T-SCLCN 09", "A25T-SCLCR09", "A25T-SCLCL09"},
		{bar, "А25T-SCLCR 09", "A25T-SCLCR09", ""},
		{bar, "CCMT 09T304", "CCMT09T304", ""},
	} {
		r := refusalOf(tt.read(tt.text))
		if r == nil {
			t.Errorf("%q is not refused", tt.text)
			continue
		}
		first := ""
		if len(r.Meant) > 0 {
			first = r.Meant[0]
		}
		if first != tt.want || tt.also != "" && !slices.Contains(r.Meant, tt.also) {
			t.Errorf("%q: meant %q, want %q first and %q", tt.text, r.Meant, tt.want, tt.also)
		}
		for _, m := range r.Meant {
			if insert(m) != nil && bar(m) != nil {
				t.Errorf("%q: %q is offered and does not read", tt.text, m)
			}
		}
	}
	if r := refusalOf(bar("A25T-SCLCN 09")); r == nil || !strings.Contains(r.Why, "right (R) or left (L)") {
		t.Errorf("a neutral bar: %v", r)
	}
}

// What a person should know about a reading.
func TestNotes(t *testing.T) {
	insert := func(s string) (Reading, error) { _, rd, err := ReadInsert(s); return rd, err }
	bar := func(s string) (Reading, error) { _, rd, err := ReadBar(s); return rd, err }
	for _, tt := range []struct {
		read func(string) (Reading, error)
		text string
		want []string // one word of each note
	}{
		{insert, "CNMG 120408-MF", nil},
		{insert, "CNMG120408MF", []string{"without a dash"}},
		{insert, "CNMG120408SM", []string{"without a dash", "edge condition"}},
		{insert, "CNMG120406", []string{"by rule"}},
		{insert, "RCMT0702M0", []string{"by rule"}},
		{insert, "KNUX160405L11", []string{"without a dash", "from memory"}},
		{insert, "KNUX190405", []string{"not in the name"}},
		{insert, "FNMG120408", []string{"not in ISO 1832"}},
		{insert, "APMT1604PDER", []string{"not in the name", "wiper"}},
		{insert, "SNMX120408", []string{"drawing"}},
		{insert, "COMT060204", []string{"drawing"}},
		{insert, "TCMT 731", []string{"32nds"}},
		{bar, "A25T-SCLCR 09", nil},
		{bar, "A25T-SCLCR 09C", []string{"after the size"}},
		{bar, "A25T-SCJCR 09", []string{"style letter"}},
		{bar, "A25T-SCLCR09XY", []string{"without a dash"}},
	} {
		rd, err := tt.read(tt.text)
		got := rd.Notes()
		ok := err == nil && len(got) == len(tt.want)
		for i := range tt.want {
			ok = ok && strings.Contains(got[i], tt.want[i])
		}
		if !ok {
			t.Errorf("%q: notes %q, %v, want %q", tt.text, got, err, tt.want)
		}
	}
}
