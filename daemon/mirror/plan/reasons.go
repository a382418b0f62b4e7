package plan

import "linecamp/daemon/attention"

// Reasons that a path waits, as the report gives them. Each ends where the sentence
// "waiting: …" ends, holds of one file and of many, and names what to do where a
// person is needed.
const (
	ReasonDamaged   = "bytes changed though size and time did not, which looks like damage; `linecamp mend` brings the good bytes back"
	ReasonEmpty     = "your folder shows no file at all; see whether the right disk is mounted"
	ReasonDevice    = "your folder is on another disk than last time and files are missing there; look, then run `linecamp mirror --accept-changes`"
	ReasonUnproven  = "bytes and time differ from what is recorded, and this computer no longer remembers what was there before; look, then run `linecamp mirror --accept-changes`"
	ReasonMass      = "more than a fifth of the known files changed or vanished at once; look, then run `linecamp mirror --accept-changes`"
	ReasonAgain     = "over a tenth of the archive would be stored again under another site; look at the folder names, then run `linecamp mirror --accept-changes`"
	ReasonBehind    = "the site's folder has another name now, and a file that waits was left behind under the old one; see to that file first"
	ReasonHidden    = "the site's folder has another name now, and not all in that folder can be read yet; the next round looks again"
	ReasonMoving    = "no longer there, and perhaps only moved to a name in this folder that cannot be read yet; the next round looks again"
	ReasonMoved     = "the same bytes are on record under another name, which is not seen now; once that name is surely gone, linecamp records both changes together"
	ReasonSeveral   = "one folder holds pictures of several sites whose folders vanished; give each site its own folder again, or run `linecamp mirror --accept-changes`"
	ReasonNewer     = "newer bytes are on record, and your folder never had them; move the older bytes away, then bring the newer with `linecamp restore --everything --into FOLDER`"
	ReasonInventory = "no copy in reach has the site's manifest; bring the copies within reach"
)

// AskUnfiled is what a report asks where nothing waits for the answer.
const AskUnfiled = "over a fifth of the photos have no site, so the folder may not be understood, though all of them are kept; see `linecamp tally`, set `layout` in the settings, or say that it is right with `linecamp mirror --accept-changes`"

// KindOf is what sort of thing waits for a reason of this package.
func KindOf(reason string) attention.Kind {
	switch reason {
	case ReasonEmpty:
		return attention.FolderEmpty
	case ReasonDevice, ReasonUnproven, ReasonNewer, ReasonMass, ReasonAgain, ReasonSeveral:
		return attention.ChangeWaits
	case AskUnfiled:
		return attention.ManyUnfiled
	}
	return attention.FileWaits
}
