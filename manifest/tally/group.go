package tally

import (
	"strings"

	"linecamp/manifest"
)

// One shutter release may leave several files: raw and JPEG, HEIC and JPEG,
// and small companions that carry a program's or a phone's own data. They are
// one picture. The photo is the file most programs can show; the others go
// with it.

// longestClip is the size up to which a .mov beside a phone's picture is taken
// as the few seconds the phone films around the shutter. From memory of common
// practice: such clips are 2 to 8 MB.
const longestClip = 32 << 20

// group finds the pictures among the files of one folder.
func group(files []sighting) {
	special := false
	for i := range files {
		f := files[i].form
		files[i].Kind = f.kind()
		special = special || f.picture() && f != formJPEG || f == formSidecar || f == formMovie
	}
	if !special {
		return
	}
	stems := make(map[string][]int, len(files))
	names := make(map[string]int, len(files))
	for i := range files {
		s := &files[i]
		if s.reason == "" && (s.form.picture() || s.form == formNote) {
			name := strings.ToLower(s.Path[nameAt(s.Path):])
			stems[stem(name)] = append(stems[stem(name)], i)
			if _, twice := names[name]; !twice {
				names[name] = i
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
		if s.form != formSidecar && s.form != formMovie {
			continue
		}
		base := stem(strings.ToLower(s.Path[nameAt(s.Path):]))
		of, ok := names[base] // IMG_1.JPG.xmp
		if !ok && len(stems[base]) > 0 {
			of, ok = leadOf(files, stems[base]), true
		}
		if ok && (s.form == formSidecar || files[of].form.picture() && s.Size <= longestClip) {
			s.goesWith(&files[of])
		}
	}
}

// leadOf returns which of some files of one stem is the photo: the first of
// the most common form.
func leadOf(files []sighting, same []int) int {
	lead := same[0]
	for _, i := range same[1:] {
		if files[i].form < files[lead].form {
			lead = i
		}
	}
	return lead
}

// onePicture reports whether b is another form of the picture a. Raw and HEIC
// beside it need no times to say so, only none that disagree; a PNG or TIFF
// may be a different scan, so both times must be there.
func onePicture(a, b *sighting, beside bool) bool {
	if !a.form.picture() || !b.form.picture() || a.form == b.form {
		return false
	}
	if a.Taken == "" || b.Taken == "" {
		return beside && (b.form == formRaw || b.form == formHEIC) && (a.form == formJPEG || a.form == formHEIC)
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
		mixed = mixed || s.Kind == manifest.KindPhoto && s.form != visit[0].form
	}
	if !mixed {
		return
	}
	leads := map[string]*sighting{}
	key := func(s *sighting) string {
		return s.Taken[:19] + strings.ToLower(stem(s.Path[nameAt(s.Path):]))
	}
	for _, s := range visit {
		if s.Kind == manifest.KindPhoto && s.Taken != "" {
			if l := leads[key(s)]; l == nil || s.form < l.form {
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
