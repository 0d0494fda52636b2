package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"brasspeg/store"
)

// The whole way by command: a dry run, a file half wrong, the file mended, read in, read in
// once more, and out again.
func TestImportExportCommands(t *testing.T) {
	ctx := context.Background()
	dir := t.TempDir()
	st, err := store.Open(ctx, store.Options{Dir: dir, Create: true, Relaxed: true})
	if err != nil {
		t.Fatal(err)
	}
	boss, _, err := st.AddPerson(ctx, 0, store.PersonIn{Login: "bo", Name: "Bo", Role: store.Manager})
	if err != nil {
		t.Fatal(err)
	}
	in, err := store.PartFrom(map[string]any{"id": "SCR-M4", "kind": "spare"}, "entered")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := st.SavePart(ctx, boss.ID, in); err != nil {
		t.Fatal(err)
	}
	st.Close()
	file := func(text string) string {
		p := filepath.Join(t.TempDir(), "f.csv")
		if err := os.WriteFile(p, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return p
	}
	brasspeg := func(args ...string) (string, error) {
		var out bytes.Buffer
		err := run(ctx, args, func(string) string { return "" }, strings.NewReader(""), &out, &out)
		return out.String(), err
	}
	for _, tt := range []struct {
		what string
		args []string
		want string
		bad  bool
	}{
		{"suppliers", []string{"import", "suppliers", file("supplier,name,lead_days\nDUNK,Dunkelby,5\n"), "--as", "bo", "--apply", "--data", dir}, "1 rows, 2 changes", false},
		{"dry run", []string{"import", "prices", file("part,supplier,price,currency,pack\nSCR-M4,DUNK,0.30,EUR,10\n"), "--as", "bo", "--data", dir}, "would make 3 changes", false},
		{"half wrong", []string{"import", "prices", file("part,supplier,price,currency,pack\nSCR-M4,DUNK,0.30,EUR,10\nSCR-M5,DUNK,0.30,EUR,10\n"), "--as", "bo", "--apply", "--data", dir}, "line 3, part:", true},
		{"taken", []string{"import", "prices", file("part,supplier,price,currency,pack\nSCR-M4,DUNK,0.30,EUR,10\n"), "--as", "bo", "--apply", "--data", dir}, "Taken in: 1 rows, 3 changes", false},
		{"again", []string{"import", "prices", file("part,supplier,price,currency,pack\nSCR-M4,DUNK,0.30,EUR,10\n"), "--as", "bo", "--apply", "--data", dir}, "read in before", false},
		{"out", []string{"export", "all", "--data", dir}, `"SCR-M4"`, false},
		{"suppliers out", []string{"export", "suppliers", "--data", dir}, `"DUNK","Dunkelby"`, false},
		{"no such table", []string{"export", "holidays", "--data", dir}, "", true},
		{"no such order", []string{"export", "O-00099", "--data", dir}, "", true},
	} {
		out, err := brasspeg(tt.args...)
		if (err != nil) != tt.bad || !strings.Contains(out, tt.want) {
			t.Errorf("%s: %v\n%s\nwant %q", tt.what, err, out, tt.want)
		}
	}
	book := filepath.Join(dir, "all.xlsx")
	if _, err := brasspeg("export", "all", "--out", book, "--data", dir); err != nil {
		t.Fatal(err)
	}
	if b, err := os.ReadFile(book); err != nil || !bytes.HasPrefix(b, []byte("PK")) {
		t.Errorf("the workbook: %v, %d bytes", err, len(b))
	}
}
