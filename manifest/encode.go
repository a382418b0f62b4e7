package manifest

import (
	"bytes"
	"encoding/hex"
	"slices"
	"strings"
	"time"

	"linecamp/manifest/jsontext"
)

// What every inventory of ours says of itself (OCFL 1.1 section 3.5.1).
const (
	inventoryType   = "https://ocfl.io/1.1/spec/#inventory"
	digestAlgorithm = "sha256"
)

// CreatedForm is how moments are written: RFC 3339, whole seconds, UTC.
const CreatedForm = "2006-01-02T15:04:05Z"

// Encode returns the bytes of inventory.json. Equal inventories have equal
// bytes: two spaces of indent, keys in order (versions by number), and each
// digest with its paths on one line. The lines of the manifest alone begin with
// exactly four spaces and a digest, so that in the object's folder
//
//	sed -n 's/^    "\([0-9a-f]\{64\}\)": \["\([^"]*\)".*/\1  \2/p' inventory.json | sha256sum -c
//
// checks the content with no other tool. An inventory without versions is not
// a valid one, and Encode returns nil for it.
func (inv *Inventory) Encode() []byte {
	if inv.Head() == 0 {
		return nil
	}
	b := make([]byte, 0, inv.roughSize())
	b = append(b, "{\n  \"digestAlgorithm\": \""+digestAlgorithm+"\",\n  \"head\": \""...)
	b = append(b, VersionName(inv.Head())...)
	b = append(b, "\",\n  \"id\": "...)
	b = jsontext.AppendString(b, inv.ID)
	b = append(b, ",\n  \"manifest\": {"...)
	b = inv.appendContent(b)
	b = append(b, "\n  },\n  \"type\": \""+inventoryType+"\",\n  \"versions\": {"...)
	for i := range inv.Versions {
		if i > 0 {
			b = append(b, ',')
		}
		b = append(b, "\n    \""...)
		b = append(b, VersionName(i+1)...)
		b = append(b, "\": {\n      \"created\": \""...)
		b = inv.Versions[i].append(b)
		b = append(b, "\n    }"...)
	}
	return append(b, "\n  }\n}\n"...)
}

func (inv *Inventory) appendContent(b []byte) []byte {
	lines := make([]stateLine, 0, len(inv.Content))
	for d, paths := range inv.Content {
		if len(paths) > 1 {
			paths = slices.Clone(paths)
			sortContent(paths)
		}
		for _, p := range paths {
			lines = append(lines, stateLine{d, p})
		}
	}
	slices.SortStableFunc(lines, func(x, y stateLine) int { return bytes.Compare(x.d[:], y.d[:]) })
	return appendLines(b, lines, "\n    \"")
}

// append writes what follows the opening quote of a version's created.
func (v *Version) append(b []byte) []byte {
	b = v.Created.UTC().AppendFormat(b, CreatedForm)
	b = append(b, '"')
	if v.Message != "" {
		b = append(b, ",\n      \"message\": "...)
		b = jsontext.AppendString(b, v.Message)
	}
	b = append(b, ",\n      \"state\": {"...)
	lines := make([]stateLine, 0, len(v.State))
	for p, d := range v.State {
		lines = append(lines, stateLine{d, p})
	}
	slices.SortFunc(lines, func(x, y stateLine) int {
		if c := bytes.Compare(x.d[:], y.d[:]); c != 0 {
			return c
		}
		return strings.Compare(x.path, y.path)
	})
	b = appendLines(b, lines, "\n        \"")
	if len(lines) > 0 {
		b = append(b, "\n      "...)
	}
	b = append(b, '}')
	if v.User.Name == "" {
		return b
	}
	b = append(b, ",\n      \"user\": {\n"...)
	if v.User.Address != "" {
		b = append(b, "        \"address\": "...)
		b = jsontext.AppendString(b, v.User.Address)
		b = append(b, ",\n"...)
	}
	b = append(b, "        \"name\": "...)
	b = jsontext.AppendString(b, v.User.Name)
	return append(b, "\n      }"...)
}

// stateLine is one path of one digest; neighbors of one digest share a line.
type stateLine struct {
	d    Digest
	path string
}

func appendLines(b []byte, lines []stateLine, indent string) []byte {
	for i, l := range lines {
		switch {
		case i > 0 && l.d == lines[i-1].d:
			b = append(b, ", "...)
		default:
			if i > 0 {
				b = append(b, "],"...)
			}
			b = append(b, indent...)
			b = hex.AppendEncode(b, l.d[:])
			b = append(b, "\": ["...)
		}
		b = jsontext.AppendString(b, l.path)
	}
	if len(lines) > 0 {
		b = append(b, ']')
	}
	return b
}

// roughSize guesses the encoded size, so that the buffer grows rarely.
func (inv *Inventory) roughSize() int {
	const perLine, perPath = 96, 24
	n := 1024 + len(inv.Content)*(perLine+perPath)
	for i := range inv.Versions {
		n += 512 + len(inv.Versions[i].State)*(perLine+perPath)
	}
	return n
}

// ParseCreated reads the one form Encode writes. why is the broken rule.
func ParseCreated(s string) (t time.Time, why string) {
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		return time.Time{}, "is no RFC 3339 time (E049)"
	}
	if t = t.UTC(); t.Format(CreatedForm) != s {
		return time.Time{}, "is not in whole seconds of UTC, as linecamp writes times"
	}
	return t, ""
}
