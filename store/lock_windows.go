package store

import (
	"fmt"
	"os"

	"golang.org/x/sys/windows"
)

// lockFolder takes the folder for this process until the file is closed or the process ends.
func lockFolder(path string) (*os.File, error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, err
	}
	const flags = windows.LOCKFILE_EXCLUSIVE_LOCK | windows.LOCKFILE_FAIL_IMMEDIATELY
	if err := windows.LockFileEx(windows.Handle(f.Fd()), flags, 0, 1, 0, new(windows.Overlapped)); err != nil {
		f.Close()
		return nil, fmt.Errorf("%w: %s is held by another Brasspeg; stop that one first", ErrLocked, path)
	}
	return f, nil
}

// owner is not known by number on this system.
func owner(os.FileInfo) (int, bool) { return 0, false }
