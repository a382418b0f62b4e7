// Package decode finds out whether pictures can be decoded: whether what is between a
// picture's first byte and its last makes a picture. Call [File].
//
// A photo whose structure is whole may still be damaged inside, and only a
// decoder can tell. It is asked of JPEG (ISO/IEC 10918-1: baseline and
// progressive) and PNG. HEIC and camera makers' raw formats need decoders that
// are not at hand; of those the structure is checked when they are tallied, and
// no more.
//
// The files may be hostile. How much memory a picture will take follows from its
// header, and one that would take more than half a gibibyte is not decoded, with
// the reason; of the others only as many are decoded at once as fit. A picture
// that takes more than two minutes is given up.
package decode

import (
	"bufio"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"hash"
	"image/jpeg"
	"image/png"
	"io"
	"runtime"
	"time"

	"golang.org/x/sync/semaphore"

	"linecamp/manifest"
)

// Version counts the decoders: what an earlier one said is asked again.
const Version = 1

// mostMemory is how much all pictures decoded at one time may take, in bytes. It
// is enough for any JPEG of 75 million pixels, or of 28 million where it is
// progressive: three colours that are not sampled down take 7 and 19 bytes a pixel.
const mostMemory = 512 << 20

// large is what a picture takes from which on its memory is given back at once.
const large = 64 << 20

// longest is how long one picture may take.
var longest = 2 * time.Minute

// State is what is known of a picture.
type State int

// The states.
const (
	Good    State = iota + 1 // it decodes to its end
	Bad                      // it does not, and Why says where it failed
	Unasked                  // it was not decoded, for the reason in Why
	Other                    // none of the formats that are decoded here
)

// Verdict is a state with its reason.
type Verdict struct {
	State State
	Why   string
}

// ErrChanged marks a file whose bytes are not those that were asked about.
var ErrChanged = errors.New("its bytes are not those that were tallied")

// ErrSlow marks a picture that was given up. It tells of this machine on this day,
// and nothing of the picture.
var ErrSlow = errors.New("it took too long to decode")

var memory = semaphore.NewWeighted(mostMemory)

// File decodes the picture in f, which must have the digest sum. An error is
// that of reading, ErrChanged, ErrSlow or ctx's; then there is no verdict.
func File(ctx context.Context, f io.ReadSeeker, sum manifest.Digest) (Verdict, error) {
	h, err := readHeader(f)
	if err != nil {
		return Verdict{}, err
	}
	switch {
	case h.format == "":
		return Verdict{State: Other}, nil
	case h.why != "":
		return Verdict{Unasked, h.why}, nil
	}
	if err := memory.Acquire(ctx, h.bytes); err != nil {
		return Verdict{}, err
	}
	defer memory.Release(h.bytes)
	if h.bytes > large {
		defer runtime.GC() // so that what is let go is gone before others take as much
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return Verdict{}, err
	}
	limited, cancel := context.WithTimeout(ctx, longest)
	defer cancel()
	in := &input{ctx: limited, in: bufio.NewReaderSize(f, 128<<10), hash: sha256.New()}
	v := in.decode(h.format)
	if v.State == Bad && h.odd {
		v = Verdict{Unasked, "it is a kind of JPEG that is not decoded here: restart marks in scans of single components"}
	}
	// What stands behind the picture belongs to the file too.
	if _, err := io.Copy(io.Discard, in); err != nil && in.err == nil {
		in.err = err
	}
	switch {
	case ctx.Err() != nil:
		return Verdict{}, ctx.Err()
	case limited.Err() != nil:
		return Verdict{}, fmt.Errorf("%w, more than %g minutes", ErrSlow, longest.Minutes())
	case in.err != nil:
		return Verdict{}, in.err
	}
	if manifest.Digest(in.hash.Sum(nil)) != sum {
		return Verdict{}, ErrChanged
	}
	return v, nil
}

// input is a file that ends when ctx does, and is hashed as it is read.
type input struct {
	ctx  context.Context
	in   io.Reader
	hash hash.Hash
	err  error // of reading, which is not the picture's fault
}

func (r *input) Read(p []byte) (int, error) {
	if err := r.ctx.Err(); err != nil {
		r.err = err
		return 0, err
	}
	n, err := r.in.Read(p)
	r.hash.Write(p[:n])
	if err != nil && err != io.EOF {
		r.err = err
	}
	return n, err
}

// decode asks the decoder.
func (r *input) decode(format string) (v Verdict) {
	defer func() {
		if p := recover(); p != nil {
			v = Verdict{Bad, "a decoder stumbles over it"}
		}
	}()
	var err error
	if format == "JPEG" {
		_, err = jpeg.Decode(r)
	} else {
		_, err = png.Decode(r)
	}
	var notJPEG jpeg.UnsupportedError
	var notPNG png.UnsupportedError
	switch {
	case err == nil:
		return Verdict{State: Good}
	case errors.Is(err, jpeg.UnsupportedError("excessive DC component")): // no encoder makes that
		return Verdict{Bad, "a decoder says of it: excessive DC component"}
	case errors.Is(err, jpeg.FormatError("repeated component identifier")), errors.Is(err, jpeg.FormatError("total sampling factors too large")):
		return Verdict{Unasked, inWords(err)} // a way of writing JPEGs that other decoders take
	case errors.As(err, &notJPEG):
		return Verdict{Unasked, "it is a kind of JPEG that is not decoded here: " + string(notJPEG)}
	case errors.As(err, &notPNG):
		return Verdict{Unasked, "it is a kind of PNG that is not decoded here: " + string(notPNG)}
	case errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, io.EOF):
		return Verdict{Bad, "its picture ends too soon"}
	}
	return Verdict{Bad, inWords(err)}
}

// inWords is a decoder's error without the format's name before it, which stands
// in the sentence anyway.
func inWords(err error) string {
	var j jpeg.FormatError
	var p png.FormatError
	switch {
	case errors.As(err, &j):
		return "a decoder says of it: " + string(j)
	case errors.As(err, &p):
		return "a decoder says of it: " + string(p)
	}
	return "a decoder says of it: " + err.Error()
}
