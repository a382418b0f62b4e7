package tally

import (
	"strings"

	"linecamp/manifest"
	"linecamp/manifest/layout"
	"linecamp/manifest/names"
)

// One shutter release may leave several files: raw and JPEG, HEIC and JPEG,
// and small companions that carry a program's or a phone's own data. They are
// one picture. The photo is the file most programs can show; the others go
// with it.

// longestClip is the size up to which a .mov beside a phone's picture is taken
// as the few seconds the phone films around the shutter. Such clips are 2 to 8 MB
// (common practice, no source).
const longestClip = 32 << 20

// group finds the pictures among the files of one folder.
func group(files []sighting) {
	special := false
	for i := range files {
		f := files[i].said.Form
		files[i].Kind = f.Kind()
		special = special || f.IsPicture() && f != layout.JPEG || f == layout.Sidecar || f == layout.Movie
	}
	if !special {
		return
	}
	stems := make(map[string][]int, len(files))
	called := make(map[string]int, len(files))
	for i := range files {
		s := &files[i]
		if s.said.Form.IsPicture() || s.said.Form == layout.Note {
			name := strings.ToLower(names.Base(s.Path))
			stems[names.Stem(name)] = append(stems[names.Stem(name)], i)
			if _, twice := called[name]; !twice {
				called[name] = i
			}
		}
	}
	for _, same := range stems {
		lead := leadOf(files, same)
		for _, i := range same {
			if i != lead && onePicture(&files[lead], &files[i], true) {
				files[i].goesWith(&files[lead])
			}
		}
	}
	for i := range files {
		s := &files[i]
		if s.said.Form != layout.Sidecar && s.said.Form != layout.Movie {
			continue
		}
		base := names.Stem(strings.ToLower(names.Base(s.Path)))
		of, ok := called[base] // IMG_1.JPG.xmp
		if !ok && len(stems[base]) > 0 {
			of, ok = leadOf(files, stems[base]), true
		}
		if ok && (s.said.Form == layout.Sidecar || files[of].said.Form.IsPicture() && s.Size <= longestClip) {
			s.goesWith(&files[of])
		}
	}
}

// leadOf returns which of some files of one stem is the photo: the first of
// the most common form.
func leadOf(files []sighting, same []int) int {
	lead := same[0]
	for _, i := range same[1:] {
		if files[i].said.Form < files[lead].said.Form {
			lead = i
		}
	}
	return lead
}

// onePicture reports whether b is another form of the picture a. Raw and HEIC
// beside it need no times to say so, only none that disagree; a PNG or TIFF
// may be a different scan, so both times must be there.
func onePicture(a, b *sighting, beside bool) bool {
	if !a.said.Form.IsPicture() || !b.said.Form.IsPicture() || a.said.Form == b.said.Form {
		return false
	}
	if a.Taken == "" || b.Taken == "" {
		return beside && (b.said.Form == layout.Raw || b.said.Form == layout.HEIC) && (a.said.Form == layout.JPEG || a.said.Form == layout.HEIC)
	}
	return a.Taken[:19] == b.Taken[:19]
}

// goesWith makes s a companion of lead.
func (s *sighting) goesWith(lead *sighting) {
	for lead.lead != nil {
		lead = lead.lead
	}
	if s == lead {
		return
	}
	s.Kind, s.With, s.lead = manifest.KindCompanion, lead.Path, lead
}

// groupAcross finds raw files kept in a folder of their own within a visit:
// one stem and one capture time.
func groupAcross(visit []*sighting) {
	mixed := false
	for _, s := range visit {
		mixed = mixed || s.Kind == manifest.KindPhoto && s.said.Form != visit[0].said.Form
	}
	if !mixed {
		return
	}
	leads := map[string]*sighting{}
	key := func(s *sighting) string {
		return s.Taken[:19] + strings.ToLower(names.Stem(names.Base(s.Path)))
	}
	for _, s := range visit {
		if s.Kind == manifest.KindPhoto && s.Taken != "" {
			if l := leads[key(s)]; l == nil || s.said.Form < l.said.Form {
				leads[key(s)] = s
			}
		}
	}
	for _, s := range visit {
		if s.Kind == manifest.KindPhoto && s.Taken != "" {
			if l := leads[key(s)]; l != s && onePicture(l, s, false) {
				s.goesWith(l)
			}
		}
	}
}
