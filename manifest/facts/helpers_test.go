package facts

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
)

// A tag is one entry of an image file directory, written by hand as the Exif
// standard (CIPA DC-008) lays it out.
type tag struct {
	id, kind uint16
	count    uint32
	value    []byte
}

func text0(s string) []byte { return append([]byte(s), 0) }

// exifBlock is a little-endian TIFF with IFD0 and an Exif IFD. DateTime and
// DateTimeDigitized are always there, and always wrong.
func exifBlock(original, offset string) []byte {
	wrong := text0("2001:01:01 01:01:01")
	sub := []tag{{0x9004, 2, 20, wrong}}
	if original != "" {
		sub = append([]tag{{0x9003, 2, uint32(len(original) + 1), text0(original)}}, sub...)
	}
	if offset != "" {
		sub = append(sub, tag{0x9011, 2, uint32(len(offset) + 1), text0(offset)})
	}
	le := binary.LittleEndian
	ifd0 := []tag{{0x0132, 2, 20, wrong}, {0x8769, 4, 1, nil}}
	subAt := 8 + 2 + 12*len(ifd0) + 4 + 20
	ifd0[1].value = le.AppendUint32(nil, uint32(subAt))
	b := append([]byte("II*\x00"), 8, 0, 0, 0)
	b = appendIFD(b, ifd0)
	return appendIFD(b, sub)
}

func appendIFD(b []byte, tags []tag) []byte {
	le := binary.LittleEndian
	data := len(b) + 2 + 12*len(tags) + 4
	var tail []byte
	b = le.AppendUint16(b, uint16(len(tags)))
	for _, t := range tags {
		b = le.AppendUint16(b, t.id)
		b = le.AppendUint16(b, t.kind)
		b = le.AppendUint32(b, t.count)
		if len(t.value) <= 4 {
			b = append(b, append(t.value, make([]byte, 4-len(t.value))...)...)
			continue
		}
		b = le.AppendUint32(b, uint32(data+len(tail)))
		tail = append(tail, t.value...)
	}
	b = le.AppendUint32(b, 0)
	return append(b, tail...)
}

// jpegWith is the start of a JPEG with an APP1 segment, and an end.
func jpegWith(exif []byte) []byte {
	b := []byte{0xff, 0xd8, 0xff, 0xe1}
	b = binary.BigEndian.AppendUint16(b, uint16(2+6+len(exif)))
	b = append(b, "Exif\x00\x00"...)
	b = append(b, exif...)
	return append(b, 0xff, 0xd9)
}

// pngWith is a one-pixel PNG with an eXIf chunk.
func pngWith(exif []byte) []byte {
	b := []byte("\x89PNG\r\n\x1a\n")
	chunk := func(kind string, data []byte) {
		b = binary.BigEndian.AppendUint32(b, uint32(len(data)))
		body := append([]byte(kind), data...)
		b = append(b, body...)
		b = binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE(body))
	}
	chunk("IHDR", []byte{0, 0, 0, 1, 0, 0, 0, 1, 8, 0, 0, 0, 0})
	chunk("eXIf", exif)
	chunk("IDAT", []byte{0x78, 0x9c, 0x63, 0x60, 0, 0, 0, 2, 0, 1})
	chunk("IEND", nil)
	return b
}

// heicWith is a HEIF file (ISO/IEC 23008-12) of boxes around one Exif item,
// with no picture in it.
func heicWith(exif []byte) []byte {
	be := binary.BigEndian
	box := func(kind string, parts ...[]byte) []byte {
		body := bytes.Join(parts, nil)
		return append(append(be.AppendUint32(nil, uint32(8+len(body))), kind...), body...)
	}
	item := append([]byte{0, 0, 0, 6}, "Exif\x00\x00"...) // offset of the TIFF header, then what stands before it
	item = append(item, exif...)
	zero4 := make([]byte, 4)
	hdlr := box("hdlr", zero4, zero4, []byte("pict"), make([]byte, 13))
	pitm := box("pitm", zero4, []byte{0, 1})
	infe := box("infe", []byte{2, 0, 0, 1}, []byte{0, 1, 0, 0}, []byte("Exif"), []byte{0})
	iinf := box("iinf", zero4, []byte{0, 1}, infe)
	iloc := func(at uint32) []byte {
		return box("iloc", zero4, []byte{0x44, 0}, []byte{0, 1}, []byte{0, 1, 0, 0, 0, 1},
			be.AppendUint32(nil, at), be.AppendUint32(nil, uint32(len(item))))
	}
	ftyp := box("ftyp", []byte("heic"), zero4, []byte("mif1heic"))
	meta := func(at uint32) []byte { return box("meta", zero4, hdlr, pitm, iinf, iloc(at)) }
	at := uint32(len(ftyp) + len(meta(0)) + 8)
	return bytes.Join([][]byte{ftyp, meta(at), box("mdat", item)}, nil)
}

func taken0(b []byte, ext string) string { return look(bytes.NewReader(b), ext).Taken }
