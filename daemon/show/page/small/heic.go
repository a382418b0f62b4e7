package small

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"io"
	"os"
	"os/exec"
	"runtime/debug"
	"strconv"
	"strings"
	_ "unsafe" // for go:linkname

	"github.com/gen2brain/heic"

	"linecamp/manifest"
)

// HEIC is decoded in a process of its own, which is this program run again: a
// decoder of that format takes long, much memory, and can neither be stopped nor
// be trusted to end over hostile bytes. The process can be killed, and what it
// took is given back.

// childEnv tells this program that it is such a process, and what is asked of it.
const childEnv = "LINECAMP_MAKE_SMALL"

// mostHEIC bounds a HEIC picture's file, in bytes; heicPixels its size.
const (
	mostHEIC   = 64 << 20
	heicPixels = 60 << 20
)

// The decoder would rather use a C library of the system where it finds one. Bytes
// that may be hostile are not handed to that.
//
//go:linkname heicDynamic github.com/gen2brain/heic.dynamic
var heicDynamic bool

// isHEIC reports whether a file begins as HEIF pictures in HEVC do (ISO/IEC
// 23008-12, 10.2: the brands of the file type box).
func isHEIC(head []byte) bool {
	if len(head) < 12 || string(head[4:8]) != "ftyp" {
		return false
	}
	switch string(head[8:12]) {
	case "heic", "heix", "heim", "heis", "mif1":
		return true
	}
	return false
}

// heicSmall makes a HEIC picture small in a process of its own. The decoder turns
// it upright by what the file's structure says.
func (p Photo) heicSmall(ctx context.Context, f io.ReadSeeker, sizes []Size) ([][]byte, error) {
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return nil, err
	}
	raw, err := io.ReadAll(io.LimitReader(patient{ctx, f}, mostHEIC+1))
	switch {
	case err != nil:
		return nil, err
	case len(raw) > mostHEIC:
		return nil, fmt.Errorf("%w: it is too large to be decoded here", ErrCannot)
	case !p.Trusted && manifest.Sum(raw) != p.Digest:
		return nil, ErrOther
	}
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	var asked []string
	for _, s := range sizes {
		asked = append(asked, strconv.Itoa(int(s)))
	}
	cmd := exec.CommandContext(ctx, self)
	// Nothing of what this process knows is for that one: no key, no setting.
	cmd.Env = []string{childEnv + "=" + strings.Join(asked, ",")}
	cmd.Stdin = bytes.NewReader(raw)
	var out bytes.Buffer
	cmd.Stdout = &out
	if err := cmd.Run(); err != nil {
		if ctx.Err() != nil {
			return nil, fmt.Errorf("%w: it took too long to decode", ErrCannot)
		}
		return nil, fmt.Errorf("%w here: it is a HEIC picture that does not decode", ErrCannot)
	}
	all := make([][]byte, len(sizes))
	for i := range all {
		var n uint32
		if binary.Read(&out, binary.BigEndian, &n) != nil || int(n) > out.Len() {
			return nil, fmt.Errorf("%w here: it is a HEIC picture that does not decode", ErrCannot)
		}
		all[i] = bytes.Clone(out.Next(int(n)))
	}
	return all, nil
}

// Child reports whether this process is one that makes a HEIC picture small, and
// if so does it: from standard input to standard output. A program that uses this
// package calls it first of all, and ends where it is true.
func Child() bool {
	asked := os.Getenv(childEnv)
	if asked == "" {
		return false
	}
	debug.SetGCPercent(20)
	if err := child(asked, os.Stdin, os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	return true
}

func child(asked string, in io.Reader, out io.Writer) (err error) {
	defer stumbles(&err)
	heicDynamic = false
	growInPlace()
	raw, err := io.ReadAll(in)
	if err != nil {
		return err
	}
	m, err := heic.Decode(bytes.NewReader(raw))
	if err != nil {
		return err
	}
	if b := m.Bounds(); b.Empty() || b.Dx() > heicPixels/b.Dy() {
		return errors.New("too large")
	}
	for text := range strings.SplitSeq(asked, ",") {
		n, err := strconv.Atoi(text)
		if err != nil {
			return err
		}
		b, err := encode(m, Size(n), 1)
		if err != nil {
			return err
		}
		if err := binary.Write(out, binary.BigEndian, uint32(len(b))); err != nil {
			return err
		}
		if _, err := out.Write(b); err != nil {
			return err
		}
	}
	return nil
}

// encode makes a picture small, turns it, and writes it as JPEG.
func encode(m image.Image, s Size, turn int) ([]byte, error) {
	var b bytes.Buffer
	if err := jpegTo(&b, upright(shrunk(m, int(s)), turn), s.quality()); err != nil {
		return nil, fmt.Errorf("%w: %w", ErrCannot, err)
	}
	return b.Bytes(), nil
}
