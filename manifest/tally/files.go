package tally

import (
	"iter"

	"linecamp/manifest"
	"linecamp/manifest/facts"
	"linecamp/manifest/geo"
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

// What the first byte of a packed file says.
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

// What the second says; the kind stands in its last bits.
const (
	kindBits   = 1<<3 - 1
	hasText    = 1 << 3 // topics, and whether it is blank
	hasCamera  = 1 << 4
	sameCamera = 1 << 5 // as the file before
)

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

func (p *packer) file(l *Files, f *File) {
	flags := byte(0)
	set := func(flag byte, has bool) {
		if has {
			flags |= flag
		}
	}
	like := l.n > 0 && f.Visit == p.was.Visit && f.View == p.was.View
	set(likeBefore, like)
	set(noTime, f.Modified.IsZero())
	set(hasTaken, f.Taken != "")
	set(hasWith, f.With != "")
	set(hasPosition, f.At != nil)
	set(isExposed, f.Exposed)
	set(hasFault, f.Fault != "")
	kind := 0
	for i, k := range kinds {
		if k == f.Kind {
			kind = i
		}
	}
	second := byte(kind)
	set(hasPicture, f.Turn != 0 || f.Width != 0 || f.Height != 0)
	if f.Topics != 0 || f.Blank {
		second |= hasText
	}
	if f.Camera != "" && f.Camera == p.was.Camera {
		second |= sameCamera
	} else if f.Camera != "" {
		second |= hasCamera
	}
	p.Byte(flags, second)
	p.Path(p.was.Path, f.Path)
	p.Number(uint64(f.Size))
	p.Digest(f.SHA256)
	p.Fixed(f.XXH64)
	if flags&noTime == 0 {
		p.Time(f.Modified)
	}
	if !like {
		p.Text(f.Visit)
		p.Text(f.View)
	}
	if f.Taken != "" {
		p.Text(f.Taken)
	}
	if f.With != "" {
		p.Path(f.Path, f.With)
	}
	if f.At != nil {
		for _, n := range []float64{f.At.Latitude, f.At.Longitude, f.At.Error} {
			p.Float(n)
		}
	}
	if f.Fault != "" {
		p.Text(f.Fault)
	}
	if flags&hasPicture != 0 {
		p.Byte(f.Turn)
		p.Number(uint64(f.Width))
		p.Number(uint64(f.Height))
	}
	if second&hasText != 0 {
		p.Number(uint64(f.Topics))
		p.Flag(f.Blank)
	}
	if second&hasCamera != 0 {
		p.Text(f.Camera)
	}
	l.n++
	p.was.Path, p.was.Visit, p.was.View, p.was.Camera = f.Path, f.Visit, f.View, f.Camera
}

// unpacker reads what packer wrote. Texts share memory with the pack.
type unpacker struct {
	packed.Reader
	was File
}

func (u *unpacker) file() File {
	flags, second := u.Byte(), u.Byte()
	f := File{Kind: kinds[second&kindBits], Visit: u.was.Visit, View: u.was.View}
	f.Exposed = flags&isExposed != 0
	f.Path = u.Path(u.was.Path)
	f.Size = int64(u.Number())
	f.SHA256 = u.Digest()
	f.XXH64 = u.Fixed()
	if flags&noTime == 0 {
		f.Modified = u.Time().Local()
	}
	if flags&likeBefore == 0 {
		f.Visit, f.View = u.Text(), u.Text()
	}
	if flags&hasTaken != 0 {
		f.Taken = u.Text()
	}
	if flags&hasWith != 0 {
		f.With = u.Path(f.Path)
	}
	if flags&hasPosition != 0 {
		f.At = &geo.Fix{}
		for _, n := range []*float64{&f.At.Latitude, &f.At.Longitude, &f.At.Error} {
			*n = u.Float()
		}
	}
	if flags&hasFault != 0 {
		f.Fault = u.Text()
	}
	if flags&hasPicture != 0 {
		f.Turn = u.Byte()
		f.Width, f.Height = uint32(u.Number()), uint32(u.Number())
	}
	if second&hasText != 0 {
		f.Topics = facts.Topics(u.Number())
		f.Blank = u.Flag()
	}
	switch {
	case second&sameCamera != 0:
		f.Camera = u.was.Camera
	case second&hasCamera != 0:
		f.Camera = u.Text()
	}
	u.was.Path, u.was.Visit, u.was.View, u.was.Camera = f.Path, f.Visit, f.View, f.Camera
	return f
}
