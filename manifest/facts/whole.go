package facts

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"strings"
)

// A photo that was cut short, by a card pulled out or a full disk, has a digest
// like any other. Only its structure tells. What is checked here needs little
// reading: whether every part that the file announces is there to its end.
// Whether the parts hold what they should takes a decoder, and is not asked.

// mostParts bounds the parts that are followed in one file.
const mostParts = 100_000

// faultOf says what is wrong with the picture in r, of size bytes: "" where
// nothing is, or where the file is none of JPEG (ISO/IEC 10918-1), PNG (W3C) and
// HEIF (ISO/IEC 23008-12).
func faultOf(r io.ReadSeeker, size int64) string {
	if size == 0 {
		return "it is empty"
	}
	if _, err := r.Seek(0, io.SeekStart); err != nil {
		return ""
	}
	var head [12]byte
	n, _ := io.ReadFull(r, head[:])
	var err error
	switch {
	case bytes.HasPrefix(head[:n], []byte("\xff\xd8")):
		err = jpegWhole(r, size)
	case bytes.HasPrefix(head[:n], []byte("\x89PNG\r\n\x1a\n")):
		err = pngWhole(r, size)
	case n == len(head) && string(head[4:8]) == "ftyp":
		err = boxesWhole(r, size)
	case bytes.Count(head[:n], []byte{0}) == n:
		return "it begins with zeros, as a file does whose content never reached the disk"
	}
	var broken brokenPart
	if errors.As(err, &broken) {
		return string(broken)
	}
	return "" // the disk's fault, which the hashing has told of, is none of the picture's
}

// brokenPart says in words what is wrong.
type brokenPart string

func (b brokenPart) Error() string { return string(b) }

func broken(format string, a ...any) error { return brokenPart(fmt.Sprintf(format, a...)) }

// jpegWhole follows the segments up to the picture's data, and then looks for
// the mark that ends it: at the end of the file, where it usually is, else by
// reading on from the data, since cameras append their own things. Bytes between
// two segments belong to neither, and every decoder passes over them; they count
// where no picture comes after them.
func jpegWhole(r io.ReadSeeker, size int64) error {
	at, odd := int64(2), int64(-1) // odd is where bytes of no segment began
	if _, err := r.Seek(at, io.SeekStart); err != nil {
		return err
	}
	in := bufio.NewReaderSize(r, 16<<10)
	next := func() (byte, error) {
		b, err := in.ReadByte()
		if err == nil {
			at++
		} else if odd >= 0 && err == io.EOF {
			err = damagedAt(odd)
		} else {
			err = cutAt(err, size)
		}
		return b, err
	}
	frame := false
	for {
		began := at
		mark, err := next()
		if err != nil {
			return err
		}
		filled := mark == 0xff
		for mark == 0xff && err == nil { // any number of them may fill
			mark, err = next()
		}
		switch {
		case err != nil:
			return err
		case !filled || mark == 0:
			if odd < 0 {
				odd = began
			}
			continue
		case mark == 0x01 || mark >= 0xd0 && mark <= 0xd7: // these stand alone
			continue
		case mark == 0xd9:
			return broken("it ends before its picture begins")
		}
		high, err := next()
		if err != nil {
			return err
		}
		low, err := next()
		if err != nil {
			return err
		}
		body := int64(high)<<8 + int64(low) - 2
		switch {
		case body < 0:
			return damagedAt(began)
		case at+body > size:
			return broken("it is cut short: it ends after %d bytes, before its picture begins", size)
		case mark == 0xda && !frame:
			return broken("it is damaged: it does not say how large its picture is")
		case mark == 0xda:
			return jpegEnds(r, at+body, size)
		case mark >= 0xc0 && mark <= 0xcf && mark != 0xc4 && mark != 0xc8 && mark != 0xcc:
			frame = true
		}
		n, err := in.Discard(int(body))
		if at += int64(n); err != nil {
			return cutAt(err, size)
		}
	}
}

func damagedAt(at int64) error {
	return broken("it is damaged at byte %d, before its picture begins", at)
}

func jpegEnds(r io.ReadSeeker, at, size int64) error {
	var tail [2]byte
	if err := readAt(r, max(at, size-2), tail[:]); err == nil && tail == [2]byte{0xff, 0xd9} {
		return nil
	}
	if _, err := r.Seek(at, io.SeekStart); err != nil {
		return err
	}
	in := bufio.NewReaderSize(r, 64<<10)
	for {
		if _, err := in.ReadSlice(0xff); err == bufio.ErrBufferFull {
			continue
		} else if err != nil {
			return cutAt(err, size)
		}
		c, err := in.ReadByte()
		for err == nil && c == 0xff {
			c, err = in.ReadByte()
		}
		if err != nil {
			return cutAt(err, size)
		}
		if c == 0xd9 {
			return nil
		}
	}
}

// pngWhole follows the chunks to the one that ends the picture.
func pngWhole(r io.ReadSeeker, size int64) error {
	at := int64(8)
	for range mostParts {
		var b [8]byte
		if err := readAt(r, at, b[:]); err != nil {
			return cutAt(err, size)
		}
		if !letters(b[4:]) {
			return broken("it is damaged at byte %d", at)
		}
		at += 12 + int64(binary.BigEndian.Uint32(b[:4])) // length, kind, data, check sum
		if at > size {
			return cutAt(io.ErrUnexpectedEOF, size)
		}
		if string(b[4:]) == "IEND" {
			return nil
		}
	}
	return broken("it has more parts than a picture can have")
}

// boxesWhole follows the outermost boxes to the end of the file. What stands
// behind the last whole one and is no box is some maker's own.
func boxesWhole(r io.ReadSeeker, size int64) error {
	meta := false
	at := int64(0)
	for n := 0; at < size && n < mostParts; n++ {
		var b [16]byte
		if err := readAt(r, at, b[:8]); err != nil || !letters(b[4:8]) {
			break
		}
		length := int64(binary.BigEndian.Uint32(b[:4]))
		switch length {
		case 0: // to the end
			length = size - at
		case 1: // a long one
			if err := readAt(r, at+8, b[8:]); err != nil {
				return cutAt(err, size)
			}
			length = int64(min(binary.BigEndian.Uint64(b[8:]), 1<<62))
		}
		if length < 8 {
			break
		}
		if kind := string(b[4:8]); kind == "meta" || kind == "moov" {
			meta = true
		}
		if length > size-at {
			return cutAt(io.ErrUnexpectedEOF, size)
		}
		at += length
	}
	if !meta {
		return broken("it is cut short: it ends after %d bytes, and has no picture in it", size)
	}
	return nil
}

func letters(b []byte) bool {
	return !strings.ContainsFunc(string(b), func(c rune) bool { return (c < 'a' || c > 'z') && (c < 'A' || c > 'Z') && (c < '0' || c > '9') })
}

// readAt fills b from at on.
func readAt(r io.ReadSeeker, at int64, b []byte) error {
	if _, err := r.Seek(at, io.SeekStart); err != nil {
		return err
	}
	_, err := io.ReadFull(r, b)
	return err
}

// cutAt makes the end of the file a fault of the picture.
func cutAt(err error, size int64) error {
	if err == io.EOF || err == io.ErrUnexpectedEOF {
		return broken("it is cut short: it ends after %d bytes, before its picture does", size)
	}
	return err
}
