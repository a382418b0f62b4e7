package config

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"linecamp/manifest/store/fault"
	"linecamp/manifest/tomlline"
	"linecamp/manifest/wholefile"
)

// ErrEdit: a settings file is written in a way that linecamp does not change.
var ErrEdit = errors.New("change the settings by hand")

// Change is a change to the text of a settings file.
type Change func(*text) error

// Rewrite changes a settings file that a person may have written: the lines a
// change does not name stay as they are, in their order, comments too. Nothing
// is written if Load would refuse the result, which is then the *Error, or if
// the file changed meanwhile. The new file takes the place of the old one in one
// step.
func Rewrite(path string, changes ...Change) error {
	path, err := filepath.Abs(path)
	if err != nil {
		return err
	}
	if path, err = filepath.EvalSymlinks(path); err != nil {
		return unreadable(path, err)
	}
	info, err := os.Stat(path)
	if err != nil {
		return unreadable(path, err)
	}
	old, err := os.ReadFile(path)
	if err != nil {
		return unreadable(path, err)
	}
	t := &text{path: path}
	if err := t.read(old); err != nil {
		return err
	}
	for _, change := range changes {
		if err := change(t); err != nil {
			return err
		}
		// What two changes come to together is judged at the end.
		if err := t.find([]byte(strings.Join(t.lines, ""))); err != nil {
			return err
		}
	}
	b := []byte(strings.Join(t.lines, ""))
	if _, err := parse(path, b); err != nil {
		return err
	}
	draft, err := wholefile.Begin(path, info.Mode().Perm())
	if err != nil {
		return fmt.Errorf("nothing can be written beside the settings: %w", err)
	}
	defer draft.Drop()
	if _, err := draft.Write(b); err != nil {
		return fmt.Errorf("the settings cannot be written: %w", err)
	}
	if err := draft.Finish(); err != nil {
		return fmt.Errorf("the settings cannot be written: %w", err)
	}
	if now, err := os.ReadFile(path); err != nil || !bytes.Equal(now, old) {
		return fault.Say(errors.Join(ErrEdit, err), "%s was changed at this very moment, so nothing was written; run this again", path)
	}
	if err := draft.Replace(); err != nil {
		return fmt.Errorf("the settings cannot be changed: %w", err)
	}
	return nil
}

// Adding adds a copy at the end.
func Adding(c Copy) Change {
	return func(t *text) error {
		if n := len(t.lines); n > 0 && !strings.HasSuffix(t.lines[n-1], "\n") {
			t.lines[n-1] += t.end
		}
		t.insert(len(t.lines), append([]string{""}, strings.Split(strings.TrimSuffix(c.encode(), "\n"), "\n")...)...)
		return nil
	}
}

// Renaming gives the copy with an id another name.
func Renaming(id, name string) Change {
	return func(t *text) error {
		p, err := t.part(id)
		if err != nil {
			return err
		}
		before, after, ok := around(t.lines[p.name])
		if !ok {
			return t.byHand("the copy's name")
		}
		t.lines[p.name] = before + tomlline.Quote(name) + after
		return nil
	}
}

// WithKeys has the bucket with an id used with other credentials.
func WithKeys(id, credentials string) Change {
	return func(t *text) error {
		p, err := t.part(id)
		if err != nil {
			return err
		}
		if p.credentials >= 0 {
			before, after, ok := around(t.lines[p.credentials])
			if !ok {
				return t.byHand("the copy's credentials")
			}
			t.lines[p.credentials] = before + tomlline.Quote(credentials) + after
			return nil
		}
		if !strings.HasSuffix(t.lines[p.name], "\n") {
			t.lines[p.name] += t.end
		}
		t.insert(p.name+1, "credentials = "+tomlline.Quote(credentials))
		return nil
	}
}

// GivingUp marks the copy with an id as given up. It keeps its place.
func GivingUp(id string, day time.Time) Change {
	return func(t *text) error {
		p, err := t.part(id)
		if err != nil {
			return err
		}
		if !strings.HasSuffix(t.lines[p.name], "\n") {
			t.lines[p.name] += t.end
		}
		t.insert(p.name+1, "given_up = "+tomlline.Quote(day.Format(time.DateOnly))+"   # not used any more; linecamp says so when it turns up")
		return nil
	}
}

// TakingOut makes comments of the lines of the copy with an id, with a line
// above them that says why.
func TakingOut(id, why string) Change {
	return func(t *text) error {
		p, err := t.part(id)
		if err != nil {
			return err
		}
		for i := p.from; i <= p.to; i++ {
			t.lines[i] = "# " + t.lines[i]
		}
		t.insert(p.from, "# "+why)
		return nil
	}
}

// text is a settings file line by line, each with its end.
type text struct {
	path  string
	lines []string
	end   string // of lines, as the file has it
	tree  map[string]any
	at    tomlline.Lines
}

func (t *text) read(b []byte) error {
	t.end = "\n"
	if bytes.Contains(b, []byte("\r\n")) {
		t.end = "\r\n"
	}
	if _, err := parse(t.path, b); err != nil {
		return err
	}
	return t.find(b)
}

// find takes note of which line is which.
func (t *text) find(b []byte) error {
	t.lines = slices.Collect(strings.Lines(string(b)))
	f, top, err := Decode(t.path, b)
	if err == nil {
		t.tree, t.at = top.Left, f.Lines
	}
	return err
}

func (t *text) insert(at int, lines ...string) {
	for i := range lines {
		lines[i] += t.end
	}
	t.lines = slices.Insert(t.lines, at, lines...)
}

func (t *text) byHand(what string) error {
	return fault.Say(ErrEdit, "%s: linecamp does not find %s on a line of its own", t.path, what)
}

// part is where a copy stands, by the index of lines; credentials are -1 where none
// are named.
type part struct{ from, to, name, credentials int }

// part finds the copy with an id. Copies that are written inside a list, rather
// than below lines [[copy]], have no lines of their own.
func (t *text) part(id string) (part, error) {
	copies := (&table{File: &tomlline.File{}, Left: t.tree}).Subs("copy")
	i := slices.IndexFunc(copies, func(c *table) bool {
		s, _ := c.Left["id"].(string)
		return strings.EqualFold(strings.TrimSpace(s), id)
	})
	if i < 0 {
		return part{}, fault.Say(ErrEdit, "%s has no copy with the id %s", t.path, id)
	}
	path := fmt.Sprintf("copy[%d]", i)
	from, name := t.at[path], t.at[path+".name"]
	if from == 0 || name <= from || !strings.HasPrefix(strings.TrimSpace(t.lines[from-1]), "[[") {
		return part{}, t.byHand("this copy")
	}
	p := part{from: from - 1, to: len(t.lines) - 1, name: name - 1, credentials: t.at[path+".credentials"] - 1}
	for other, line := range t.at {
		if line > from && !strings.HasPrefix(other, path+".") {
			p.to = min(p.to, line-2)
		}
	}
	// Comments below the last setting may belong to what comes next.
	for p.to > p.name {
		if s := strings.TrimSpace(t.lines[p.to]); s != "" && !strings.HasPrefix(s, "#") {
			break
		}
		p.to--
	}
	return p, nil
}

// around splits a line such as `name = "shelf"  # note` around its value, which
// has to be a string on one line.
func around(line string) (before, after string, ok bool) {
	i := strings.IndexByte(line, '=') + 1
	rest := strings.TrimLeft(line[i:], " \t")
	before = line[:len(line)-len(rest)]
	if i == 0 || rest == "" || strings.HasPrefix(rest, `"""`) || strings.HasPrefix(rest, "'''") {
		return "", "", false
	}
	quote := rest[0]
	if quote != '"' && quote != '\'' {
		return "", "", false
	}
	for i := 1; i < len(rest); i++ {
		switch {
		case rest[i] == '\\' && quote == '"':
			i++
		case rest[i] == quote:
			return before, rest[i+1:], true
		}
	}
	return "", "", false
}
