package tally

import (
	"strings"

	"linecamp/manifest"
)

// form is what an extension says of a file's content.
type form int

const (
	formOther form = iota
	formJPEG
	formHEIC
	formPNG
	formTIFF
	formRaw
	formNote
	formCard
	formSidecar
	formMovie // .mov, which beside a phone's picture of the same stem is part of it
)

// forms are the extensions the trade's cameras, phones and offices write.
// From common practice; what is not here is kept all the same, as other.
var forms = map[string]form{
	"jpg": formJPEG, "jpeg": formJPEG, "jpe": formJPEG, "jfif": formJPEG,
	"heic": formHEIC, "heif": formHEIC, "hif": formHEIC,
	"png": formPNG, "tif": formTIFF, "tiff": formTIFF,
	"dng": formRaw, "cr2": formRaw, "cr3": formRaw, "crw": formRaw, "nef": formRaw, "nrw": formRaw, "arw": formRaw,
	"srf": formRaw, "sr2": formRaw, "pef": formRaw, "orf": formRaw, "rw2": formRaw, "raf": formRaw, "rwl": formRaw,
	"srw": formRaw, "x3f": formRaw, "3fr": formRaw, "iiq": formRaw, "erf": formRaw, "mrw": formRaw, "kdc": formRaw, "dcr": formRaw,
	"txt": formNote, "md": formNote, "rtf": formNote, "pdf": formNote, "doc": formNote, "docx": formNote, "odt": formNote,
	"pages": formNote, "wpd": formNote, "csv": formNote, "xls": formNote, "xlsx": formNote, "ods": formNote,
	"htm": formNote, "html": formNote,
	"gpx": formCard,
	"xmp": formSidecar, "aae": formSidecar, "thm": formSidecar,
	"mov": formMovie,
}

const longestExtension = 5

// lower appends s to b with ASCII capitals made small.
func lower(b []byte, s string) []byte {
	for i := range len(s) {
		c := s[i]
		if c >= 'A' && c <= 'Z' {
			c += 'a' - 'A'
		}
		b = append(b, c)
	}
	return b
}

// picture reports whether the form is of a photo.
func (f form) picture() bool { return f >= formJPEG && f <= formRaw }

const (
	siteCard    = "site.toml"
	pastureCard = "pasture.toml"
)

// CardFolder is the folder, at the top of the working folder, where the card of any
// site may lie under the site's name, whatever the layout.
const CardFolder = "sites"

// formOf tells a file's form by its name alone.
func formOf(name string) form {
	if strings.EqualFold(name, siteCard) || strings.EqualFold(name, pastureCard) {
		return formCard
	}
	if strings.HasPrefix(name, "~$") || strings.HasPrefix(name, ".~lock.") {
		return formOther // an office program's mark that a document is open, not a document
	}
	f := formOther
	if i := strings.LastIndexByte(name, '.'); i > 0 && len(name)-i-1 <= longestExtension {
		var low [longestExtension]byte // no copy on the heap: this is asked of every file
		f = forms[string(lower(low[:0], name[i+1:]))]
	}
	if f.picture() && scannedNote(stem(name)) {
		return formNote
	}
	return f
}

// scannedNote reports whether a picture is said to be of a sheet of paper:
// "2019 field notes.jpg", "datasheet.png".
func scannedNote(stem string) bool {
	// Cheap answer first, for the names that cameras give.
	if len(stem) < len("note") || !strings.ContainsAny(stem, "tT") {
		return false
	}
	words := split(stem)
	for i, w := range words {
		switch w.text {
		case "note", "notes", "fieldnotes", "datasheet", "datasheets":
			return true
		case "sheet", "sheets":
			if i > 0 && (words[i-1].text == "field" || words[i-1].text == "data") {
				return true
			}
		}
	}
	return false
}

// kind is the form's first answer; pictures of one shutter release and
// sidecars are told apart later, when their neighbours are known.
func (f form) kind() manifest.Kind {
	switch {
	case f.picture():
		return manifest.KindPhoto
	case f == formNote:
		return manifest.KindNote
	case f == formCard:
		return manifest.KindCard
	case f == formSidecar:
		return manifest.KindCompanion
	}
	return manifest.KindOther
}
