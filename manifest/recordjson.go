package manifest

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"time"
	"unicode/utf8"
)

// modifiedForm always has nine digits, so that a moment has one spelling.
const modifiedForm = "2006-01-02T15:04:05.000000000Z"

// Encode returns the record's bytes: JSON with two spaces of indent, keys in
// order, one line for each path and for each decision, and nothing for what is
// empty. Equal records have equal bytes. A modification time outside the years
// 1 to 9999 is moved to the nearest one inside. Names that are not valid UTF-8
// are written for people to read, and once more in base64 under "raw".
func (r *Record) Encode() []byte {
	b := make([]byte, 0, 512+len(r.Paths)*160)
	b = append(b, "{\n  \"base\": "...)
	b = appendString(b, r.Base)
	b = append(b, ",\n  \"decisions\": ["...)
	for i := range r.Decisions {
		b = appendComma(b, i)
		b = append(b, "\n    "...)
		b = r.Decisions[i].append(b)
	}
	if len(r.Decisions) > 0 {
		b = append(b, "\n  "...)
	}
	b = append(b, "],\n  \"format\": \""+RecordFormat+"\",\n  \"pasture\": "...)
	b = appendString(b, r.Pasture)
	b = append(b, ",\n  \"paths\": {"...)
	for i, p := range slices.Sorted(maps.Keys(r.Paths)) {
		b = appendComma(b, i)
		b = append(b, "\n    "...)
		b = appendString(b, p)
		b = append(b, ": "...)
		e := r.Paths[p]
		b = e.append(b)
	}
	if len(r.Paths) > 0 {
		b = append(b, "\n  "...)
	}
	b = append(b, "},\n"...)
	b = r.appendRaw(b)
	b = append(b, "  \"site\": "...)
	b = appendString(b, r.Site)
	return append(b, "\n}\n"...)
}

// appendRaw writes the names whose bytes JSON cannot hold.
func (r *Record) appendRaw(b []byte) []byte {
	var o object
	for _, f := range []struct{ key, value string }{{"base", r.Base}, {"pasture", r.Pasture}, {"site", r.Site}} {
		if !utf8.ValidString(f.value) {
			o.key(f.key)
			o.base64([]byte(f.value))
		}
	}
	if o.keys == 0 {
		return b
	}
	b = append(b, "  \"raw\": "...)
	b = append(b, o.end()...)
	return append(b, ",\n"...)
}

func (e *Entry) append(b []byte) []byte {
	o := object{b: b}
	o.key("bytes")
	o.b = strconv.AppendInt(o.b, e.Bytes, 10)
	o.text("kind", string(e.Kind))
	o.text("modified", moment(e.Modified).Format(modifiedForm))
	if len(e.Raw) > 0 {
		o.key("raw")
		o.base64(e.Raw)
	}
	o.text("view", e.View)
	o.text("visit", e.Visit)
	o.text("with", e.With)
	return o.end()
}

func (d *Decision) append(b []byte) []byte {
	o := object{b: b}
	o.text("path", d.Path)
	o.text("season", d.Season)
	o.text("view", d.View)
	o.text("what", d.What)
	o.text("when", moment(d.When).Format(createdForm))
	o.text("who", d.Who)
	o.text("why", d.Why)
	if len(d.Years) > 0 {
		o.key("years")
		o.b = append(o.b, '[')
		for i, y := range d.Years {
			if i > 0 {
				o.b = append(o.b, ", "...)
			}
			o.b = appendString(o.b, y)
		}
		o.b = append(o.b, ']')
	}
	return o.end()
}

// moment returns t in UTC, within what RFC 3339 can write.
func moment(t time.Time) time.Time {
	t = t.UTC()
	switch y := t.Year(); {
	case y < 1:
		return time.Date(1, 1, 1, 0, 0, 0, 0, time.UTC)
	case y > 9999:
		return time.Date(9999, 12, 31, 23, 59, 59, 999_999_999, time.UTC)
	}
	return t
}

// object writes one JSON object on one line.
type object struct {
	b    []byte
	keys int
}

func (o *object) key(k string) {
	if o.keys == 0 {
		o.b = append(o.b, '{')
	} else {
		o.b = append(o.b, ", "...)
	}
	o.keys++
	o.b = append(appendString(o.b, k), ": "...)
}

// text writes a key with a string, unless the string is empty.
func (o *object) text(k, v string) {
	if v != "" {
		o.key(k)
		o.b = appendString(o.b, v)
	}
}

func (o *object) base64(v []byte) {
	o.b = append(o.b, '"')
	o.b = base64.StdEncoding.AppendEncode(o.b, v)
	o.b = append(o.b, '"')
}

func (o *object) end() []byte { return append(o.b, '}') }

func appendComma(b []byte, i int) []byte {
	if i > 0 {
		b = append(b, ',')
	}
	return b
}

// DecodeRecord reads what Encode writes and checks every rule of a record. The
// error wraps ErrRecord and names the rule.
func DecodeRecord(b []byte) (*Record, error) {
	if len(b) > MaxRecord {
		return nil, broken(ErrRecord, "%d bytes is more than the %d a record may have", len(b), MaxRecord)
	}
	d := recordDecoder{scanner: scan(b), r: &Record{Paths: map[string]Entry{}}}
	d.record()
	err := d.Err
	if err == nil {
		err = d.r.check()
	}
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrRecord, err)
	}
	return d.r, nil
}

type recordDecoder struct {
	scanner
	r *Record
}

func (d *recordDecoder) record() {
	var raw Record
	d.fields("the record", "", []field{
		{"base", "", true, func() { d.r.Base = d.str("as base") }},
		{"decisions", "", true, d.decisions},
		{"format", "", true, func() {
			if f := d.str("as format"); f != RecordFormat {
				d.Fail("the format is %q; this reads %q", clip(f), RecordFormat)
			}
		}},
		{"pasture", "", true, func() { d.r.Pasture = d.str("as pasture") }},
		{"paths", "", true, d.paths},
		{"raw", "", false, func() {
			d.fields("raw", "", []field{
				{"base", "", false, func() { raw.Base = d.name("base") }},
				{"pasture", "", false, func() { raw.Pasture = d.name("pasture") }},
				{"site", "", false, func() { raw.Site = d.name("site") }},
			})
		}},
		{"site", "", true, func() { d.r.Site = d.str("as site") }},
	})
	d.End()
	d.unescape(&d.r.Base, raw.Base)
	d.unescape(&d.r.Pasture, raw.Pasture)
	d.unescape(&d.r.Site, raw.Site)
}

// unescape puts a raw name in the place of the one written for people.
func (d *recordDecoder) unescape(name *string, raw string) {
	if raw == "" || d.Err != nil {
		return
	}
	if again := readable(raw); again != *name {
		d.Fail("the raw name %q does not belong to %q", clip(raw), clip(*name))
	}
	*name = raw
}

// name reads a raw name.
func (d *recordDecoder) name(what string) string {
	raw := d.base64("as raw " + what)
	if d.Err == nil && utf8.Valid(raw) {
		d.Fail("the raw %s is valid UTF-8 and needs no raw form", what)
	}
	return string(raw)
}

func (d *recordDecoder) base64(what string) []byte {
	text := d.Text(what)
	raw, err := base64.StdEncoding.Strict().AppendDecode(nil, text)
	if err != nil || len(raw) == 0 && d.Err == nil || base64.StdEncoding.EncodedLen(len(raw)) != len(text) {
		d.Fail("expected base64 %s", what)
	}
	return raw
}

func (d *recordDecoder) paths() {
	var e Entry
	fields := []field{
		{"bytes", "", true, func() { e.Bytes = d.natural("as bytes") }},
		{"kind", "", true, func() { e.Kind = kindOf(d.Text("as kind")) }},
		{"modified", "", true, func() { e.Modified = d.time(modifiedForm, "as modified") }},
		{"raw", "", false, func() { e.Raw = d.base64("as raw") }},
		{"view", "", false, func() { e.View = d.str("as view") }},
		{"visit", "", false, func() { e.Visit = d.str("as visit") }},
		{"with", "", false, func() { e.With = d.str("as with") }},
	}
	d.Object("paths", func(key []byte) {
		path := string(key)
		if _, twice := d.r.Paths[path]; twice {
			d.Fail("the path %q is there twice", clip(path))
			return
		}
		e = Entry{}
		d.fields("the path's entry", "", fields)
		d.r.Paths[path] = e
	})
}

func (d *recordDecoder) decisions() {
	var one Decision
	text := func(key string, need bool, to *string) field {
		return field{key, "", need, func() { *to = d.str("as " + key) }}
	}
	fields := []field{
		text("path", false, &one.Path),
		text("season", false, &one.Season),
		text("view", false, &one.View),
		text("what", true, &one.What),
		{"when", "", true, func() { one.When = d.time(createdForm, "as when") }},
		text("who", false, &one.Who),
		text("why", false, &one.Why),
		{"years", "", false, func() {
			d.Array("years", func() { one.Years = append(one.Years, d.str("as a year")) })
		}},
	}
	d.Array("decisions", func() {
		one = Decision{}
		d.fields("a decision", "", fields)
		d.r.Decisions = append(d.r.Decisions, one)
	})
}

// time reads a moment in exactly this form.
func (d *recordDecoder) time(form, what string) time.Time {
	text := d.Text(what)
	t, err := time.Parse(form, string(text))
	var room [len(modifiedForm)]byte
	if d.Err == nil && (err != nil || !bytes.Equal(t.AppendFormat(room[:0], form), text)) {
		d.Fail("expected a time like %s %s", form, what)
	}
	return t
}

// kindOf shares the strings of known kinds.
func kindOf(b []byte) Kind {
	for _, k := range []Kind{KindPhoto, KindNote, KindCompanion, KindCard, KindOther} {
		if string(b) == string(k) {
			return k
		}
	}
	return Kind(b)
}
