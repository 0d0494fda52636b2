package labels

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"testing"
)

var update = flag.Bool("update", false, "write the golden files anew; look at the pictures before you commit them")

func TestGolden(t *testing.T) {
	files := map[string][]byte{}
	for name, l := range shop() {
		svg, err := SVG(l)
		if err != nil {
			t.Fatal(err)
		}
		png, err := PNG(l, Area{50, 25}, 203)
		if err != nil {
			t.Fatal(err)
		}
		files[name+".png"] = png
		if name == "sleeve" || name == "return" {
			files[name+".svg"] = svg
		}
	}
	for name, got := range files {
		file := filepath.Join("..", "testdata", "labels", name)
		if *update {
			if err := os.WriteFile(file, got, 0o644); err != nil {
				t.Fatal(err)
			}
			continue
		}
		want, err := os.ReadFile(file)
		if err != nil {
			t.Fatalf("%v (run with -update to write it)", err)
		}
		if !bytes.Equal(got, want) {
			t.Errorf("%s differs from its golden file; run with -update and look at the picture", name)
		}
	}
}
