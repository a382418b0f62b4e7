package page

import (
	"bytes"
	"context"
	"errors"
	"io"
	"mime"
	"net/http"
	"os"
	"path"
	"strings"
	"time"
	"unicode/utf8"

	"linecamp/daemon"
	"linecamp/daemon/reach"
	"linecamp/daemon/show/page/small"
	"linecamp/manifest"
	"linecamp/manifest/facts"
	"linecamp/verify"
)

var sizes = map[string]small.Size{"strip": small.Strip, "large": small.Large, "fine": small.Fine}

// asked finds the file that a request names.
func (b *book) asked(r *http.Request) (*file, error) {
	return b.named(r.Context(), r.PathValue("file"))
}

func (b *book) named(ctx context.Context, key string) (*file, error) {
	read, err := b.read(ctx, false)
	if err != nil {
		return nil, err
	}
	f := read.files[key]
	if f == nil {
		return nil, errNothing
	}
	return f, nil
}

// picture answers with a small picture. Its address names its bytes, so that a
// browser may keep it as long as the page is open.
func (s *Server) picture(w http.ResponseWriter, r *http.Request, b *book) error {
	size, ok := sizes[r.PathValue("size")]
	if !ok {
		return errNothing
	}
	name, was := strings.CutPrefix(r.PathValue("file"), wasKey)
	f, err := b.named(r.Context(), name)
	if err != nil {
		return err
	}
	if !f.photo() || !canShow(f) {
		return errNothing
	}
	photo := b.photoOf(f)
	if was {
		photo = b.recorded(f)
	}
	p, err := b.shelf.Get(r.Context(), photo, size)
	switch {
	case errors.Is(err, small.ErrCannot), errors.Is(err, small.ErrOther), errors.Is(err, daemon.ErrNotHere), errors.Is(err, reach.ErrNoReach):
		w.Header().Set("Content-Type", "text/plain; charset=utf-8")
		w.WriteHeader(http.StatusUnprocessableEntity)
		io.WriteString(w, sentence(err))
		return nil
	case err != nil:
		return err
	}
	defer p.Close()
	w.Header().Set("Content-Type", "image/jpeg")
	w.Header().Set("Cache-Control", "private, max-age=3600, immutable")
	http.ServeContent(w, r, "", time.Time{}, p)
	return nil
}

func sentence(err error) string {
	text := verify.Shown(err.Error())
	if text == "" {
		return text
	}
	return strings.ToUpper(text[:1]) + text[1:] + "."
}

// photoOf is a photo as the shelf wants it.
func (b *book) photoOf(f *file) small.Photo {
	if f.File != nil {
		return small.Photo{Digest: f.File.SHA256, Turn: int(f.File.Turn), Open: func(context.Context) (small.Source, error) {
			return b.OpenWorking(f.Path)
		}}
	}
	return b.recorded(f)
}

// recorded is a photo as it is on record, from a copy. Its digest is in the record
// of its version, which is looked at only when it is opened; until then it goes by a
// name of its own.
func (b *book) recorded(f *file) small.Photo {
	sum := manifest.Sum([]byte("recorded " + f.object() + " " + f.key))
	return small.Photo{Digest: sum, Open: func(ctx context.Context) (small.Source, error) { return b.fetch(ctx, f) }, Trusted: true,
		Turned: func(r io.ReadSeeker) int { return facts.Turn(r, path.Ext(f.Path)) }}
}

// mostFetched is how large a picture of a copy may be: it is held in memory.
const mostFetched = 64 << 20

// fetch reads a picture from a copy, and checks its bytes.
func (b *book) fetch(ctx context.Context, f *file) (small.Source, error) {
	in, sum, _, err := b.OpenKept(ctx, f.object(), f.Path)
	if err != nil {
		return nil, err
	}
	defer in.Close()
	raw, err := io.ReadAll(io.LimitReader(in, mostFetched+1))
	switch {
	case err != nil:
		return nil, err
	case len(raw) > mostFetched:
		return nil, small.ErrCannot
	case manifest.Sum(raw) != sum:
		return nil, small.ErrOther
	}
	return source{bytes.NewReader(raw)}, nil
}

type source struct{ *bytes.Reader }

func (source) Close() error { return nil }

// object is the object a file is filed under.
func (f *file) object() string {
	if f.Of != "" {
		return f.Of
	}
	return f.site.Object
}

// save hands out a file as it is, to be saved and never shown: whatever is in it,
// no browser takes it for a page of this address.
func (s *Server) save(w http.ResponseWriter, r *http.Request, b *book) error {
	f, err := b.asked(r)
	if err != nil {
		return err
	}
	head := w.Header()
	head.Set("Content-Type", "application/octet-stream")
	head.Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": fileName(f.Path)}))
	head.Set("Content-Security-Policy", "sandbox; default-src 'none'")
	if f.File != nil {
		in, err := b.OpenWorking(f.Path)
		if err != nil {
			dropHeads(head)
			return err
		}
		defer in.Close()
		http.ServeContent(w, r, "", time.Time{}, in)
		return nil
	}
	in, err := b.fetch(r.Context(), f)
	if err != nil {
		dropHeads(head)
		return err
	}
	defer in.Close()
	http.ServeContent(w, r, "", time.Time{}, in)
	return nil
}

func dropHeads(head http.Header) {
	head.Del("Content-Disposition")
}

// fileName is a name that a browser may save under.
func fileName(p string) string {
	name := strings.Map(func(c rune) rune {
		if c < ' ' || c == 0x7f || strings.ContainsRune(`/\:*?"<>|`, c) || c == utf8.RuneError {
			return '_'
		}
		return c
	}, path.Base(p))
	return strings.TrimLeft(name, ".")
}

// noteView is a note to be read.
type noteView struct {
	frame
	Site, Key, Path, Visit string
	SiteKey                string
	Text                   string
	Cut                    bool
}

// mostNote is how much of a note is shown, in bytes.
const mostNote = 256 << 10

func (s *Server) note(w http.ResponseWriter, r *http.Request, b *book) error {
	f, err := b.asked(r)
	if err != nil {
		return err
	}
	if f.photo() || !isText(f.Path) {
		return errNothing
	}
	var in io.ReadCloser
	if f.File != nil {
		var here *os.File
		here, err = b.OpenWorking(f.Path)
		in = here
	} else {
		in, err = b.fetch(r.Context(), f)
	}
	if err != nil {
		return err
	}
	defer in.Close()
	raw, err := io.ReadAll(io.LimitReader(in, mostNote+1))
	if err != nil {
		return err
	}
	v := noteView{frame: s.frame(b, "years", path.Base(verify.Shown(f.Path))), Key: f.key, Path: verify.Shown(f.Path), Visit: dated(f.Visit), Site: f.site.label(), SiteKey: f.site.key}
	if v.Cut = len(raw) > mostNote; v.Cut {
		raw = raw[:mostNote]
	}
	v.Text = readable(string(raw))
	return show(w, "note", http.StatusOK, v)
}

// readable leaves of a text what can be read: lines, tabs and what has a shape.
func readable(s string) string {
	s = strings.ToValidUTF8(strings.TrimPrefix(s, "\ufeff"), "\ufffd")
	s = strings.ReplaceAll(strings.ReplaceAll(s, "\r\n", "\n"), "\r", "\n")
	return strings.Map(func(c rune) rune {
		switch {
		case c == '\n' || c == '\t':
			return c
		case c < ' ' || c == 0x7f, c >= 0x202a && c <= 0x202e, c >= 0x2066 && c <= 0x2069:
			return '\ufffd'
		}
		return c
	}, s)
}

// versionsView is a site's versions.
type versionsView struct {
	frame
	Site, Key string
	History   daemon.HistoryReport
	Fault     string
	Line      string
}

// versions asks the nearest copy, which may take a while: it is a view of its own.
func (s *Server) versions(w http.ResponseWriter, r *http.Request, b *book) error {
	read, err := b.read(r.Context(), false)
	if err != nil {
		return err
	}
	x := read.bySite[r.PathValue("site")]
	if x == nil {
		return errNothing
	}
	v := versionsView{frame: s.frame(b, "years", "Versions of "+x.label()), Site: x.label(), Key: x.key, Line: b.Line.Run("history", x.asked())}
	if v.History, err = b.History(r.Context(), x.key, ""); err != nil {
		v.Fault = sentence(err)
	}
	return show(w, "versions", http.StatusOK, v)
}
