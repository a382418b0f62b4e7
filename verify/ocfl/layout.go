package ocfl

import "linecamp/verify/ocfl/inventory"

import (
	"context"
	"encoding/json"
	"errors"
	"io/fs"
	"strings"
	"unicode/utf8"
)

const (
	layoutName = "ocfl_layout.json"
	maxLayout  = 1 << 20
)

// layout is how a root says that ids become places (section 4.1). Only the two
// flat layouts are worked out here, extensions 0002 and 0006; of any other it is
// not known where an object should lie.
type layout struct {
	extension string
	delimiter string // of 0006
}

const (
	flatDirect = "0002-flat-direct-storage-layout"
	flatOmit   = "0006-flat-omit-prefix-storage-layout"
)

func (s *storageRoot) readLayout(ctx context.Context) (layout, error) {
	b, err := readSmall(ctx, s.files, layoutName, maxLayout)
	if ctx.Err() != nil {
		return layout{}, ctx.Err()
	}
	if err != nil {
		s.note(Unreadable, layoutName, "it cannot be read: %v", err)
		return layout{}, nil
	}
	keys, ok := jsonObject(b)
	if !ok {
		s.note("E070", layoutName, "it is not a JSON object in UTF-8")
		return layout{}, nil
	}
	for _, key := range []string{"extension", "description"} {
		if _, ok := keys[key]; !ok {
			s.note("E070", layoutName, "the key %q is missing", key)
		}
	}
	value, ok := keys["extension"]
	if !ok {
		return layout{}, nil
	}
	name, _ := jsonString(value)
	if !registered[name] {
		s.note("E071", layoutName, "extension is %s, under which no extension is registered", inventory.Clip(name))
		return layout{}, nil
	}
	l := layout{extension: name}
	if name == flatOmit {
		return s.readDelimiter(ctx, l)
	}
	return l, nil
}

// readDelimiter reads the parameter of 0006 from the extension's own folder.
func (s *storageRoot) readDelimiter(ctx context.Context, l layout) (layout, error) {
	file := extensionsName + "/" + flatOmit + "/config.json"
	b, err := readSmall(ctx, s.files, file, maxLayout)
	switch {
	case ctx.Err() != nil:
		return layout{}, ctx.Err()
	case err != nil:
		if !errors.Is(err, fs.ErrNotExist) {
			s.note(Unreadable, file, "it cannot be read: %v", err)
		}
		return layout{}, nil
	}
	keys, _ := jsonObject(b)
	var ok bool
	if l.delimiter, ok = jsonString(keys["delimiter"]); !ok || l.delimiter == "" {
		return layout{}, nil
	}
	return l, nil
}

func jsonObject(b []byte) (map[string]json.RawMessage, bool) {
	var keys map[string]json.RawMessage
	if !utf8.Valid(b) || json.Unmarshal(b, &keys) != nil {
		return nil, false
	}
	return keys, keys != nil
}

func jsonString(b json.RawMessage) (string, bool) {
	if len(b) == 0 || b[0] != '"' {
		return "", false
	}
	var s string
	err := json.Unmarshal(b, &s)
	return s, err == nil
}

// check notes an object that lies elsewhere than the layout says: then there is
// a second pattern beside the one declared.
func (l layout) check(id, dir string, note noteFunc) {
	var want string
	switch l.extension {
	case flatDirect:
		want = id
	case flatOmit:
		want = id
		if i := strings.LastIndex(strings.ToLower(id), strings.ToLower(l.delimiter)); i >= 0 && len(strings.ToLower(id)) == len(id) {
			want = id[i+len(l.delimiter):]
		}
	default:
		return
	}
	if want != dir {
		note("W014", dir, "by the layout %s the object %s would be in %s", l.extension, inventory.Clip(id), inventory.Clip(want))
	}
}
