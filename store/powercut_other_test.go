//go:build mattn || !(amd64 || arm64)

package store

import (
	"fmt"
	"testing"
)

// The layer of the drill is written for the pure Go engine on 64 bits.
func TestPowerCut(t *testing.T) {
	fmt.Println("SKIPPED: power cuts: the layer between SQLite and the files is written for the pure Go engine on 64 bits")
	t.Skip("SKIPPED: another engine")
}
