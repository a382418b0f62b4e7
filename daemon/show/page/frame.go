package page

import (
	"bytes"
	"context"
	"errors"
	"html/template"
	"net/http"
	"strings"

	"linecamp/manifest/words"
	"linecamp/verify"
	"linecamp/verify/history"
	"linecamp/verify/restore"
)

// frame is what stands around every view.
type frame struct {
	Title   string
	Archive string // "" where the view is of none or of several
	Base    string // the archive's address on the page, without a slash at its end
	Door    string
	Token   string
	Now     string // which of the views this is: "stand", "years", "work"
	Several bool   // there are other archives, and a roll-up of them
}

func (s *Server) frame(b *book, now, title string) frame {
	f := frame{Title: title, Door: s.gate.Door(), Token: s.gate.Token(), Now: now, Several: s.several()}
	if b != nil {
		f.Archive, f.Base = b.Name(), s.gate.Door()+"/a/"+b.Name()
	}
	return f
}

func (s *Server) several() bool { return len(s.books)+len(s.faults) > 1 }

var templates = func() map[string]*template.Template {
	all := map[string]*template.Template{}
	funcs := template.FuncMap{"shown": verify.Shown, "size": words.Size, "dict": dict, "clock": words.When, "spoken": spoken, "caution": func() string { return words.FieldCaution }}
	for _, name := range []string{"stand", "years", "findings", "site", "versions", "note", "work", "changes", "card", "job", "roll", "fault"} {
		all[name] = template.Must(template.New("frame.html").Funcs(funcs).ParseFS(embedded, "html/frame.html", "html/"+name+".html"))
	}
	return all
}()

// spoken is a sentence, with the command lines in it, which stand between
// backticks, set as such.
func spoken(text string) template.HTML {
	parts := strings.Split(text, "`")
	var b strings.Builder
	for i, p := range parts {
		switch {
		case i%2 == 0:
			template.HTMLEscape(&b, []byte(p))
		case i == len(parts)-1: // none closes it
			template.HTMLEscape(&b, []byte("`"+p))
		default:
			b.WriteString("<code>")
			template.HTMLEscape(&b, []byte(p))
			b.WriteString("</code>")
		}
	}
	return template.HTML(b.String())
}

// dict hands several values to a template within a template.
func dict(pairs ...any) map[string]any {
	m := map[string]any{}
	for i := 0; i+1 < len(pairs); i += 2 {
		m[pairs[i].(string)] = pairs[i+1]
	}
	return m
}

// show writes a view. It is made whole before a byte is sent, so that a fault in
// the middle does not look like the end.
func show(w http.ResponseWriter, name string, status int, v any) error {
	var b bytes.Buffer
	if err := templates[name].Execute(&b, v); err != nil {
		return err
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	_, _ = b.WriteTo(w) // whoever asked may be gone
	return nil
}

// faultView says that something went wrong.
type faultView struct {
	frame
	Text string
}

func (s *Server) fault(w http.ResponseWriter, r *http.Request, b *book, err error) {
	if r.Context().Err() != nil && errors.Is(err, context.Canceled) {
		return // nobody is there any more
	}
	status, text, line := http.StatusInternalServerError, err.Error(), words.Line{}
	if b != nil {
		line = b.Line
	}
	switch {
	case errors.Is(err, errNothing), errors.Is(err, history.ErrNoSite):
		status = http.StatusNotFound
	case errors.Is(err, errAsked), errors.Is(err, restore.ErrAsked):
		status = http.StatusBadRequest
	}
	v := faultView{s.frame(b, "", "That did not work"), line.Text(verify.Shown(text))}
	if err := show(w, "fault", status, v); err != nil {
		s.log.Error("the page cannot say what went wrong", "error", err)
	}
}

// errAsked marks a form that asks for what cannot be meant.
var errAsked = errors.New("this cannot be asked for")
