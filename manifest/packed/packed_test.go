package packed

import (
	"bytes"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// Whatever is packed is read back as it was, and a row with any bit changed, or cut
// short, is refused.
func TestPackedIsReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		number, fixed := rapid.Uint64().Draw(t, "number"), rapid.Uint64().Draw(t, "fixed")
		text, like, path := rapid.String().Draw(t, "text"), rapid.String().Draw(t, "like"), rapid.String().Draw(t, "path")
		path = like[:len(like)/2] + path
		at := time.Unix(rapid.Int64Range(math.MinInt32, math.MaxUint32).Draw(t, "seconds"), rapid.Int64Range(0, 999_999_999).Draw(t, "nanos")).UTC()
		float, flag := rapid.Float64().Draw(t, "float"), rapid.Bool().Draw(t, "flag")
		digest := [32]byte(bytes.Repeat([]byte{rapid.Byte().Draw(t, "digest")}, 32))

		w := New(7, 0)
		w.Number(number)
		w.Fixed(fixed)
		w.Text(text)
		w.Path(like, path)
		w.Time(at)
		w.Float(float)
		w.Flag(flag)
		w.Digest(digest)
		row := w.Sealed()
		r, err := Unseal(7, row)
		if err != nil {
			t.Fatal(err)
		}
		if r.Number() != number || r.Fixed() != fixed || r.Text() != text || r.Path(like) != path || !r.Time().Equal(at) ||
			math.Float64bits(r.Float()) != math.Float64bits(float) || r.Flag() != flag || r.Digest() != digest || r.Err() != nil {
			t.Fatal("something was read back otherwise")
		}
		if _, err := Unseal(8, row); err == nil {
			t.Fatal("another format was read")
		}
		i := rapid.IntRange(0, len(row)*8-1).Draw(t, "bit")
		row[i/8] ^= 1 << (i % 8)
		if _, err := Unseal(7, row); err == nil {
			t.Fatal("a changed row was read")
		}
		row[i/8] ^= 1 << (i % 8)
		if _, err := Unseal(7, row[:rapid.IntRange(0, len(row)-1).Draw(t, "cut")]); err == nil {
			t.Fatal("a row cut short was read")
		}
	})
}

// Bytes that nobody packed end in zeros and an error, never in a panic.
func FuzzReader(f *testing.F) {
	f.Add("\x05abc", "like")
	f.Add("\xff\xff\xff\xff\xff\xff\xff\xff\xff\x02", "")
	f.Fuzz(func(t *testing.T, s, like string) {
		r := Of(s)
		r.Path(like)
		r.Time()
		r.Text()
		r.Float()
		r.Digest()
		r.Number()
		if r.Left() > len(s) || r.Err() == nil && r.Left() > 0 {
			t.Error("it reads on although something is left")
		}
	})
}
