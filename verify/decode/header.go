package decode

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
)

// header is what a picture says of itself before it begins.
type header struct {
	format string // "JPEG", "PNG", or "" for another
	bytes  int64  // what decoding it takes, at most
	why    string // why it is not decoded, "" where it is
	// odd is a right way of writing JPEGs that the decoder at hand takes for wrong:
	// restart marks within scans of a single component, where samplings differ, which it
	// looks for at other places (ISO/IEC 10918-1, A.2.2, counts them by blocks).
	odd bool
}

// mostSegments bounds how far a JPEG's beginning is followed.
const mostSegments = 10_000

// readHeader reads the beginning of a picture. What is not as it should be there
// is left to the decoder; an error is one of reading.
func readHeader(f io.ReadSeeker) (header, error) {
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return header{}, err
	}
	var b [33]byte
	n, err := io.ReadFull(f, b[:])
	if err != nil && err != io.EOF && err != io.ErrUnexpectedEOF {
		return header{}, err
	}
	switch {
	case bytes.HasPrefix(b[:n], []byte("\xff\xd8")):
		return jpegHeader(f)
	case bytes.HasPrefix(b[:n], []byte("\x89PNG\r\n\x1a\n")):
		return pngHeader(b[:n]), nil
	}
	return header{}, nil
}

// jpegHeader follows the segments to the one that says how large the picture is
// (ISO/IEC 10918-1, B.2.2).
func jpegHeader(f io.ReadSeeker) (header, error) {
	h := header{format: "JPEG", bytes: 1 << 20}
	at := int64(2)
	var restarts, sampled, progressive bool
	components := byte(0)
	for range mostSegments {
		if _, err := f.Seek(at, io.SeekStart); err != nil {
			return h, err
		}
		var b [10 + 3*4]byte
		n, err := io.ReadFull(f, b[:])
		if err == io.EOF || err == io.ErrUnexpectedEOF {
			err = nil
		}
		if err != nil || n < 4 {
			return h, err
		}
		switch m := b[1]; {
		case b[0] != 0xff || m == 0xff:
			at++ // filling, or what does not belong there
		case m == 0xda || m == 0xd9:
			h.odd = restarts && sampled && (progressive || n >= 5 && b[4] < components)
			return h, nil
		case (m == 0xc0 || m == 0xc1 || m == 0xc2) && components == 0 && n >= 10:
			progressive, components = m == 0xc2, b[9]
			if sampled = h.frame(b[:n], progressive); h.why != "" {
				return h, nil
			}
			at += 2 + int64(binary.BigEndian.Uint16(b[2:]))
		case m == 0xdd && n >= 6:
			restarts = binary.BigEndian.Uint16(b[4:]) != 0
			at += 2 + int64(binary.BigEndian.Uint16(b[2:]))
		case m >= 0xc3 && m <= 0xcf && m != 0xc4 && m != 0xc8 && m != 0xcc:
			h.why = "it is a kind of JPEG that is not decoded here: lossless, hierarchical or arithmetic coding"
			return h, nil
		case m == 0 || m == 1 || m >= 0xd0 && m <= 0xd8:
			at += 2 // these have no length
		default:
			at += 2 + int64(binary.BigEndian.Uint16(b[2:]))
		}
	}
	h.why = "it has more parts before its picture than a photo has"
	return h, nil
}

// frame reckons what decoding takes: for each component its samples, and of a
// progressive picture four bytes more for each; and room for the picture in
// colours that some are turned into. It returns whether components are sampled
// differently.
func (h *header) frame(b []byte, progressive bool) (sampled bool) {
	height, width := int64(binary.BigEndian.Uint16(b[5:])), int64(binary.BigEndian.Uint16(b[7:]))
	if height == 0 || width == 0 {
		h.why = "it does not say how large it is"
		return false
	}
	if b[4] != 8 {
		h.why = fmt.Sprintf("it is a kind of JPEG that is not decoded here: %d bits for each colour", b[4])
		return false
	}
	n := min(int(b[9]), 4, (len(b)-10)/3)
	most, each := int64(1), [4]int64{}
	for i := range n {
		sampling := int64(b[10+3*i+1])
		each[i] = max(1, sampling>>4) * max(1, sampling&15)
		most = max(most, each[i])
	}
	// Whole blocks of up to 64 samples each way.
	pixels := (width + 63) / 64 * 64 * ((height + 63) / 64 * 64)
	var samples int64
	for _, e := range each[:n] {
		samples += pixels * e / most
	}
	h.bytes += samples
	if progressive {
		h.bytes += 4 * samples
	}
	if n > 1 {
		h.bytes += 4 * pixels
	}
	h.tooLarge(width, height)
	return n > 1 && most > 1
}

// pngHeader reads the first chunk (PNG, Third Edition, 11.2.1).
func pngHeader(b []byte) header {
	h := header{format: "PNG", bytes: 1 << 20}
	if len(b) < 29 || string(b[12:16]) != "IHDR" {
		return h
	}
	width, height := int64(binary.BigEndian.Uint32(b[16:])), int64(binary.BigEndian.Uint32(b[20:]))
	if width <= 0 || height <= 0 || width > 1<<31-1 || height > 1<<31-1 {
		return h // no size of a PNG; the decoder says so
	}
	each := int64(4)
	if b[24] == 16 {
		each = 8
	}
	if b[28] != 0 { // interlaced: its passes beside the whole
		each *= 2
	}
	if width*height > mostMemory { // which keeps the product below in range
		h.bytes = mostMemory + 1
	} else {
		h.bytes += width * height * each
	}
	h.tooLarge(width, height)
	return h
}

func (h *header) tooLarge(width, height int64) {
	if h.bytes > mostMemory {
		h.why = fmt.Sprintf("it is too large to be decoded here: %d by %d pixels", width, height)
	}
}

// Needs tells of a picture its format, "JPEG", "PNG" or "" for another, and how
// much memory decoding it takes at most. why says why it is not to be decoded, ""
// where it may be. The error is one of reading.
func Needs(f io.ReadSeeker) (format string, bytes int64, why string, err error) {
	h, err := readHeader(f)
	return h.format, h.bytes, h.why, err
}
