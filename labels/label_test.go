package labels

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// TestTagIsRead prints a piece tag as PDF, rasterises it and reads it with a program that
// knows nothing of ours.
func TestTagIsRead(t *testing.T) {
	l := shop()["sleeve"]
	pdf, err := PDF([]Label{l}, Single(Area{50, 25}, 203))
	if err != nil {
		t.Fatal(err)
	}
	for _, tool := range []string{"pdftoppm", "zbarimg"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Skipf("SKIPPED: %s is not installed", tool)
		}
	}
	dir := t.TempDir()
	file := filepath.Join(dir, "tag.pdf")
	if err := os.WriteFile(file, pdf, 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("pdftoppm", "-r", "300", "-png", file, filepath.Join(dir, "tag")).CombinedOutput(); err != nil {
		t.Fatalf("pdftoppm: %v %s", err, out)
	}
	got, err := exec.Command("zbarimg", "-q", "--raw", filepath.Join(dir, "tag-1.png")).Output()
	if err != nil || strings.TrimSpace(string(got)) != l.Tag {
		t.Errorf("zbarimg read %q, %v; want %q", got, err, l.Tag)
	}
}
