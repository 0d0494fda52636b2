//go:build !linux

package store

import "errors"

var errNoMount = errors.New("this system is not known to mount one")

func mountTmpfs(string, string) error { return errNoMount }

func remountTmpfs(string, string) error { return errNoMount }

func unmount(string) {}
