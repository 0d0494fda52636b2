package main

import (
	"bytes"
	"context"
	"strings"
	"testing"

	"brasspeg/store"
)

// A file of parts by command: looked at, half wrong, taken, taken again, and with a double.
func TestImportParts(t *testing.T) {
	ctx := context.Background()
	dir := t.TempDir()
	st, err := store.Open(ctx, store.Options{Dir: dir, Create: true, Relaxed: true})
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := st.AddPerson(ctx, 0, store.PersonIn{Login: "bo", Name: "Bo", Role: store.Manager}); err != nil {
		t.Fatal(err)
	}
	st.Close()
	const good = "code,kind,designation,seat\nI-1,insert,CNMG 432,\nB-1,bar,A25T-SCLCR 09,CCMT09T3\n"
	for _, tt := range []struct {
		what, table string
		flags       []string
		want        string
		bad         bool
	}{
		{"dry run", good, nil, "A dry run: 2 new parts", false},
		{"half wrong", good + "I-2,insert,CXMG 1,\n", []string{"--apply"}, "line 4, designation:", true},
		{"taken", good, []string{"--apply"}, "Taken in: 2 new parts; 0 were", false},
		{"again", good, []string{"--apply"}, "Taken in: 0 new parts; 2 were", false},
		{"a double", "code,kind,designation\nI-3,insert,CNMG 120408\n", []string{"--apply"}, "a double?", true},
		{"sure", "code,kind,designation\nI-3,insert,CNMG 120408\n", []string{"--apply", "--sure"}, "Taken in: 1 new", false},
	} {
		var out bytes.Buffer
		args := append([]string{"import", "parts", "-", "--as", "bo", "--data", dir}, tt.flags...)
		err := run(ctx, args, func(string) string { return "" }, strings.NewReader(tt.table), &out, &out)
		if (err != nil) != tt.bad || !strings.Contains(out.String(), tt.want) {
			t.Errorf("%s: %v, says %q, want %q", tt.what, err, out.String(), tt.want)
		}
	}
}
