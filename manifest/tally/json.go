package tally

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"iter"
)

// WriteJSON writes a report, indented by two spaces, with each file spelled out. frame
// is the [Result.Outline], or a struct that has it and further keys. Sites, unfiled and
// waiting files are made one at a time where frame has their empty lists, so that a
// million files take no more memory than a site's. Every Write is of whole characters.
// id gives a site's id, "" if it has none yet, and may be nil.
func (r *Result) WriteJSON(w io.Writer, frame any, id func(*Site) string) error {
	var b bytes.Buffer
	if err := encode(&b, "", frame); err != nil {
		return err
	}
	rest := bytes.Clone(b.Bytes())
	b.Reset()
	for _, list := range []struct {
		key string
		all iter.Seq[any]
	}{
		{"sites", func(yield func(any) bool) {
			for i := 0; i < len(r.Sites) && yield(r.Sites[i].report(id)); i++ {
			}
		}},
		{"unfiled", func(yield func(any) bool) {
			for f := range r.Unfiled.All() {
				if !yield(f.report()) {
					return
				}
			}
		}},
		{"waiting", func(yield func(any) bool) {
			for i := 0; i < len(r.Waiting) && yield(reportWait(r.Waiting[i])); i++ {
			}
		}},
	} {
		// In a string the quotes would be escaped, so only the key itself reads so.
		at := bytes.Index(rest, []byte("\n  \""+list.key+"\": []"))
		if at < 0 {
			return fmt.Errorf("the report has no empty list %s", list.key)
		}
		at += len("\n  \"\": [") + len(list.key)
		b.Write(rest[:at])
		rest = rest[at:]
		lead := "\n    "
		for v := range list.all {
			b.WriteString(lead)
			if err := encode(&b, "    ", v); err != nil {
				return err
			}
			b.Truncate(b.Len() - 1) // the line's end
			if b.Len() >= 64<<10 {
				if _, err := b.WriteTo(w); err != nil {
					return err
				}
			}
			lead = ",\n    "
		}
		if lead[0] == ',' {
			b.WriteString("\n  ")
		}
	}
	b.Write(rest)
	_, err := b.WriteTo(w)
	return err
}

// encode appends v and a line's end; a name stays as it is.
func encode(b *bytes.Buffer, prefix string, v any) error {
	e := json.NewEncoder(b)
	e.SetEscapeHTML(false)
	e.SetIndent(prefix, "  ")
	return e.Encode(v)
}
