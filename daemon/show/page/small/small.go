// Package small makes small pictures of photos, once, and keeps them. Begin with
// [Open], which gives a [Shelf].
//
// Photos may be hostile. How much memory one takes follows from its header; one
// that would take too much is not decoded, and of the others only as many at a
// time as fit ([memory]). Its bytes are hashed as they are decoded: what they
// turn out not to be is not shown under its name, and not kept.
//
// What is made lies in a folder under a limit ([Shelf]); what nobody looked at
// longest goes first. Losing it costs only the time to make it again.
package small

import (
	"bufio"
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"image/png"
	"io"
	"runtime"

	"golang.org/x/image/tiff"
	"golang.org/x/sync/semaphore"

	"linecamp/manifest"
	"linecamp/verify/decode"
)

// Size is the longer side of a small picture, in pixels.
type Size int

// The sizes there are.
const (
	Strip Size = 320  // one of many along the years
	Large Size = 1600 // one of two, side by side
	Fine  Size = 4096 // looked into closely
)

// ErrCannot marks a picture that cannot be shown; the text says why.
var ErrCannot = errors.New("this picture cannot be shown")

// ErrOther marks a file whose bytes are not those the record has.
var ErrOther = errors.New("its bytes are not those on record")

// memoryLimit is how much all pictures decoded at one time may take by their
// headers. One that takes more is decoded alone.
const memoryLimit = 160 << 20

// largeNeed is what a picture takes from which on its memory is given back at once.
const largeNeed = 32 << 20

var memory = semaphore.NewWeighted(memoryLimit)

// Source is a photo's bytes.
type Source interface {
	io.ReadSeeker
	io.Closer
}

// Photo is what is made small.
type Photo struct {
	Digest manifest.Digest
	Turn   int                                   // Exif's Orientation, as the record has it
	Open   func(context.Context) (Source, error) // its bytes
	// Turned tells Turn from the bytes, where it is not known before; may be nil.
	Turned func(io.ReadSeeker) int
	// Trusted: whoever opens it has checked its bytes, and Digest only names it.
	Trusted bool
}

// make makes a photo small, in each of the sizes.
func (p Photo) make(ctx context.Context, sizes ...Size) ([][]byte, error) {
	f, err := p.Open(ctx)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	form, need, err := formOf(f)
	if err != nil {
		return nil, err
	}
	need = min(need, memoryLimit)
	if err := memory.Acquire(ctx, need); err != nil {
		return nil, err
	}
	defer memory.Release(need)
	if need > largeNeed {
		defer runtime.GC()
	}
	if form == formHEIC {
		return p.heicSmall(ctx, f, sizes)
	}
	m, err := p.decode(ctx, f, form)
	if err != nil {
		return nil, err
	}
	turn := p.Turn
	if p.Turned != nil {
		turn = p.Turned(f)
	}
	all := make([][]byte, len(sizes))
	for i, s := range sizes {
		if all[i], err = encode(m, s, turn); err != nil {
			return nil, err
		}
	}
	return all, nil
}

func jpegTo(w io.Writer, m image.Image, quality int) error {
	return jpeg.Encode(w, m, &jpeg.Options{Quality: quality})
}

func (s Size) quality() int {
	if s == Strip {
		return 74
	}
	return 84
}

const formHEIC = "HEIC"

// mostTIFF is how many pixels a TIFF may have: it takes eight bytes each at most,
// and its strips beside.
const mostTIFF = 40 << 20

// formOf looks at a photo's beginning: its format, and what decoding it takes.
func formOf(f io.ReadSeeker) (form string, need int64, err error) {
	defer stumbles(&err)
	form, need, why, err := decode.Needs(f)
	if err != nil {
		return "", 0, err
	}
	if why != "" {
		return "", 0, fmt.Errorf("%w: %s", ErrCannot, why)
	}
	if form != "" {
		return form, need, nil
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return "", 0, err
	}
	head := make([]byte, 16)
	n, _ := io.ReadFull(f, head)
	if isHEIC(head[:n]) {
		return formHEIC, memoryLimit, nil // alone: how large it is is told by its decoder only
	}
	if head = head[:n]; !bytes.HasPrefix(head, []byte("II*\x00")) && !bytes.HasPrefix(head, []byte("MM\x00*")) {
		return "", 0, fmt.Errorf("%w here: it is neither JPEG, PNG, TIFF nor HEIC", ErrCannot)
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return "", 0, err
	}
	c, err := tiff.DecodeConfig(f)
	if err != nil {
		return "", 0, fmt.Errorf("%w: a decoder says of it: %w", ErrCannot, err)
	}
	if c.Width <= 0 || c.Height <= 0 || c.Width > mostTIFF/c.Height {
		return "", 0, fmt.Errorf("%w: it is too large to be decoded here, %d by %d pixels", ErrCannot, c.Width, c.Height)
	}
	return "TIFF", int64(c.Width) * int64(c.Height) * 10, nil
}

// decode decodes a photo, and holds its bytes against its digest.
func (p Photo) decode(ctx context.Context, f io.ReadSeeker, form string) (m image.Image, err error) {
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return nil, err
	}
	defer stumbles(&err)
	if form == "TIFF" { // it is not read from front to back, so that its bytes are held against the digest first
		h := sha256.New()
		if _, err := io.Copy(h, patient{ctx, f}); err != nil {
			return nil, err
		}
		if !p.Trusted && manifest.Digest(h.Sum(nil)) != p.Digest {
			return nil, ErrOther
		}
		if _, err := f.Seek(0, io.SeekStart); err != nil {
			return nil, err
		}
		if m, err = tiff.Decode(patientSeeker{patient{ctx, f}, f}); err != nil {
			return nil, decodeFault(ctx, err)
		}
		return m, nil
	}
	h := sha256.New()
	in := io.TeeReader(bufio.NewReaderSize(patient{ctx, f}, 128<<10), h)
	if form == "JPEG" {
		m, err = jpeg.Decode(in)
	} else {
		m, err = png.Decode(in)
	}
	if err != nil {
		return nil, decodeFault(ctx, err)
	}
	if _, err := io.Copy(io.Discard, in); err != nil { // what stands behind the picture belongs to the file too
		return nil, err
	}
	if !p.Trusted && manifest.Digest(h.Sum(nil)) != p.Digest {
		return nil, ErrOther
	}
	return m, nil
}

func decodeFault(ctx context.Context, err error) error {
	if ctx.Err() != nil {
		return ctx.Err()
	}
	return fmt.Errorf("%w: a decoder says of it: %w", ErrCannot, err)
}

// stumbles makes an error of a decoder's panic over hostile bytes.
func stumbles(err *error) {
	if p := recover(); p != nil {
		*err = fmt.Errorf("%w: a decoder stumbles over it", ErrCannot)
	}
}

// patient ends a reading when ctx does.
type patient struct {
	ctx context.Context
	in  io.Reader
}

func (p patient) Read(b []byte) (int, error) {
	if err := p.ctx.Err(); err != nil {
		return 0, err
	}
	return p.in.Read(b)
}

type patientSeeker struct {
	patient
	io.Seeker
}
