package store

import "syscall"

func mountTmpfs(dir, opt string) error { return syscall.Mount("tmpfs", dir, "tmpfs", 0, opt) }

func remountTmpfs(dir, opt string) error {
	if opt == "ro" {
		return syscall.Mount("", dir, "", syscall.MS_REMOUNT|syscall.MS_RDONLY, "")
	}
	return syscall.Mount("", dir, "", syscall.MS_REMOUNT, opt)
}

func unmount(dir string) { syscall.Unmount(dir, syscall.MNT_DETACH) }
