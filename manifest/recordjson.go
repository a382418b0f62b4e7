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

	"linecamp/manifest/jsontext"
	"linecamp/manifest/names"
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
	b = jsontext.AppendString(b, r.Base)
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
	b = jsontext.AppendString(b, r.Pasture)
	b = append(b, ",\n  \"paths\": {"...)
	for i, p := range slices.Sorted(maps.Keys(r.Paths)) {
		b = appendComma(b, i)
		b = append(b, "\n    "...)
		b = jsontext.AppendString(b, p)
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
	b = jsontext.AppendString(b, r.Site)
	return append(b, "\n}\n"...)
}

// appendRaw writes the names whose bytes JSON cannot hold.
func (r *Record) appendRaw(b []byte) []byte {
	var o jsontext.Object
	for _, f := range []struct{ key, value string }{{"base", r.Base}, {"pasture", r.Pasture}, {"site", r.Site}} {
		if !utf8.ValidString(f.value) {
			o.Base64(f.key, []byte(f.value))
		}
	}
	if o.IsEmpty() {
		return b
	}
	b = append(b, "  \"raw\": "...)
	b = append(b, o.End()...)
	return append(b, ",\n"...)
}

func (e *Entry) append(b []byte) []byte {
	o := jsontext.Object{B: b}
	o.Key("bytes")
	o.B = strconv.AppendInt(o.B, e.Bytes, 10)
	o.Text("kind", string(e.Kind))
	o.Text("modified", moment(e.Modified).Format(modifiedForm))
	o.Base64("raw", e.Raw)
	o.Text("view", e.View)
	o.Text("visit", e.Visit)
	o.Text("with", e.With)
	return o.End()
}

func (d *Decision) append(b []byte) []byte {
	o := jsontext.Object{B: b}
	o.Text("path", d.Path)
	o.Text("season", d.Season)
	o.Text("view", d.View)
	o.Text("what", d.What)
	o.Text("when", moment(d.When).Format(CreatedForm))
	o.Text("who", d.Who)
	o.Text("why", d.Why)
	if len(d.Years) > 0 {
		o.Key("years")
		o.B = append(o.B, '[')
		for i, y := range d.Years {
			if i > 0 {
				o.B = append(o.B, ", "...)
			}
			o.B = jsontext.AppendString(o.B, y)
		}
		o.B = append(o.B, ']')
	}
	return o.End()
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
	d := recordDecoder{Scanner: jsontext.New(b), r: &Record{Paths: map[string]Entry{}}}
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
	jsontext.Scanner
	r *Record
}

func (d *recordDecoder) record() {
	var raw Record
	d.Fields("the record", "", []jsontext.Field{
		jsontext.Need("base", "", func() { d.r.Base = d.Str("as base") }),
		jsontext.Need("decisions", "", d.decisions),
		jsontext.Need("format", "", func() {
			if f := d.Str("as format"); f != RecordFormat {
				d.Fail("the format is %q; this reads %q", names.Clip(f), RecordFormat)
			}
		}),
		jsontext.Need("pasture", "", func() { d.r.Pasture = d.Str("as pasture") }),
		jsontext.Need("paths", "", d.paths),
		jsontext.May("raw", func() {
			d.Fields("raw", "", []jsontext.Field{
				jsontext.May("base", func() { raw.Base = d.name("base") }),
				jsontext.May("pasture", func() { raw.Pasture = d.name("pasture") }),
				jsontext.May("site", func() { raw.Site = d.name("site") }),
			})
		}),
		jsontext.Need("site", "", func() { d.r.Site = d.Str("as site") }),
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
	if again := jsontext.Readable(raw); again != *name {
		d.Fail("the raw name %q does not belong to %q", names.Clip(raw), names.Clip(*name))
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
	fields := []jsontext.Field{
		jsontext.Need("bytes", "", func() { e.Bytes = d.Natural("as bytes") }),
		jsontext.Need("kind", "", func() { e.Kind = kindOf(d.Text("as kind")) }),
		jsontext.Need("modified", "", func() { e.Modified = d.time(modifiedForm, "as modified") }),
		jsontext.May("raw", func() { e.Raw = d.base64("as raw") }),
		jsontext.May("view", func() { e.View = d.Str("as view") }),
		jsontext.May("visit", func() { e.Visit = d.Str("as visit") }),
		jsontext.May("with", func() { e.With = d.Str("as with") }),
	}
	d.Object("paths", func(key []byte) {
		path := string(key)
		if _, twice := d.r.Paths[path]; twice {
			d.Fail("the path %q is there twice", names.Clip(path))
			return
		}
		e = Entry{}
		d.Fields("the path's entry", "", fields)
		d.r.Paths[path] = e
	})
}

func (d *recordDecoder) decisions() {
	var one Decision
	text := func(key string, to *string) jsontext.Field {
		return jsontext.May(key, func() { *to = d.Str("as " + key) })
	}
	fields := []jsontext.Field{
		text("path", &one.Path),
		text("season", &one.Season),
		text("view", &one.View),
		jsontext.Need("what", "", func() { one.What = d.Str("as what") }),
		jsontext.Need("when", "", func() { one.When = d.time(CreatedForm, "as when") }),
		text("who", &one.Who),
		text("why", &one.Why),
		jsontext.May("years", func() {
			d.Array("years", func() { one.Years = append(one.Years, d.Str("as a year")) })
		}),
	}
	d.Array("decisions", func() {
		one = Decision{}
		d.Fields("a decision", "", fields)
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
