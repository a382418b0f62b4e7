package drive

import (
	"io"
	"os"
	"sync"
	"unsafe"

	"golang.org/x/sys/unix"
)

// openFlags keep the opening of a special file from waiting for its other end.
const openFlags = os.O_RDONLY | unix.O_NONBLOCK

// A fresh reader reads in pieces of directSize at addresses that are multiples
// of directAlign, as O_DIRECT asks for (open(2)); 4096 is enough for every drive.
const (
	directSize  = 1 << 20
	directAlign = 4096
)

var directBuffers = sync.Pool{New: func() any {
	b := make([]byte, directSize+directAlign)
	skip := -int(uintptr(unsafe.Pointer(&b[0]))) & (directAlign - 1)
	b = b[skip : skip+directSize]
	return &b
}}

// fresh reads a file from the drive itself, so that checking a whole copy
// neither believes the page cache nor fills it: past it (O_DIRECT) where the
// file system can, which also costs the processor a fraction; else what the
// cache holds is dropped before and after.
type fresh struct {
	f         *os.File
	buf       *[]byte
	have      []byte // read and not handed out
	direct    bool
	at, freed int64
}

func openFresh(f *os.File) io.ReadCloser {
	fd := int(f.Fd())
	r := &fresh{f: f, buf: directBuffers.Get().(*[]byte)}
	if flags, err := unix.FcntlInt(uintptr(fd), unix.F_GETFL, 0); err == nil {
		_, err = unix.FcntlInt(uintptr(fd), unix.F_SETFL, flags|unix.O_DIRECT)
		r.direct = err == nil
	}
	// Advice may be ignored; there is nothing to do about it.
	_ = unix.Fadvise(fd, 0, 0, unix.FADV_DONTNEED)
	_ = unix.Fadvise(fd, 0, 0, unix.FADV_SEQUENTIAL)
	return r
}

// undirect goes on through the page cache.
func (r *fresh) undirect() bool {
	fd := int(r.f.Fd())
	flags, err := unix.FcntlInt(uintptr(fd), unix.F_GETFL, 0)
	if err == nil {
		_, err = unix.FcntlInt(uintptr(fd), unix.F_SETFL, flags&^unix.O_DIRECT)
	}
	r.direct = r.direct && err != nil
	return err == nil
}

// fill reads the next piece.
func (r *fresh) fill() error {
	n, err := r.f.Read(*r.buf)
	if err != nil && r.direct && err != io.EOF && r.undirect() {
		n, err = r.f.Read(*r.buf) // not every file system that takes the flag can read so
	}
	r.have = (*r.buf)[:n]
	r.at += int64(n)
	if n%directAlign != 0 && r.direct && err == nil {
		r.undirect() // a broken piece is the end of the file, or else what follows is not aligned
	}
	if !r.direct && r.at-r.freed >= 8<<20 {
		_ = unix.Fadvise(int(r.f.Fd()), r.freed, r.at-r.freed, unix.FADV_DONTNEED)
		r.freed = r.at
	}
	if n == 0 && err == nil {
		err = io.EOF
	}
	return err
}

func (r *fresh) Read(p []byte) (int, error) {
	if len(r.have) == 0 {
		if err := r.fill(); err != nil && len(r.have) == 0 {
			return 0, err
		}
	}
	n := copy(p, r.have)
	r.have = r.have[n:]
	return n, nil
}

// WriteTo hands each piece out as it was read, without copying it, and reads the next
// one meanwhile: the drive need not wait for what is done with a piece.
func (r *fresh) WriteTo(w io.Writer) (total int64, err error) {
	other := directBuffers.Get().(*[]byte)
	defer func() { directBuffers.Put(other) }()
	if len(r.have) == 0 {
		err = r.fill()
	}
	for len(r.have) > 0 {
		piece, n := r.have, 0
		r.have = nil
		r.buf, other = other, r.buf
		var next sync.WaitGroup
		var ahead error
		next.Go(func() { ahead = r.fill() })
		n, err = w.Write(piece)
		next.Wait()
		total += int64(n)
		if err != nil {
			return total, err
		}
		err = ahead
	}
	if err == io.EOF {
		err = nil
	}
	return total, err
}

func (r *fresh) Close() error {
	if !r.direct {
		_ = unix.Fadvise(int(r.f.Fd()), 0, 0, unix.FADV_DONTNEED)
	}
	directBuffers.Put(r.buf)
	r.have = nil
	return r.f.Close()
}
