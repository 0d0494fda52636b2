package labels

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"os"

	"brasspeg/store/standard"
)

func TestParseSheet(t *testing.T) {
	for in, want := range map[string]int{"a4": 21, "Letter": 10, "50x25": 1, "a4:70x37": 24, "300 x 200 : 50 x 25": 48} {
		s, err := ParseSheet(in)
		if err != nil || s.PerPage() != want {
			t.Errorf("ParseSheet(%q) has %d labels, %v; want %d", in, s.PerPage(), err, want)
		}
	}
	for _, in := range []string{"", "a5", "50", "50x", "x25", "0x0", "-5x9", "50x25x3", "a4:300x10", "a4:0.1x0.1", "1e9x1", "9999999x25"} {
		if s, err := ParseSheet(in); !errors.Is(err, ErrMedia) {
			t.Errorf("ParseSheet(%q) = %v, %v; want ErrMedia", in, s, err)
		}
	}
}

func TestSheetRefusesGrids(t *testing.T) {
	for says, spoil := range map[string]func(*Sheet){
		"leave the paper by":     func(s *Sheet) { s.Across = 4 },
		"labels down leave":      func(s *Sheet) { s.Down = 8 },
		"overlap":                func(s *Sheet) { s.PitchX = 60 },
		"has labels 1 to 21":     func(s *Sheet) { s.Start = 22 },
		"must be -10 to 10":      func(s *Sheet) { s.OffsetX = 11 },
		"paper width: NaN":       func(s *Sheet) { s.W = math.NaN() },
		"203, 300 or 600":        func(s *Sheet) { s.DPI = 150 },
		"must be 1 to 100 each":  func(s *Sheet) { s.Down = 0 },
		"label height: 0 mm; mu": func(s *Sheet) { s.Cell.H = 0 },
	} {
		s := A4()
		spoil(&s)
		pdf, err := PDF(everyKind(false), s)
		if !errors.Is(err, ErrMedia) || !strings.Contains(err.Error(), says) || pdf != nil {
			t.Errorf("error %v with %d bytes, want ErrMedia that says %q and nothing printed", err, len(pdf), says)
		}
	}
}

// The page of a single label is exactly the label, the printer is asked not to scale, and a
// foreign reader finds the file whole.
func TestSinglePage(t *testing.T) {
	pdf, err := PDF([]Label{shop()["sleeve"]}, Single(Area{50, 25}, 300))
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Contains(pdf, []byte("/PrintScaling /None")) {
		t.Error("the file does not ask for true size")
	}
	again, err := PDF([]Label{shop()["sleeve"]}, Single(Area{50, 25}, 300))
	if err != nil || !bytes.Equal(pdf, again) {
		t.Error("the same label makes other bytes the second time")
	}
	if _, err := exec.LookPath("pdfinfo"); err != nil {
		t.Skip("SKIPPED: pdfinfo is not installed, so nothing foreign measures the page")
	}
	file := filepath.Join(t.TempDir(), "l.pdf")
	if err := os.WriteFile(file, pdf, 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("pdfinfo", file).CombinedOutput()
	var w, h float64
	for line := range strings.Lines(string(out)) {
		if rest, ok := strings.CutPrefix(line, "Page size:"); ok {
			fmt.Sscanf(strings.TrimSpace(rest), "%f x %f", &w, &h)
		}
	}
	if err != nil || math.Abs(w-50*mmPt) > 0.02 || math.Abs(h-25*mmPt) > 0.02 || bytes.Contains(out, []byte("rror")) {
		t.Errorf("pdfinfo: %v, page %v x %v pt, want %.2f x %.2f\n%s", err, w, h, 50*mmPt, 25*mmPt, out)
	}
}

func TestCalibrationPages(t *testing.T) {
	for _, s := range []Sheet{A4(), Letter(), Single(Area{50, 25}, 203), Single(Area{8, 6}, 0)} {
		pdf, err := Calibration(s)
		if err != nil {
			t.Fatalf("%s: %v", s.Name, err)
		}
		if len(rasterise(t, pdf, 50)) != 1 {
			t.Errorf("%s: not one page", s.Name)
		}
	}
}

// thousand is a thousand piece tags.
func thousand(t interface{ Fatal(...any) }) []Label {
	ls := make([]Label, 1000)
	for i := range ls {
		ls[i] = shop()["sleeve"]
		tag, err := standard.NewTag('P', int64(i))
		if err != nil {
			t.Fatal(err)
		}
		ls[i].Tag = tag
	}
	return ls
}

func TestThousandLabelsAreSmall(t *testing.T) {
	pdf, err := PDF(thousand(t), A4())
	if err != nil {
		t.Fatal(err)
	}
	if len(pdf) > 2<<20 {
		t.Errorf("1,000 labels are %d bytes, want 2 MB at most", len(pdf))
	}
}

// BenchmarkThousandLabels is the sheet of 1,000 labels; the aim is 1 s.
func BenchmarkThousandLabels(b *testing.B) {
	ls := thousand(b)
	for b.Loop() {
		pdf, err := PDF(ls, A4())
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(len(pdf)), "bytes")
	}
}

func BenchmarkPNG(b *testing.B) {
	l := shop()["sleeve"]
	for b.Loop() {
		if _, err := PNG(l, Area{50, 25}, 203); err != nil {
			b.Fatal(err)
		}
	}
}
