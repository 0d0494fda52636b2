package drawing

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/draw"
	_ "image/png"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"
	code "github.com/skip2/go-qrcode"
)

func modules(t *testing.T, tag string) [][]bool {
	t.Helper()
	q, err := code.New(tag, code.Highest)
	if err != nil {
		t.Fatal(err)
	}
	q.DisableBorder = true
	return q.Bitmap()
}

func demoSheet(t *testing.T) SetupSheet {
	return SetupSheet{Job: "J-2101, spindle housing", Machine: "Lathe 2, station 7", By: "M. Okafor",
		Printed: time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC), Side: buildable(), OverhangMM: 280,
		Picks: []Pick{
			{Drawer: "D-02", Kind: "bar", Tag: "P0000088C", Label: "BAR-040A", Code: modules(t, "P0000088C")},
			{Drawer: "C-07", Kind: "sleeve", Tag: "P0000417N", Label: "SLV-50-40", Code: modules(t, "P0000417N")},
			{Drawer: "A-01-3", Kind: "insert", Tag: "L0000088F", Label: "DCMT 11T308", Number: 10, Note: "box 3, heat 77120", Code: modules(t, "L0000088F")},
		},
		Torques:  []Torque{{What: "clamp screws of the holder", NM: 25, Known: true}, {What: "insert screw"}},
		Cautions: []string{"Coolant above 70 bar can cut skin: door closed, pressure to zero before a fitting is loosened.", "Bar and holder weigh 16.4 kg: use a hoist or two people."},
		Remarks:  "Ran quiet at 140 m/min; the second nipple weeps, change the seal."}
}

// The sheet is one page on both papers, a foreign program finds its words, and every piece's
// code is read again from the page.
func TestSheet(t *testing.T) {
	for _, p := range []Paper{A4, Letter} {
		s := demoSheet(t)
		pdf, err := Sheet(s, p)
		if err != nil {
			t.Fatal(err)
		}
		for _, tool := range []string{"pdftotext", "pdftoppm"} {
			if _, err := exec.LookPath(tool); err != nil {
				t.Skipf("SKIPPED: %s is not installed, so nothing foreign reads the sheet", tool)
			}
		}
		dir := t.TempDir()
		file := filepath.Join(dir, "s.pdf")
		if err := os.WriteFile(file, pdf, 0o600); err != nil {
			t.Fatal(err)
		}
		words, err := exec.Command("pdftotext", "-layout", file, "-").Output()
		if err != nil {
			t.Fatal(err)
		}
		if n := bytes.Count(words, []byte("\f")); n != 1 {
			t.Errorf("%s: %d pages, want 1", p.Name, n)
		}
		text := string(words)
		for _, want := range []string{"280 mm", "11.024 in", "not recorded", "25 Nm", "C-07", "P0000417N", "10 x insert", "hoist or two people", "last time: Ran quiet", "releases nothing", "centre height"} {
			if !strings.Contains(text, want) {
				t.Errorf("%s: the sheet does not say %q", p.Name, want)
			}
		}
		if a, c, d := strings.Index(text, "A-01-3"), strings.Index(text, "C-07"), strings.Index(text, "D-02"); !(a < c && c < d) {
			t.Errorf("%s: drawers at %d, %d, %d: not in the order of the crib", p.Name, a, c, d)
		}
		if got := codesOn(t, file, dir); !got["P0000417N"] || !got["P0000088C"] || !got["L0000088F"] {
			t.Errorf("%s: codes read from the page: %v, want all three", p.Name, got)
		}
	}
}

// codesOn reads the codes at the right edge of the first page, strip by strip, as a scanner
// is held over one after the other.
func codesOn(t *testing.T, file, dir string) map[string]bool {
	t.Helper()
	if out, err := exec.Command("pdftoppm", "-r", "300", "-gray", "-png", file, filepath.Join(dir, "p")).CombinedOutput(); err != nil {
		t.Fatalf("pdftoppm: %v %s", err, out)
	}
	f, err := os.Open(filepath.Join(dir, "p-1.png"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	page, _, err := image.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]bool{}
	w, h := page.Bounds().Dx(), page.Bounds().Dy()
	for y := h / 3; y+190 < h*3/4; y += 30 {
		strip := image.NewGray(image.Rect(0, 0, 300, 190))
		draw.Draw(strip, strip.Rect, page, image.Pt(w-300, y), draw.Src)
		b, err := gozxing.NewBinaryBitmapFromImage(strip)
		if err != nil {
			t.Fatal(err)
		}
		if r, err := qrcode.NewQRCodeReader().Decode(b, nil); err == nil {
			got[r.GetText()] = true
		}
	}
	return got
}

func TestSheetRefuses(t *testing.T) {
	for says, spoil := range map[string]func(*SetupSheet){
		"shorten the remarks":  func(s *SetupSheet) { s.Remarks = strings.Repeat("long story ", 2000) },
		"must not be below 0":  func(s *SetupSheet) { s.OverhangMM = -1 },
		"a square code has":    func(s *SetupSheet) { s.Picks[0].Code = make([][]bool, 3) },
		"or not recorded":      func(s *SetupSheet) { s.Torques[0].NM = -4 },
		"1 to 12":              func(s *SetupSheet) { s.Side.Parts = nil },
		"the pick list (200 l": func(s *SetupSheet) { s.Picks = make([]Pick, 200) },
	} {
		s := demoSheet(t)
		spoil(&s)
		pdf, err := Sheet(s, A4)
		if !errors.Is(err, ErrDrawing) || !strings.Contains(fmt.Sprint(err), says) || pdf != nil {
			t.Errorf("error %v with %d bytes, want ErrDrawing that says %q and nothing printed", err, len(pdf), says)
		}
	}
}
