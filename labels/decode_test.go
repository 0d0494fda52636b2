package labels

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"image"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/datamatrix"
	"github.com/makiuchi-d/gozxing/qrcode"
)

// A reader decodes pictures; it knows nothing of ours. One answer a picture, "" for none.
type reader struct {
	name string
	read func(t *testing.T, pictures []image.Image) []string
}

// readers returns the independent readers there are for QR or Data Matrix. One that is not
// installed is said to be skipped.
func readers(t *testing.T, matrix bool) []reader {
	t.Helper()
	rs := []reader{{"gozxing", func(t *testing.T, pics []image.Image) []string {
		out := make([]string, len(pics))
		for i, p := range pics {
			if out[i] = zxing(p, matrix); out[i] == "" { // a hand moves: once more from further away
				out[i] = zxing(scaled(grey(p), 0.8), matrix)
			}
		}
		return out
	}}}
	tool, run := "zbarimg", zbar
	if matrix {
		tool, run = "dmtxread", dmtx
	}
	if _, err := exec.LookPath(tool); err != nil {
		fmt.Printf("SKIPPED: decoding with %s: the program is not installed\n", tool)
		return rs
	}
	return append(rs, reader{tool, run})
}

// zxing tries both of its ways to tell black from white, as a scanner does frame after frame.
func zxing(p image.Image, matrix bool) string {
	var r gozxing.Reader = qrcode.NewQRCodeReader()
	if matrix {
		r = datamatrix.NewDataMatrixReader()
	}
	hints := map[gozxing.DecodeHintType]any{gozxing.DecodeHintType_TRY_HARDER: true}
	src := gozxing.NewLuminanceSourceFromImage(p)
	for _, b := range []gozxing.Binarizer{gozxing.NewHybridBinarizer(src), gozxing.NewGlobalHistgramBinarizer(src)} {
		bmp, err := gozxing.NewBinaryBitmap(b)
		if err != nil {
			continue
		}
		if got, err := r.Decode(bmp, hints); err == nil {
			return got.GetText()
		}
	}
	return ""
}

// save writes the pictures as PNG files into a folder of the test.
func save(t *testing.T, pics []image.Image) []string {
	t.Helper()
	dir := t.TempDir()
	files := make([]string, len(pics))
	for i, p := range pics {
		files[i] = filepath.Join(dir, fmt.Sprintf("p%05d.png", i))
		f, err := os.Create(files[i])
		if err != nil {
			t.Fatal(err)
		}
		if err := (&png.Encoder{CompressionLevel: png.BestSpeed}).Encode(f, p); err != nil {
			t.Fatal(err)
		}
		if err := f.Close(); err != nil {
			t.Fatal(err)
		}
	}
	return files
}

// zbar reads all pictures in one run of zbarimg.
func zbar(t *testing.T, pics []image.Image) []string {
	t.Helper()
	files := save(t, pics)
	raw, err := exec.Command("zbarimg", append([]string{"-q", "--xml", "-Sdisable", "-Sqrcode.enable"}, files...)...).Output()
	var left *exec.ExitError
	if err != nil && !(asExit(err, &left) && left.ExitCode() == 4) { // 4: some picture had no code
		t.Fatalf("zbarimg: %v", err)
	}
	var doc struct {
		Source []struct {
			Href string `xml:"href,attr"`
			Data string `xml:"index>symbol>data"`
		} `xml:"source"`
	}
	if err := xml.Unmarshal(raw, &doc); err != nil {
		t.Fatalf("zbarimg: %v in %q", err, raw)
	}
	got := map[string]string{}
	for _, s := range doc.Source {
		got[s.Href] = s.Data
	}
	out := make([]string, len(files))
	for i, f := range files {
		out[i] = got[f]
	}
	return out
}

func asExit(err error, to **exec.ExitError) bool {
	e, ok := err.(*exec.ExitError)
	*to = e
	return ok
}

// dmtx reads pictures one by one: dmtxread does not say which picture an answer is from.
func dmtx(t *testing.T, pics []image.Image) []string {
	t.Helper()
	out := make([]string, len(pics))
	for i, f := range save(t, pics) {
		got, _ := exec.Command("dmtxread", "-m2000", "-N1", f).Output()
		out[i] = strings.TrimSpace(string(got))
	}
	return out
}

// rasterise turns a PDF into grey pictures of its pages; it skips, saying so, without pdftoppm.
func rasterise(t *testing.T, pdf []byte, dpi int) []image.Image {
	t.Helper()
	if _, err := exec.LookPath("pdftoppm"); err != nil {
		t.Skip("SKIPPED: pdftoppm is not installed, so no PDF can be rasterised")
	}
	dir := t.TempDir()
	file := filepath.Join(dir, "in.pdf")
	if err := os.WriteFile(file, pdf, 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("pdftoppm", "-r", fmt.Sprint(dpi), "-gray", "-png", file, filepath.Join(dir, "p")).CombinedOutput(); err != nil {
		t.Fatalf("pdftoppm: %v %s", err, out)
	}
	names, err := filepath.Glob(filepath.Join(dir, "p*.png"))
	if err != nil || len(names) == 0 {
		t.Fatalf("pdftoppm made no pages: %v", err)
	}
	var pages []image.Image
	for _, n := range names { // the names sort by page: pdftoppm pads them
		b, err := os.ReadFile(n)
		if err != nil {
			t.Fatal(err)
		}
		p, err := png.Decode(bytes.NewReader(b))
		if err != nil {
			t.Fatal(err)
		}
		pages = append(pages, p)
	}
	return pages
}

// The sturdy symbol is forced to one version; whatever length it is asked to hold it answers
// or declines, and does not panic.
func TestSturdyQRDeclines(t *testing.T) {
	for n := 1; n <= 300; n++ {
		got := sturdyQR(strings.Repeat("A", n)) != nil
		if want := n <= 50; got != want { // version 4-H holds 50 alphanumeric characters (ISO/IEC 18004, table of capacities)
			t.Errorf("%d characters: %v, want %v", n, got, want)
		}
	}
}
