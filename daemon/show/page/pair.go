package page

import (
	"cmp"
	"fmt"
	"net/url"
	"path"
	"slices"
	"strings"

	"linecamp/manifest/tally"
	"linecamp/verify"
	"linecamp/verify/gather"
)

// pair is two pictures of one view, large: beside each other, or one over the other.
type pair struct {
	View        string
	Left, Right large
	Over        bool
	Beside, Lay string // links to the one and to the other
}

// thumb is one picture of the strip, with the links that make it one of the two.
type thumb struct {
	picture
	ToLeft, ToRight string
}

// large is one of the two.
type large struct {
	picture
	Side    string
	Path    string
	Camera  string
	Choices []choice // the first, last year's, the newest, and those beside this one
	Src     string   // its address
}

type choice struct {
	Word, Key, Href string
	None            bool // there is none: this picture is the first, or the newest
}

// addPictures fills the strip of one view, and picks the two large pictures as the
// address asks.
func (v *siteView) addPictures(x *site, q url.Values) {
	byView := map[string][]*file{}
	for _, f := range x.files {
		switch {
		case !f.photo():
		case !canShow(f):
			v.Unshown = append(v.Unshown, paperOf(f))
		default:
			byView[f.View] = append(byView[f.View], f)
		}
	}
	var views []string
	for view := range byView {
		views = append(views, view)
	}
	slices.SortFunc(views, func(a, b string) int {
		return cmp.Or(cmp.Compare(len(byView[b]), len(byView[a])), strings.Compare(a, b))
	})
	if len(views) == 0 {
		return
	}
	now := q.Get("view")
	if byView[now] == nil {
		now = views[0]
	}
	for _, view := range views {
		v.Views = append(v.Views, viewLink{viewWord(view), "?" + url.Values{"view": {view}}.Encode(), view == now, len(byView[view])})
	}
	slices.SortFunc(v.Views, func(a, b viewLink) int { return strings.Compare(a.View, b.View) })
	files := byView[now]
	left, right := chosen(files, q.Get("left"), 0), chosen(files, q.Get("right"), len(files)-1)
	over := q.Get("how") == "over"
	p := &pair{View: viewWord(now), Over: over}
	link := func(left, right *file, over bool) string {
		l := url.Values{"view": {now}, "left": {left.key}, "right": {right.key}}
		if over {
			l.Set("how", "over")
		}
		return "?" + l.Encode()
	}
	for _, f := range files {
		p := pictureOf(f, f == left, f == right)
		v.Strip = append(v.Strip, thumb{p, link(f, right, over), link(left, f, over)})
	}
	src := func(l *large) { l.Src = v.Base + "/picture/large/" + l.Key }
	p.Beside, p.Lay = link(left, right, false), link(left, right, true)
	p.Left = largeOf(files, left, "left", func(f *file) string { return link(f, right, over) })
	p.Right = largeOf(files, right, "right", func(f *file) string { return link(left, f, over) })
	src(&p.Left)
	src(&p.Right)
	v.Pair = p
}

func chosen(files []*file, key string, otherwise int) *file {
	for _, f := range files {
		if f.key == key {
			return f
		}
	}
	return files[otherwise]
}

func pictureOf(f *file, left, right bool) picture {
	return picture{Key: f.key, Alt: alt(f), Visit: dated(f.Visit), Year: fmt.Sprintf("%.4s", f.Visit), Kept: f.File == nil, Left: left, Right: right}
}

// alt tells of a picture in words: site, view and date.
func alt(f *file) string {
	return fmt.Sprintf("%s, %s, %s", f.site.label(), viewWord(f.View), cmp.Or(dated(f.Visit), "no date"))
}

func viewWord(view string) string {
	if view == tally.Untold || view == "" {
		return "view not known"
	}
	return verify.Shown(view)
}

func largeOf(files []*file, f *file, side string, link func(*file) string) large {
	l := large{picture: pictureOf(f, false, false), Side: side, Path: verify.Shown(f.Path)}
	if f.File != nil {
		l.Camera = verify.Shown(f.File.Camera)
	}
	add := func(word string, o *file) {
		if o == nil {
			l.Choices = append(l.Choices, choice{word, f.key, link(f), true})
			return
		}
		l.Choices = append(l.Choices, choice{word, o.key, link(o), false})
	}
	at := slices.Index(files, f)
	add("First", files[0])
	beside := func(i int) *file {
		if i < 0 || i >= len(files) {
			return nil
		}
		return files[i]
	}
	add("Earlier", beside(at-1))
	add("Later", beside(at+1))
	newest := files[len(files)-1]
	add("Last year’s", lastYears(files, newest))
	add("Newest", newest)
	return l
}

// lastYears is the newest picture of a year before that of the newest one.
func lastYears(files []*file, newest *file) *file {
	for i := len(files) - 1; i >= 0; i-- {
		if fmt.Sprintf("%.4s", files[i].Visit) < fmt.Sprintf("%.4s", newest.Visit) {
			return files[i]
		}
	}
	return nil
}

// canShow reports whether a picture's format is one that can be shown.
func canShow(f *file) bool {
	if f.Where == gather.Nowhere {
		return false
	}
	switch strings.ToLower(path.Ext(f.Path)) {
	case ".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic", ".heif":
		return true
	}
	return false
}
