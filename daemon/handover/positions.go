package handover

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"path"
	"strings"
)

// A picture tells where it was taken in two places: the GPS part of its Exif data
// (CIPA DC-008 section 4.6.6) and the XMP packet beside it. Both are blanked in
// place, so that no byte of the picture itself moves and the file keeps its
// size: the GPS part becomes one without entries, the packet becomes spaces.

// blankable are the formats whose positions can be found.
var blankable = map[string]bool{".jpg": true, ".jpeg": true, ".png": true, ".heic": true, ".heif": true, ".tif": true, ".tiff": true}

// picture reports whether positions can be blanked in a file of this name.
func picture(name string) bool { return blankable[strings.ToLower(path.Ext(name))] }

// blankPositions takes the positions out of a picture's bytes, in place. changed
// tells whether there were any. sure is false where some may be left: in a
// packed text of a PNG, or under a name that no part explains.
func blankPositions(b []byte) (changed, sure bool) {
	sure = true
	for _, mark := range []string{"II*\x00", "MM\x00*"} {
		headers := 0
		for at := 0; ; {
			i := bytes.Index(b[at:], []byte(mark))
			if i < 0 {
				break
			}
			if headers++; headers > mostHeaders {
				sure = false
				break
			}
			at += i
			if blankGPS(b[at:]) {
				changed = true
			}
			at += len(mark)
		}
	}
	if blankPackets(b) {
		changed = true
	}
	if isPNG(b) && !repairPNG(b) {
		sure = false
	}
	return changed, sure && !tellsPosition(b)
}

// mostHeaders is more than any camera writes; a file made to hold more would
// take long to look through.
const mostHeaders = 1000

// blankGPS empties the GPS part of the tags whose header (TIFF 6.0 section 2)
// begins b. Anything that is not one tag after another as TIFF has it is left.
func blankGPS(b []byte) (changed bool) {
	order := binary.ByteOrder(binary.LittleEndian)
	if b[0] == 'M' {
		order = binary.BigEndian
	}
	const pointer = 0x8825 // GPSInfo IFD Pointer, CIPA DC-008 section 4.6.3
	for at, parts := first(b, order), 0; at > 0 && parts < 8; parts++ {
		entries, next := part(b, order, at)
		for _, e := range entries {
			if order.Uint16(e) != pointer {
				continue
			}
			gps := int(order.Uint32(e[8:]))
			inside, _ := part(b, order, gps)
			if len(inside) == 0 {
				continue
			}
			for _, e := range inside {
				if from, size := value(b, order, e); size > 0 {
					clear(b[from : from+size])
				}
				clear(e)
			}
			order.PutUint16(b[gps:], 0)
			changed = true
		}
		at = next
	}
	return changed
}

// first is where the first part of the tags begins, 0 for nowhere.
func first(b []byte, order binary.ByteOrder) int {
	if len(b) < 8 {
		return 0
	}
	return int(order.Uint32(b[4:]))
}

// part is one directory of tags: its entries of 12 bytes each, and where the next
// begins. A directory that does not lie in b, or with an entry of no known type,
// has none.
func part(b []byte, order binary.ByteOrder, at int) (entries [][]byte, next int) {
	if at < 8 || at > len(b)-2 {
		return nil, 0
	}
	n := int(order.Uint16(b[at:]))
	end := at + 2 + 12*n
	if n == 0 || n > 1000 || end > len(b) {
		return nil, 0
	}
	for i := range n {
		e := b[at+2+12*i:][:12:12]
		if t := order.Uint16(e[2:]); t < 1 || t > 13 {
			return nil, 0
		}
		entries = append(entries, e)
	}
	if end+4 <= len(b) {
		next = int(order.Uint32(b[end:]))
	}
	return entries, next
}

// value is where an entry's value lies beside it, size 0 where it is in the entry.
func value(b []byte, order binary.ByteOrder, e []byte) (from, size int) {
	sizes := [14]int{0, 1, 1, 2, 4, 8, 1, 1, 2, 4, 8, 4, 8, 4} // TIFF 6.0 section 2, by type
	count := int64(order.Uint32(e[4:]))
	n := count * int64(sizes[order.Uint16(e[2:])])
	off := int64(order.Uint32(e[8:]))
	if n <= 4 || off+n > int64(len(b)) {
		return 0, 0
	}
	return int(off), int(n)
}

// blankPackets turns each XMP packet that tells a position into spaces.
func blankPackets(b []byte) (changed bool) {
	const begin, end = "<x:xmpmeta", "</x:xmpmeta>"
	for at := 0; ; {
		i := bytes.Index(b[at:], []byte(begin))
		if i < 0 {
			return changed
		}
		from := at + i
		n := bytes.Index(b[from:], []byte(end))
		if n < 0 {
			return changed
		}
		packet := b[from : from+n+len(end)]
		if bytes.Contains(packet, []byte("GPS")) || bytes.Contains(packet, []byte("Location")) {
			for i := range packet {
				packet[i] = ' '
			}
			changed = true
		}
		at = from + len(packet)
	}
}

// tellsPosition reports whether a name of a position is still spelled somewhere.
func tellsPosition(b []byte) bool {
	for _, name := range []string{"GPSLatitude", "GPSLongitude"} {
		wide := make([]byte, 0, 2*len(name))
		for _, c := range []byte(name) {
			wide = append(wide, c, 0)
		}
		if bytes.Contains(b, []byte(name)) || bytes.Contains(b, wide) {
			return true
		}
	}
	return false
}

const pngMark = "\x89PNG\r\n\x1a\n"

func isPNG(b []byte) bool { return bytes.HasPrefix(b, []byte(pngMark)) }

// repairPNG makes each chunk's checksum right again (PNG, third edition, section
// 5.3). It is false where a chunk holds packed text, which may be anything, or
// where the chunks do not follow one another to the end.
func repairPNG(b []byte) bool {
	sure := true
	for at := len(pngMark); at+12 <= len(b); {
		n := int(binary.BigEndian.Uint32(b[at:]))
		if n < 0 || n > len(b)-at-12 {
			return false
		}
		kind := b[at+4 : at+8]
		data := b[at+8 : at+8+n]
		switch string(kind) {
		case "zTXt":
			sure = false
		case "iTXt":
			// A keyword, NUL, then 1 where the text is packed.
			if i := bytes.IndexByte(data, 0); i < 0 || i+1 >= len(data) || data[i+1] != 0 {
				sure = false
			}
		case "tEXt":
			if bytes.HasPrefix(data, []byte("Raw profile")) {
				sure = false
			}
		}
		binary.BigEndian.PutUint32(b[at+8+n:], crc32.ChecksumIEEE(b[at+4:at+8+n]))
		if string(kind) == "IEND" {
			return sure
		}
		at += 12 + n
	}
	return false
}
