package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A copy put into a new folder says that the key of badges and PINs is not in it; with the key it
// says nothing of it. A store in PostgreSQL is left to PostgreSQL's own means.
func TestRestoreNamesTheKey(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "crib")
	file := filepath.Join(t.TempDir(), "copy.db")
	to := filepath.Join(t.TempDir(), "new")
	for _, args := range [][]string{{"init", "--data", dir}, {"backup", "--data", dir, file}} {
		if _, errOut, err := program(t, "", args...); err != nil {
			t.Fatalf("%v: %v %s", args, err, errOut)
		}
	}
	out, _, err := program(t, "", "restore", "--data", to, file)
	if err != nil || !strings.Contains(out, "There is no secret.key in "+to) || !strings.Contains(out, "everybody is logged out") {
		t.Errorf("%q %v", out, err)
	}
	key, err := os.ReadFile(filepath.Join(dir, "secret.key"))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(to, "secret.key"), key, 0o600); err != nil {
		t.Fatal(err)
	}
	if out, _, err = program(t, "", "restore", "--data", to, file); err != nil || strings.Contains(out, "secret.key") || !strings.Contains(out, "The files that were there are in") {
		t.Errorf("%q %v", out, err)
	}
	for cmd, tool := range map[string]string{"backup": "pg_dump", "restore": "pg_restore"} {
		if _, _, err := program(t, "", cmd, "--data", dir, "--db", "postgres://127.0.0.1:1/x", file); err == nil || !strings.Contains(err.Error(), tool) {
			t.Errorf("%s: %v", cmd, err)
		}
	}
}
