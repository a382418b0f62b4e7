package packed

import (
	"cmp"
	"time"

	"linecamp/manifest/geo"
)

// Form is the form of a value, told once for both ways: its methods pack what the
// pointers point to, or read it into there. A Form of neither does nothing.
type Form struct {
	W *Writer
	R *Reader
}

// If is the form itself, or one that does nothing: for a value that a flag says is
// there.
func (f Form) If(is bool) Form {
	if is {
		return f
	}
	return Form{}
}

// Flags packs one bit for each value that is there, or reads those bits.
func (f Form) Flags(has ...bool) (flags byte) {
	for i, is := range has {
		if is {
			flags |= 1 << i
		}
	}
	f.Byte(&flags)
	return flags
}

// both packs *v, or reads it.
func both[T any](f Form, v *T, pack func(*Writer, T), read func(*Reader) T) {
	switch {
	case f.W != nil:
		pack(f.W, *v)
	case f.R != nil:
		*v = read(f.R)
	}
}

func (f Form) Byte(b *byte)      { both(f, b, func(w *Writer, b byte) { w.Byte(b) }, (*Reader).Byte) }
func (f Form) Fixed(n *uint64)   { both(f, n, (*Writer).Fixed, (*Reader).Fixed) }
func (f Form) Text(s *string)    { both(f, s, (*Writer).Text, (*Reader).Text) }
func (f Form) Time(t *time.Time) { both(f, t, (*Writer).Time, (*Reader).Time) }
func (f Form) Flag(is *bool)     { both(f, is, (*Writer).Flag, (*Reader).Flag) }

// Fix packs or reads a position.
func (f Form) Fix(at **geo.Fix) {
	if f == (Form{}) {
		return
	}
	*at = cmp.Or(*at, &geo.Fix{})
	for _, n := range []*float64{&(*at).Latitude, &(*at).Longitude, &(*at).Error} {
		both(f, n, (*Writer).Float, (*Reader).Float)
	}
}

// Path packs or reads a path, told against another one.
func (f Form) Path(like string, path *string) {
	both(f, path, func(w *Writer, p string) { w.Path(like, p) }, func(r *Reader) string { return r.Path(like) })
}

// Number packs or reads a whole number of any size, from 0 up.
func Number[N ~uint8 | ~uint32 | ~uint64 | ~int | ~int64](f Form, n *N) {
	both(f, n, func(w *Writer, n N) { w.Number(uint64(n)) }, func(r *Reader) N { return N(r.Number()) })
}

// Digest packs or reads a digest.
func Digest[D ~[32]byte](f Form, d *D) {
	both(f, d, func(w *Writer, d D) { w.Digest(d) }, func(r *Reader) D { return r.Digest() })
}
