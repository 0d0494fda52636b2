package standard

import (
	"encoding/csv"
	"errors"
	"os"
	"testing"

	"pgregory.net/rapid"
)

// rows reads a reference table from testdata/standard: one map a row, by column name.
func rows(t testing.TB, name string) []map[string]string {
	t.Helper()
	f, err := os.Open("../../testdata/standard/" + name + ".csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]string
	for _, row := range all[1:] {
		m := map[string]string{}
		for i, v := range row {
			m[all[0][i]] = v
		}
		out = append(out, m)
	}
	if len(out) == 0 {
		t.Fatalf("%s.csv has no rows", name)
	}
	return out
}

// refusalOf is err as a refusal, or nil.
func refusalOf(err error) *Refusal {
	var r *Refusal
	if errors.As(err, &r) {
		return r
	}
	return nil
}

func yes(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

func mustThread(t testing.TB, text string) Thread {
	t.Helper()
	th, err := ParseThread(text)
	if err != nil {
		t.Fatal(err)
	}
	return th
}

func TestThreadTable(t *testing.T) {
	for _, r := range rows(t, "threads") {
		th := mustThread(t, r["thread_id"])
		if th.ID != r["thread_id"] || th.Standard != r["standard"] || th.Family != r["family"] || th.Size != r["size"] ||
			th.MajorMM != num(r["major_diameter_mm"]) || th.TPI != num(r["tpi"]) || th.PitchMM != num(r["pitch_mm"]) ||
			th.AngleDeg != num(r["thread_angle_deg"]) || yes(th.Taper) != r["taper"] || th.TaperRatio != r["taper_ratio"] ||
			th.SealsBy != r["seals_by"] || th.MatesWith != r["mates_with"] || th.Remark != r["remark"] || th.Status != r["status"] {
			t.Errorf("ParseThread(%q) = %+v, want %v", r["thread_id"], th, r)
		}
	}
}

// The pitch of every thread with threads per inch is 25.4 / TPI, rounded to 0.001 mm; the
// tables print 1.587 for 16 threads, the nearest even rounding.
func TestThreadPitch(t *testing.T) {
	for _, th := range Threads() {
		if th.TPI == 0 {
			continue
		}
		if d := th.PitchMM - 25.4/th.TPI; d > 0.00051 || d < -0.00051 {
			t.Errorf("%s: pitch %g, but 25.4/%g = %g", th.ID, th.PitchMM, th.TPI, 25.4/th.TPI)
		}
	}
}

func TestThreadPairs(t *testing.T) {
	for _, r := range rows(t, "thread_pairs") {
		got := Mates(Port{Male, mustThread(t, r["male"])}, Port{Female, mustThread(t, r["female"])})
		if got.Result != r["result"] || got.Seal != r["seal"] || yes(got.Caution) != r["caution"] || got.Reason != r["reason"] || got.Basis != r["basis"] {
			t.Errorf("%s in %s:\n got %q %q %v %q %q\nwant %q %q %s %q %q", r["male"], r["female"],
				got.Result, got.Seal, got.Caution, got.Reason, got.Basis, r["result"], r["seal"], r["caution"], r["reason"], r["basis"])
		}
		if (got.Result == MatesYes) != got.Adapter.IsZero() {
			t.Errorf("%s in %s: %s with adapter %q", r["male"], r["female"], got.Result, got.Adapter)
		}
	}
}

func TestThreadSpellings(t *testing.T) {
	for _, tt := range []struct{ text, want string }{
		{"g1/4", "G 1/4"}, {"G 1/4 A", "G 1/4"}, {`1/4" BSPP`, "G 1/4"}, {"Ｇ１／４", "G 1/4"}, {"G 1 1/4", "G 1-1/4"},
		{"G1-1/2", "G 1-1/2"}, {"rc1/4", "Rc 1/4"}, {"RP 3/8", "Rp 3/8"}, {"npt1/4", "NPT 1/4"}, {"1/4-18 NPT", "NPT 1/4"},
		{"1-11.5 NPT", "NPT 1"}, {"M10 X 1", "M10x1"}, {"M10×1", "M10x1"}, {"m10x1,0", "M10x1"}, {"M8", "M8x1.25"}, {"M6x1", "M6"},
		{"M10", "M10x1.5"}, {"M20", "M20x2.5"}, {"M18x1.5", "M18x1.5"}, {"M10x1 keg", "M10x1 taper"}, {"M12x1.5 DIN 3852", "M12x1.5 ISO 9974"},
		{"M18x1.5 ISO 6149", "M18x1.5 ISO 6149"}, {"JIC-6", "JIC -6"}, {"jic 6", "JIC -6"}, {"-8 ORB", "ORB -8"}, {"SAE 45 -4", "SAE45 -4"},
		{"9/16-18 UNF JIC", "JIC -6"}, {"7/16-20 37 deg", "JIC -4"}, {"5/8-18 UNF", "SAE45 -6"}, {"UNF 5/8-18", "SAE45 -6"}, {"PF 1/2", "G 1/2"},
	} {
		th, err := ParseThread(tt.text)
		if err != nil || th.ID != tt.want {
			t.Errorf("ParseThread(%q) = %q, %v, want %q", tt.text, th.ID, err, tt.want)
		}
	}
	for _, text := range []string{
		"", "1/4", "BSP 1/4", "BSPT 1/4", "G 1/5", "NPT 1/4-19", "9/16-18 UNF", "M7x6", "M0", "M11", "Р 1/4", "JIC -7", "X 1/4", "G",
		"M10x1\nM12x1.5", "G 1/4 LH", "-", "M", "NPSM 1/4", "M999",
	} {
		if th, err := ParseThread(text); err == nil {
			t.Errorf("ParseThread(%q) = %q, want a refusal", text, th.ID)
		}
	}
}

func TestPorts(t *testing.T) {
	for _, tt := range []struct{ text, want string }{
		{"M:G 1/4", "M:G 1/4"}, {"f: npt1/4", "F:NPT 1/4"}, {"male R 1/4", "M:R 1/4"}, {"Female: Rc 1/8", "F:Rc 1/8"},
		{"M:BSPT 1/4", "M:R 1/4"}, {"F:BSPT 1/4", "F:Rc 1/4"}, {"F:M10x1", "F:M10x1"}, {"M:M10x1 taper", "M:M10x1 taper"},
	} {
		p, err := ParsePort(tt.text)
		if err != nil || p.String() != tt.want {
			t.Errorf("ParsePort(%q) = %q, %v, want %q", tt.text, p, err, tt.want)
		}
	}
	for _, text := range []string{"G 1/4", "M10x1", "F:R 1/4", "M:Rc 1/4", "M:", "F:M10x1 taper", "N:G 1/4"} {
		if p, err := ParsePort(text); err == nil {
			t.Errorf("ParsePort(%q) = %q, want a refusal", text, p)
		}
	}
}

// The adapter of the trade's own example: a G 1/4 port and an NPT 1/4 hose end.
func TestAdapter(t *testing.T) {
	for _, tt := range []struct{ male, female, want string }{
		{"NPT 1/4", "G 1/4", "adapter male G 1/4 to female NPT 1/4"},
		{"R 1/2", "NPT 1/2", "adapter male NPT 1/2 to female Rc 1/2"},
		{"NPT 1/4", "Rc 1/4", "adapter male R 1/4 to female NPT 1/4"},
		{"M10x1 taper", "G 1/8", "adapter male G 1/8 to female M10x1"},
		{"JIC -4", "SAE45 -4", "adapter male SAE45 -4 to female JIC -4"},
	} {
		got := Mates(Port{Male, mustThread(t, tt.male)}, Port{Female, mustThread(t, tt.female)})
		if got.Adapter.String() != tt.want {
			t.Errorf("%s in %s: %q, want %q", tt.male, tt.female, got.Adapter, tt.want)
		}
	}
	g := mustThread(t, "G 1/4")
	if m := Mates(Port{Male, g}, Port{Male, g}); m.Result != MatesNo || m.Adapter.String() != "adapter female G 1/4 to female G 1/4" {
		t.Errorf("two males: %+v", m)
	}
}

func anyPort(t *rapid.T) Port {
	th := rapid.SampledFrom(Threads()).Draw(t, "thread")
	g := rapid.SampledFrom([]Gender{Male, Female}).Draw(t, "gender")
	if o := th.only(); o != 0 {
		g = o
	}
	return Port{g, th}
}

// Mates does not care for the order, two of one gender never mate, and the adapter it
// names screws tight on both sides.
func TestMatesProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := anyPort(t), anyPort(t)
		m := Mates(a, b)
		if back := Mates(b, a); back.Result != m.Result || back.Reason != m.Reason || back.Seal != m.Seal {
			t.Fatalf("Mates(%s, %s) = %+v, but turned round %+v", a, b, m, back)
		}
		if a.Gender == b.Gender && m.Result != MatesNo {
			t.Fatalf("Mates(%s, %s) = %s", a, b, m.Result)
		}
		if m.Reason == "" || m.Basis == "" {
			t.Fatalf("Mates(%s, %s) gives no reason: %+v", a, b, m)
		}
		ad := AdapterFor(a, b)
		if !Mates(ad.A, a).Tight() || !Mates(ad.B, b).Tight() {
			t.Fatalf("%s does not join %s and %s", ad, a, b)
		}
	})
}

func FuzzParseThread(f *testing.F) {
	for _, s := range []string{"G 1/4", "M10x1 taper", "JIC -6", `1-1/4" NPT`, "9/16-18 UNF", "M:G 1/4", "F:M12x1.5 ISO 6149"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if th, err := ParseThread(s); err == nil {
			if again, err := ParseThread(th.ID); err != nil || again != th {
				t.Errorf("%q reads as %v, but %v reads as %v, %v", s, th, th, again, err)
			}
		}
		if p, err := ParsePort(s); err == nil {
			if again, err := ParsePort(p.String()); err != nil || again != p {
				t.Errorf("%q reads as %v, but %v reads as %v, %v", s, p, p, again, err)
			}
		}
	})
}
