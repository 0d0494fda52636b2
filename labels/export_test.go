package labels

import (
	"bytes"
	"errors"
	"testing"
)

func TestFiles(t *testing.T) {
	ls := everyKind(false)
	for name, magic := range map[string]string{"out.pdf": "%PDF-", "out.zpl": "^XA", "out.epl": "\nN\n", "dir.d/out.svg": "<svg", "out.PNG": "\x89PNG"} {
		files, err := Files(ls, A4(), name)
		if err != nil {
			t.Fatal(err)
		}
		seen := map[string]bool{}
		for _, f := range files {
			if !bytes.HasPrefix(f.Bytes, []byte(magic)) {
				t.Errorf("%s begins with %q, want %q", f.Name, f.Bytes[:5], magic)
			}
			if seen[f.Name] {
				t.Errorf("%s is made twice", f.Name)
			}
			seen[f.Name] = true
		}
		if each := name == "dir.d/out.svg" || name == "out.PNG"; each && !seen[name[:len(name)-4]+"-P0000417N"+name[len(name)-4:]] {
			t.Errorf("%s: no file for the sleeve in %v", name, seen)
		}
	}
	bad := append(everyKind(false), Label{Tag: "P0000417K"})
	for name, ls := range map[string][]Label{"out.svg": bad, "out.pdf": bad, "out.txt": ls, "out": ls, "o.pdf": nil} {
		files, err := Files(ls, A4(), name)
		var r *Refusal
		if !errors.As(err, &r) || files != nil {
			t.Errorf("%s: %d files, %v; want a refusal and none", name, len(files), err)
		}
	}
}
