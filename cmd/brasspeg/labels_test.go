package main

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"image"
	"image/draw"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"

	"brasspeg/labels"
	"brasspeg/store"
)

// printLabels runs the real command.
func printLabels(t *testing.T, args ...string) (out string, err error) {
	t.Helper()
	var b bytes.Buffer
	err = run(t.Context(), append([]string{"labels"}, args...), func(string) string { return "" }, strings.NewReader(""), &b, &b)
	return b.String(), err
}

// onShelf is every tag that a label of the demo shop carries, asked for thing by thing.
func onShelf(t *testing.T, st *store.Store) []string {
	t.Helper()
	ctx := t.Context()
	ok := func(err error) {
		if err != nil {
			t.Fatal(err)
		}
	}
	var tags []string
	parts, err := st.Parts(ctx, "", "", 10_000)
	ok(err)
	for _, p := range parts {
		heaps, err := st.Heaps(ctx, p.ID)
		ok(err)
		for _, h := range heaps {
			it, err := st.Item(ctx, h.ItemID)
			ok(err)
			tags = append(tags, it.Tag)
		}
	}
	for _, kind := range []store.PlaceKind{store.Bin, store.StationAt} {
		places, err := st.Places(ctx, kind)
		ok(err)
		for _, p := range places {
			tags = append(tags, *p.Tag)
		}
	}
	machines, err := st.Machines(ctx)
	ok(err)
	for _, m := range machines {
		tags = append(tags, *m.Tag)
	}
	jobs, err := st.Jobs(ctx, "planned", "running")
	ok(err)
	for _, j := range jobs {
		tags = append(tags, *j.Tag)
	}
	_, cards := store.ActCards()
	tags = append(tags, cards...)
	slices.Sort(tags)
	return slices.Compact(tags)
}

// cut rasterises a PDF of A4 sheets and cuts the labels out, page by page along the rows.
func cut(t *testing.T, pdf string, dpi, n int) []image.Image {
	t.Helper()
	dir := t.TempDir()
	if out, err := exec.Command("pdftoppm", "-r", fmt.Sprint(dpi), "-gray", "-png", pdf, filepath.Join(dir, "p")).CombinedOutput(); err != nil {
		t.Fatalf("pdftoppm: %v %s", err, out)
	}
	pages, err := filepath.Glob(filepath.Join(dir, "p*.png"))
	if err != nil {
		t.Fatal(err)
	}
	s, k := labels.A4(), float64(dpi)/25.4
	var out []image.Image
	for _, name := range pages {
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		page, err := png.Decode(bytes.NewReader(b))
		if err != nil {
			t.Fatal(err)
		}
		for i := range s.PerPage() {
			if len(out) == n {
				return out
			}
			x, y := (s.Left+float64(i%s.Across)*s.PitchX)*k, (s.Top+float64(i/s.Across)*s.PitchY)*k
			g := image.NewGray(image.Rect(0, 0, int(s.Cell.W*k), int(s.Cell.H*k)))
			draw.Draw(g, g.Rect, page, image.Pt(int(x), int(y)), draw.Src)
			out = append(out, g)
		}
	}
	return out
}

// zbarAll reads all pictures in one run.
func zbarAll(t *testing.T, pics []image.Image) []string {
	t.Helper()
	dir := t.TempDir()
	files := make([]string, len(pics))
	for i, p := range pics {
		var b bytes.Buffer
		if err := (&png.Encoder{CompressionLevel: png.NoCompression}).Encode(&b, p); err != nil {
			t.Fatal(err)
		}
		files[i] = filepath.Join(dir, fmt.Sprintf("l%05d.png", i))
		if err := os.WriteFile(files[i], b.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	raw, err := exec.Command("zbarimg", append([]string{"-q", "--xml", "-Sdisable", "-Sqrcode.enable"}, files...)...).Output()
	if x, left := err.(*exec.ExitError); err != nil && !(left && x.ExitCode() == 4) { // 4: some picture had no code
		t.Fatalf("zbarimg: %v", err)
	}
	var doc struct {
		Source []struct {
			Href string `xml:"href,attr"`
			Data string `xml:"index>symbol>data"`
		} `xml:"source"`
	}
	if err := xml.Unmarshal(raw, &doc); err != nil {
		t.Fatal(err)
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

func zxing(p image.Image) string {
	src := gozxing.NewLuminanceSourceFromImage(p)
	for _, b := range []gozxing.Binarizer{gozxing.NewHybridBinarizer(src), gozxing.NewGlobalHistgramBinarizer(src)} {
		bmp, err := gozxing.NewBinaryBitmap(b)
		if err != nil {
			continue
		}
		if got, err := qrcode.NewQRCodeReader().Decode(bmp, nil); err == nil {
			return got.GetText()
		}
	}
	return ""
}

// The command prints the whole demo shop on A4; each label is cut out of the page as a printer
// of 203 and of 300 dpi would lay it down and read by two programs that know nothing of ours;
// what they read is every tag of the shop, each once, the quantity keys and the reason cards.
func TestWholeShopIsRead(t *testing.T) {
	if testing.Short() {
		t.Log("SKIPPED: reading every label of the demo shop takes some seconds; run without -short")
		t.SkipNow()
	}
	for _, tool := range []string{"pdftoppm", "zbarimg"} {
		if _, err := exec.LookPath(tool); err != nil {
			fmt.Printf("SKIPPED: reading the labels of the demo shop: %s is not installed\n", tool)
			t.Skipf("SKIPPED: %s is not installed", tool)
		}
	}
	pdf := filepath.Join(t.TempDir(), "all.pdf")
	said, err := printLabels(t, "--demo", "--sheet", "a4", "--out", pdf)
	if err != nil {
		t.Fatal(err)
	}
	st, _ := seeded(t, true)
	want := onShelf(t, st)
	want = append(want, "1", "2", "3", "4", "5", "6", "8", "10", "20", "50",
		"EDGE-PLANNED", "EDGE-WORN", "EDGE-FINISH", "EDGE-SIZE", "EDGE-CHIPPED", "EDGE-BROKEN", "EDGE-CHATTER", "EDGE-END")
	slices.Sort(want)
	if !strings.HasPrefix(said, fmt.Sprintf("%d labels on %d pages", len(want), labels.A4().Pages(len(want)))) || len(want) < 350 {
		t.Errorf("the command says %q, the shop has %d tags", said, len(want))
	}
	for _, dpi := range []int{203, 300} {
		t.Run(fmt.Sprint(dpi), func(t *testing.T) {
			t.Parallel()
			pics := cut(t, pdf, dpi, len(want))
			wantAt := zbarAll(t, pics)
			got := slices.Sorted(slices.Values(wantAt))
			if !slices.Equal(got, want) {
				for _, w := range want {
					if !slices.Contains(got, w) {
						t.Errorf("%d dpi: zbarimg reads no %s", dpi, w)
					}
				}
				t.Errorf("%d dpi: zbarimg reads %d labels that are not the shop's %d", dpi, len(got), len(want))
			}
			for i, p := range pics {
				if dpi == 300 && i%6 != 0 { // for the sake of time; at 203 dpi it reads them all
					continue
				}
				if got := zxing(p); got != wantAt[i] {
					t.Errorf("%d dpi, label %d: gozxing reads %q, zbarimg %q", dpi, i+1, got, wantAt[i])
				}
			}
		})
	}
}

// ownShop is a small store on disk whose texts are made to hurt a printer, a spreadsheet or a
// page, if any of them were not drawn but sent.
func ownShop(t *testing.T) (dir string, st *store.Store, tags []string) {
	t.Helper()
	ctx := t.Context()
	dir = t.TempDir()
	st, err := store.Open(ctx, store.Options{Dir: dir, Create: true, Relaxed: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { st.Close() })
	p, _, err := st.AddPerson(ctx, 0, store.PersonIn{Login: "gil", Name: "Gil", Role: store.Manager})
	if err != nil {
		t.Fatal(err)
	}
	bin, err := st.AddPlace(ctx, store.Place{Code: "A1-1", Kind: store.Bin})
	if err != nil {
		t.Fatal(err)
	}
	for i, text := range []string{`=HYPERLINK("x","y")`, "<script>alert(1)</script>", "^XZ^XA~JR^FDx^FS", "N\\nP1\\n^", "µØä½ 1-1/4"} {
		in, err := store.PartFrom(map[string]any{"id": fmt.Sprintf("T-%d", i), "kind": "spare", "designation": text}, "entered")
		if err != nil {
			t.Fatal(err)
		}
		part, err := st.SavePart(ctx, p.ID, in)
		if err != nil {
			t.Fatal(err)
		}
		r, err := st.Receive(ctx, store.Op{ID: fmt.Sprintf("labels-test-%06d", i), Actor: p.ID}, store.ReceiveIn{Part: part.ID, Qty: 1, To: bin.ID, Box: text})
		if err != nil {
			t.Fatal(err)
		}
		tags = append(tags, r.Lines[0].Tag)
	}
	return dir, st, tags
}

// Formulas, markup and printer commands print as text, in every medium.
func TestLabelTextIsOnlyText(t *testing.T) {
	dir, st, tags := ownShop(t)
	st.Close()
	to := t.TempDir()
	for _, ending := range []string{".pdf", ".svg", ".png", ".zpl", ".epl"} {
		if said, err := printLabels(t, "--data", dir, "--select", "lots", "--sheet", "70x40", "--out", filepath.Join(to, "l"+ending)); err != nil || !strings.HasPrefix(said, "5 labels") {
			t.Fatalf("%s: %q, %v", ending, said, err)
		}
	}
	read := func(name string) string {
		b, err := os.ReadFile(filepath.Join(to, name))
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	zpl := read("l.zpl")
	if strings.Count(zpl, "^XA") != 5 || strings.Count(zpl, "^XZ") != 5 || strings.Contains(zpl, "~JR") || strings.Contains(zpl, "^FD") {
		t.Error("a printer command came through as a command")
	}
	svg := read("l-" + tags[1] + ".svg")
	if strings.Contains(svg, "<script") || !strings.Contains(svg, "&lt;script&gt;alert(1)&lt;/script&gt;") {
		t.Error("markup came through as markup, or is not there as text")
	}
	if svg := read("l-" + tags[0] + ".svg"); !strings.Contains(svg, "=HYPERLINK(&#34;x&#34;,&#34;y&#34;)") {
		t.Error("the formula is not there as text")
	}
	st, err := store.Open(t.Context(), store.Options{Dir: dir})
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	if prints, err := st.LabelPrints(t.Context(), tags[0]); err != nil || len(prints) != 5 || prints[0].Person != "console" || prints[0].Medium == "" {
		t.Errorf("on record: %+v, %v", prints, err)
	}
}

// The reason cards of a shop's own store are printed, and are on record.
func TestReasonCardsOnRecord(t *testing.T) {
	dir, st, _ := ownShop(t)
	st.Close()
	pdf := filepath.Join(t.TempDir(), "r.pdf")
	if said, err := printLabels(t, "--data", dir, "--select", "reasons", "--out", pdf); err != nil || !strings.HasPrefix(said, "8 labels on 1 page") {
		t.Fatalf("%q, %v", said, err)
	}
	st, err := store.Open(t.Context(), store.Options{Dir: dir})
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	if prints, err := st.LabelPrints(t.Context(), "EDGE-END"); err != nil || len(prints) != 1 {
		t.Errorf("on record: %+v, %v", prints, err)
	}
}

// What cannot be printed is refused with what would mend it; the file that was there stays,
// and none is left half written.
func TestLabelsRefusedWhole(t *testing.T) {
	dir, st, tags := ownShop(t)
	ctx := t.Context()
	people, err := st.People(ctx)
	if err != nil {
		t.Fatal(err)
	}
	by := people[0].ID
	place, err := st.PlaceByCode(ctx, "A1-1")
	if err != nil {
		t.Fatal(err)
	}
	in, err := store.PartFrom(map[string]any{"id": "T-CJK", "kind": "spare", "designation": "ねじ M6"}, "entered")
	if err != nil {
		t.Fatal(err)
	}
	part, err := st.SavePart(ctx, by, in)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := st.Receive(ctx, store.Op{ID: "labels-test-cjk-1", Actor: by}, store.ReceiveIn{Part: part.ID, Qty: 1, To: place.ID}); err != nil {
		t.Fatal(err)
	}
	gone, err := st.ItemByTag(ctx, tags[4])
	if err != nil {
		t.Fatal(err)
	}
	if _, err := st.Scrap(ctx, store.Op{ID: "labels-test-gone-1", Actor: by}, store.ScrapIn{Picks: []store.Pick{{Item: gone.ID, Place: place.ID, Qty: 1}}, Reason: "worn out"}); err != nil {
		t.Fatal(err)
	}
	st.Close()
	wrong := tags[0][:8] + map[bool]string{true: "A", false: "B"}[tags[0][8] != 'A']
	to := t.TempDir()
	for i, c := range []struct {
		args []string
		says string
	}{
		{[]string{"--select", "P0009999" + "0"}, ""}, // wrong check character or nothing: both are refused
		{[]string{"--select", wrong}, tags[0]},
		{[]string{"--select", "T-CJK"}, "ね"},
		{[]string{"--select", "lots"}, "ね"}, // four good labels and one bad: none
		{[]string{"--select", "nothing of that name"}, "nothing here is called"},
		{[]string{"--select", "people"}, "secret"},
		{[]string{"--select", "T-0", "--sheet", "a4:300x20"}, "does not fit"},
		{[]string{"--select", "T-0", "--sheet", "3x3"}, "must be"},
		{[]string{"--select", "T-0", "--sheet", "folio"}, "no medium"},
		{[]string{"--select", "T-0", "--start", "22"}, "labels 1 to 21"},
		{[]string{"--select", "T-0", "--start", "0"}, "first label"},
		{[]string{"--select", "T-0", "--right=11"}, "-10 to 10"},
		{[]string{"--select", "T-0", "--dpi", "150"}, "203, 300 or 600"},
		{[]string{"--select", "T-0", "--sheet", "9x7"}, "modules"},
		{[]string{"--select", "T-0", "--out", filepath.Join(to, "keep.docx")}, "end the name in"},
		{[]string{"--select", "T-0", "--out", filepath.Join(to, "no", "such", "folder.pdf")}, "no such file"},
	} {
		out := filepath.Join(to, "keep.pdf")
		if err := os.WriteFile(out, []byte("what was there"), 0o600); err != nil {
			t.Fatal(err)
		}
		args := append([]string{"--data", dir}, c.args...)
		if !slices.Contains(args, "--out") {
			args = append(args, "--out", out)
		}
		_, err := printLabels(t, args...)
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%d %v: %v; want a refusal that says %q", i, c.args, err, c.says)
		}
		if b, err := os.ReadFile(out); err != nil || string(b) != "what was there" {
			t.Errorf("%d %v: the file that was there is gone: %v", i, c.args, err)
		}
		if names, err := os.ReadDir(to); err != nil || len(names) != 1 {
			t.Errorf("%d %v: %d files are left, %v", i, c.args, len(names), err)
		}
	}
	st, err = store.Open(ctx, store.Options{Dir: dir})
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	if runs, err := st.LabelRuns(ctx, 10); err != nil || len(runs) != 0 {
		t.Errorf("%d prints are on record, %v", len(runs), err)
	}
}

// Start and calibration reach the paper.
func TestLabelsStartAndCalibrate(t *testing.T) {
	dir, st, tags := ownShop(t)
	st.Close()
	out := filepath.Join(t.TempDir(), "l.pdf")
	if said, err := printLabels(t, "--data", dir, "--select", strings.Join(tags, ","), "--start", "20", "--out", out); err != nil || !strings.HasPrefix(said, "5 labels on 2 pages") {
		t.Errorf("%q, %v", said, err)
	}
	if said, err := printLabels(t, "--sheet", "letter", "--calibrate", "--right=-0.5", "--out", out); err != nil || !strings.Contains(said, "steel rule") {
		t.Errorf("%q, %v", said, err)
	}
	if b, err := os.ReadFile(out); err != nil || !bytes.HasPrefix(b, []byte("%PDF-")) {
		t.Errorf("the calibration page is not there: %v", err)
	}
}
