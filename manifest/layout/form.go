package layout

import (
	"strings"

	"linecamp/manifest"
	"linecamp/manifest/names"
)

// Form is what an extension says of a file's content.
type Form int

const (
	Other Form = iota
	JPEG
	HEIC
	PNG
	TIFF
	Raw
	Note
	Card
	Sidecar
	Movie // .mov, which beside a phone's picture of the same stem is part of it
)

// forms are the extensions the trade's cameras, phones and offices write.
// (common practice, no source); what is not here is kept all the same, as other.
var forms = map[string]Form{
	"jpg": JPEG, "jpeg": JPEG, "jpe": JPEG, "jfif": JPEG,
	"heic": HEIC, "heif": HEIC, "hif": HEIC,
	"png": PNG, "tif": TIFF, "tiff": TIFF,
	"dng": Raw, "cr2": Raw, "cr3": Raw, "crw": Raw, "nef": Raw, "nrw": Raw, "arw": Raw,
	"srf": Raw, "sr2": Raw, "pef": Raw, "orf": Raw, "rw2": Raw, "raf": Raw, "rwl": Raw,
	"srw": Raw, "x3f": Raw, "3fr": Raw, "iiq": Raw, "erf": Raw, "mrw": Raw, "kdc": Raw, "dcr": Raw,
	"txt": Note, "md": Note, "rtf": Note, "pdf": Note, "doc": Note, "docx": Note, "odt": Note,
	"pages": Note, "wpd": Note, "csv": Note, "xls": Note, "xlsx": Note, "ods": Note,
	"htm": Note, "html": Note,
	"gpx": Card,
	"xmp": Sidecar, "aae": Sidecar, "thm": Sidecar,
	"mov": Movie,
}

// IsPicture reports whether the form is of a photo.
func (f Form) IsPicture() bool { return f >= JPEG && f <= Raw }

// The names of cards.
const (
	SiteCard    = "site.toml"
	PastureCard = "pasture.toml"
)

// CardFolder is the folder, at the top of the working folder, where the card of any
// site may lie under the site's name, whatever the layout.
const CardFolder = "sites"

// FormOf tells a file's form by its name alone.
func FormOf(name string) Form {
	if strings.EqualFold(name, SiteCard) || strings.EqualFold(name, PastureCard) {
		return Card
	}
	if strings.HasPrefix(name, "~$") || strings.HasPrefix(name, ".~lock.") {
		return Other // an office program's mark that a document is open, not a document
	}
	f := forms[names.Extension(name)]
	if f.IsPicture() && scannedNote(names.Stem(name)) {
		return Note
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
	words := names.Split(stem)
	for i, w := range words {
		switch w.Text {
		case "note", "notes", "fieldnotes", "datasheet", "datasheets":
			return true
		case "sheet", "sheets":
			if i > 0 && (words[i-1].Text == "field" || words[i-1].Text == "data") {
				return true
			}
		}
	}
	return false
}

// Kind is the form's first answer; pictures of one shutter release and
// sidecars are told apart later, when their neighbors are known.
func (f Form) Kind() manifest.Kind {
	switch {
	case f.IsPicture():
		return manifest.KindPhoto
	case f == Note:
		return manifest.KindNote
	case f == Card:
		return manifest.KindCard
	case f == Sidecar:
		return manifest.KindCompanion
	}
	return manifest.KindOther
}
