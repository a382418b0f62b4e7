package walk

import (
	"slices"
	"strings"

	"linecamp/manifest/names"
)

// Litter is what operating systems and cameras leave lying about by
// themselves, which no person made and no person would miss. It is left out of
// the archive. The list is short on purpose: what is not on it is kept. The
// names are common practice, no source.
//
//	files of desktops    Thumbs.db, ehthumbs.db, desktop.ini, .DS_Store, .directory, ._*
//	folders of desktops  $RECYCLE.BIN, System Volume Information, .Trash-*,
//	                     .Trashes, .Spotlight-V100, .fseventsd, .TemporaryItems, lost+found
//	camera indexes       *.CTG, NIKON001.DSC, NC_FLLST.DAT, AUTPRINT.MRK
//	a broken-off restore .linecamp-restore- and 16 hex digits: half a file, not yet under its name

// mostLeftOut is how many names of litter a walk keeps, to show what is left out.
const mostLeftOut = 100

// leaveOut keeps the first names of what is left out, whatever order they came in.
func (f *Found) leaveOut(more []string) {
	f.LeftOut = append(f.LeftOut, more...)
	slices.Sort(f.LeftOut)
	f.LeftOut = f.LeftOut[:min(len(f.LeftOut), mostLeftOut)]
}

var litterFiles = map[string]bool{
	"thumbs.db": true, "ehthumbs.db": true, "desktop.ini": true, ".ds_store": true, ".directory": true,
	"nc_fllst.dat": true, "autprint.mrk": true,
}

var litterFolders = map[string]bool{
	"$recycle.bin": true, "system volume information": true, ".trashes": true,
	".spotlight-v100": true, ".fseventsd": true, ".temporaryitems": true, "lost+found": true,
}

// litterFile reports whether a regular file of this name is litter.
func litterFile(name string) bool {
	if strings.HasPrefix(name, "._") {
		return true
	}
	if digits, ours := strings.CutPrefix(name, ".linecamp-restore-"); ours {
		return len(digits) == 16 && strings.Trim(digits, "0123456789abcdef") == ""
	}
	// Cheap answers first: this is asked of every name in the archive.
	switch name[0] {
	case 'T', 't', 'e', 'E', 'd', 'D', '.', 'N', 'n', 'A', 'a':
		low := strings.ToLower(name)
		if litterFiles[low] {
			return true
		}
		if len(low) == len("nikon001.dsc") && strings.HasPrefix(low, "nikon") && strings.HasSuffix(low, ".dsc") {
			return names.Digits(low[5:8])
		}
	}
	return len(name) > 4 && strings.EqualFold(name[len(name)-4:], ".ctg")
}

// litterFolder reports whether everything below a folder of this name is litter.
func litterFolder(name string) bool {
	switch name[0] {
	case '.', '$', 'S', 's', 'L', 'l':
		return strings.HasPrefix(name, ".Trash-") || litterFolders[strings.ToLower(name)]
	}
	return false
}
