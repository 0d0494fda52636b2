//go:build !mattn && (amd64 || arm64)

package store

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"unsafe"

	"modernc.org/libc"
	sqlite3 "modernc.org/sqlite/lib"
)

// A cutDisk stands between SQLite and the file system and remembers what would be left of the
// files of one folder if the power went now: what was synced, and of the rest as much or as little
// as a disk likes. It needs no root and no mount, because it is a layer of SQLite's own (a VFS).
//
// A new or deleted file counts as on disk at once; only what is in a file has to be synced. That
// is kinder than a real disk, so a store that fails here fails there too. Nothing is really
// synced: the layer answers for the disk.
type cutDisk struct {
	dir string

	mu     sync.Mutex
	files  map[string]*cutFile
	events int              // writes, cuts to size, syncs and deletions so far
	synced map[string]int   // syncs, by the base name of the file
	at     func(n int) *cut // the power goes after event n, where it is not nil
	left   func(*cut)       // what is left of it has been written
}

// A cutFile is one file as a disk would have it.
type cutFile struct {
	safe    []byte // what a power cut leaves
	onDisk  bool
	pending []cutChange
}

// A cutChange is a write, or, without data, a cut or growth to size.
type cutChange struct {
	off, size int64
	data      []byte
}

func (c cutChange) on(b []byte) []byte {
	if c.data == nil {
		n := make([]byte, c.size)
		copy(n, b)
		return n
	}
	if end := c.off + int64(len(c.data)); end > int64(len(b)) {
		n := make([]byte, end, end+end/4)
		copy(n, b)
		b = n
	}
	copy(b[c.off:], c.data)
	return b
}

// A cut is the power going once.
type cut struct {
	to   string // folder that gets what is left
	torn bool   // some of what was not synced has reached the disk, in whole sectors of 512 bytes
	rnd  *rand.Rand
	told int // bookings that somebody was told of before
}

// image writes what the cut leaves. d.mu is held.
func (d *cutDisk) image(c *cut) error {
	for name, f := range d.files {
		if strings.HasSuffix(name, "-shm") {
			continue // memory, not a file
		}
		b, keep := f.safe, f.onDisk
		if c.torn {
			b = append([]byte(nil), b...)
			for _, p := range f.pending {
				if c.rnd.IntN(2) == 0 {
					continue
				}
				if n := len(p.data); n > 512 && c.rnd.IntN(3) == 0 {
					p.data = p.data[:512*(1+c.rnd.IntN(n/512))]
				}
				b, keep = p.on(b), true
			}
		}
		if keep {
			if err := os.WriteFile(filepath.Join(c.to, filepath.Base(name)), b, 0o600); err != nil {
				return err
			}
		}
	}
	return nil
}

// event counts what happened to the disk and cuts the power if it is time. d.mu is held.
func (d *cutDisk) event() {
	d.events++
	if d.at == nil {
		return
	}
	if c := d.at(d.events); c != nil {
		if err := d.image(c); err != nil {
			panic(err) // of a test's own folder
		}
		d.left(c)
	}
}

// The layer is told which disk it plays; SQLite calls it from any goroutine.
var playing struct {
	sync.Mutex
	disk  *cutDisk
	under uintptr                // SQLite's own layer
	open  map[uintptr]*cutHandle // by the address of its file
	table map[uintptr]uintptr    // our methods by those they stand before
}

type cutHandle struct {
	name  string
	under uintptr // methods of SQLite's own layer
}

// The layouts of sqlite3_vfs and sqlite3_io_methods on 64 bits (sqlite3.h): offsets of what is
// replaced, and the sizes.
const (
	vfsSize, vfsNext, vfsName, vfsOpen, vfsDelete = 168, 16, 24, 40, 48
	ioSize, ioClose, ioWrite, ioTruncate, ioSync  = 152, 8, 24, 32, 40
)

// field is the pointer that stands at an offset of C memory.
func field(p uintptr, off uintptr) *uintptr {
	p += off
	return *(**uintptr)(unsafe.Pointer(&p))
}

// bytesAt is C memory as bytes. Inlined, a copy of it of a known size stops the compiler of Go 1.26
// with an internal error.
//
//go:noinline
func bytesAt(p uintptr, n int) []byte {
	return unsafe.Slice(*(**byte)(unsafe.Pointer(&p)), n)
}

// call is a C function pointer as Go calls it.
func call[F any](p uintptr) F {
	return *(*F)(unsafe.Pointer(&struct{ uintptr }{p}))
}

// point stores a Go function where C has a function pointer.
func point[F any](at *uintptr, f F) { *(*F)(unsafe.Pointer(at)) = f }

type (
	openFunc   = func(*libc.TLS, uintptr, uintptr, uintptr, int32, uintptr) int32
	deleteFunc = func(*libc.TLS, uintptr, uintptr, int32) int32
	closeFunc  = func(*libc.TLS, uintptr) int32
	writeFunc  = func(*libc.TLS, uintptr, uintptr, int32, int64) int32
	sizeFunc   = func(*libc.TLS, uintptr, int64) int32
	syncFunc   = func(*libc.TLS, uintptr, int32) int32
)

// play puts the layer before SQLite's own for the rest of the test. Only files of d's folder are
// its business; all others are opened as ever.
func (d *cutDisk) play(t *testing.T) {
	t.Helper()
	d.files, d.synced = map[string]*cutFile{}, map[string]int{}
	tls := libc.NewTLS()
	under := sqlite3.Xsqlite3_vfs_find(tls, 0)
	name, err := libc.CString("power cut")
	if err != nil {
		t.Fatal(err)
	}
	vfs := libc.Xmalloc(tls, vfsSize)
	copy(bytesAt(vfs, vfsSize), bytesAt(under, vfsSize))
	*field(vfs, vfsNext), *field(vfs, vfsName) = 0, name
	point[openFunc](field(vfs, vfsOpen), cutOpen)
	point[deleteFunc](field(vfs, vfsDelete), cutDelete)
	playing.Lock()
	playing.disk, playing.under, playing.open, playing.table = d, under, map[uintptr]*cutHandle{}, map[uintptr]uintptr{}
	playing.Unlock()
	if rc := sqlite3.Xsqlite3_vfs_register(tls, vfs, 1); rc != sqlite3.SQLITE_OK {
		t.Fatalf("registering the layer: %d", rc)
	}
	t.Cleanup(func() {
		sqlite3.Xsqlite3_vfs_register(tls, under, 1)
		sqlite3.Xsqlite3_vfs_unregister(tls, vfs)
		playing.Lock()
		defer playing.Unlock()
		if n := len(playing.open); n > 0 {
			t.Errorf("%d files are still open", n)
			return // their methods are in use
		}
		for _, table := range playing.table {
			libc.Xfree(tls, table)
		}
		libc.Xfree(tls, vfs)
		libc.Xfree(tls, name)
		tls.Close()
	})
}

func cutOpen(tls *libc.TLS, _, zName, file uintptr, flags int32, out uintptr) int32 {
	playing.Lock()
	under, d := playing.under, playing.disk
	playing.Unlock()
	rc := call[openFunc](*field(under, vfsOpen))(tls, under, zName, file, flags, out)
	if rc != sqlite3.SQLITE_OK || zName == 0 {
		return rc
	}
	name := libc.GoString(zName)
	if filepath.Dir(name) != d.dir {
		return rc
	}
	d.mu.Lock()
	if d.files[name] == nil {
		d.files[name] = &cutFile{}
	}
	d.mu.Unlock()
	playing.Lock()
	defer playing.Unlock()
	methods := *field(file, 0)
	ours := playing.table[methods]
	if ours == 0 {
		ours = libc.Xmalloc(tls, ioSize)
		copy(bytesAt(ours, ioSize), bytesAt(methods, ioSize))
		point[closeFunc](field(ours, ioClose), cutClose)
		point[writeFunc](field(ours, ioWrite), cutWrite)
		point[sizeFunc](field(ours, ioTruncate), cutTruncate)
		point[syncFunc](field(ours, ioSync), cutSync)
		playing.table[methods] = ours
	}
	playing.open[file] = &cutHandle{name, methods}
	*field(file, 0) = ours
	return rc
}

func handleOf(file uintptr) (*cutDisk, *cutHandle) {
	playing.Lock()
	defer playing.Unlock()
	h := playing.open[file]
	if h == nil {
		panic(fmt.Sprintf("no file is open at %#x", file))
	}
	return playing.disk, h
}

// change notes what was done to a file of d.
func (d *cutDisk) change(h *cutHandle, c cutChange) {
	d.mu.Lock()
	defer d.mu.Unlock()
	f := d.files[h.name]
	f.pending = append(f.pending, c)
	d.event()
}

func cutWrite(tls *libc.TLS, file, buf uintptr, n int32, off int64) int32 {
	d, h := handleOf(file)
	d.change(h, cutChange{off: off, data: append([]byte{}, bytesAt(buf, int(n))...)})
	return call[writeFunc](*field(h.under, ioWrite))(tls, file, buf, n, off)
}

func cutTruncate(tls *libc.TLS, file uintptr, size int64) int32 {
	d, h := handleOf(file)
	d.change(h, cutChange{size: size})
	return call[sizeFunc](*field(h.under, ioTruncate))(tls, file, size)
}

// cutSync: from here on it is on the disk. A cut may come before, with all of it pending.
func cutSync(_ *libc.TLS, file uintptr, _ int32) int32 {
	d, h := handleOf(file)
	d.mu.Lock()
	defer d.mu.Unlock()
	d.event()
	f := d.files[h.name]
	for _, c := range f.pending {
		f.safe = c.on(f.safe)
	}
	f.pending, f.onDisk = nil, true
	d.synced[filepath.Base(h.name)]++
	return sqlite3.SQLITE_OK
}

func cutDelete(tls *libc.TLS, _, zName uintptr, dirSync int32) int32 {
	playing.Lock()
	under, d := playing.under, playing.disk
	playing.Unlock()
	name := libc.GoString(zName)
	if filepath.Dir(name) == d.dir {
		d.mu.Lock()
		delete(d.files, name)
		d.event()
		d.mu.Unlock()
	}
	return call[deleteFunc](*field(under, vfsDelete))(tls, under, zName, dirSync)
}

func cutClose(tls *libc.TLS, file uintptr) int32 {
	_, h := handleOf(file)
	playing.Lock()
	delete(playing.open, file)
	playing.Unlock()
	*field(file, 0) = h.under
	return call[closeFunc](*field(h.under, ioClose))(tls, file)
}
