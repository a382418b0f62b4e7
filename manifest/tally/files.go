package tally

import (
	"iter"
	"slices"

	"linecamp/manifest"
	"linecamp/manifest/packed"
)

// Files is a list of files, packed. An archive may hold a million of them, and
// all are in memory at once: a packed one takes some 70 bytes where a [File] with
// its path takes four times as much, and none of them gives the garbage collector
// anything to follow. The zero Files is an empty list.
type Files struct {
	in   *pack
	from uint32
	n    uint32
}

// pack holds lists of files that lie near each other. It is never changed once
// a list of it was handed out.
type pack struct {
	b      string
	prefix string // what the first path of every list is told against
}

// PackFiles makes a list of files.
func PackFiles(files ...File) Files {
	var p packer
	l := p.list(files)
	p.done()
	return l
}

// Len is the number of files.
func (l Files) Len() int { return int(l.n) }

// IsZero reports whether there are none.
func (l Files) IsZero() bool { return l.n == 0 }

// All yields the files in their order.
func (l Files) All() iter.Seq[File] {
	return func(yield func(File) bool) {
		if l.n == 0 {
			return
		}
		u := unpacker{Reader: packed.Of(l.in.b[l.from:])}
		u.was.Path = l.in.prefix
		for range l.n {
			if !yield(u.file()) {
				return
			}
		}
	}
}

// List is All as a slice.
func (l Files) List() []File {
	files := make([]File, 0, l.n)
	for f := range l.All() {
		files = append(files, f)
	}
	return files
}

var kinds = []manifest.Kind{"", manifest.KindPhoto, manifest.KindNote, manifest.KindCompanion, manifest.KindCard, manifest.KindOther}

// packer packs lists of files into one pack.
type packer struct {
	prefix string
	into   *pack
	packed.Writer
	was File
}

func (p *packer) list(files []File) Files {
	if len(files) == 0 {
		return Files{}
	}
	l := p.begin()
	for i := range files {
		p.file(&l, &files[i])
	}
	return l
}

// begin begins a list; file adds to the list begun last.
func (p *packer) begin() Files {
	if p.into == nil {
		p.into = &pack{prefix: p.prefix}
	}
	p.was = File{Path: p.into.prefix}
	return Files{in: p.into, from: uint32(len(p.B))}
}

// done makes the lists readable.
func (p *packer) done() {
	if p.into != nil {
		p.into.b = string(p.B)
	}
}

// file adds a file to a list.
func (p *packer) file(l *Files, f *File) {
	is := *f
	form(packed.Form{W: &p.Writer}, &is, &p.was, l.n == 0)
	l.n++
}

// unpacker reads what packer wrote. Texts share memory with the pack.
type unpacker struct {
	packed.Reader
	was File
}

func (u *unpacker) file() (f File) {
	form(packed.Form{R: &u.Reader}, &f, &u.was, false)
	if !f.Modified.IsZero() {
		f.Modified = f.Modified.Local()
	}
	return f
}

// form is the form of a packed file, some of it told against the file before it in the
// list, which it then becomes.
func form(p packed.Form, f, was *File, isFirst bool) {
	const (
		likeBefore = 1 << iota // visit and view are those of the file before
		noTime
		hasTaken
		hasWith
		hasPosition
		isExposed
		hasFault
		hasPicture // turn and size
	)
	flags := p.Flags(!isFirst && f.Visit == was.Visit && f.View == was.View, f.Modified.IsZero(), f.Taken != "", f.With != "",
		f.At != nil, f.Exposed, f.Fault != "", f.Turn != 0 || f.Width != 0 || f.Height != 0)
	const (
		kindBits   = 1<<3 - 1
		hasText    = 1 << 3 // topics, and whether it is blank
		hasCamera  = 1 << 4
		sameCamera = 1 << 5 // as the file before
	)
	second := byte(max(0, slices.Index(kinds, f.Kind)))
	if f.Topics != 0 || f.Blank {
		second |= hasText
	}
	if f.Camera != "" && f.Camera == was.Camera {
		second |= sameCamera
	} else if f.Camera != "" {
		second |= hasCamera
	}
	p.Byte(&second)
	f.Kind, f.Exposed = kinds[second&kindBits], flags&isExposed != 0
	p.Path(was.Path, &f.Path)
	packed.Number(p, &f.Size)
	packed.Digest(p, &f.SHA256)
	p.Fixed(&f.XXH64)
	p.If(flags&noTime == 0).Time(&f.Modified)
	if flags&likeBefore != 0 {
		f.Visit, f.View = was.Visit, was.View
	} else {
		p.Text(&f.Visit)
		p.Text(&f.View)
	}
	p.If(flags&hasTaken != 0).Text(&f.Taken)
	p.If(flags&hasWith != 0).Path(f.Path, &f.With)
	p.If(flags&hasPosition != 0).Fix(&f.At)
	p.If(flags&hasFault != 0).Text(&f.Fault)
	if flags&hasPicture != 0 {
		p.Byte(&f.Turn)
		packed.Number(p, &f.Width)
		packed.Number(p, &f.Height)
	}
	if second&hasText != 0 {
		packed.Number(p, &f.Topics)
		p.Flag(&f.Blank)
	}
	if second&sameCamera != 0 {
		f.Camera = was.Camera
	}
	p.If(second&hasCamera != 0).Text(&f.Camera)
	was.Path, was.Visit, was.View, was.Camera = f.Path, f.Visit, f.View, f.Camera
}
