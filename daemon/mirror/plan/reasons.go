package plan

import "linecamp/daemon/attention"

// Reasons that a path waits, as the report gives them. Each ends where the sentence
// "waiting: …" ends, and names what to do where a person is needed.
const (
	ReasonDamaged   = "its bytes changed though size and time did not, which looks like damage; `linecamp mend` brings the good bytes back"
	ReasonEmpty     = "your folder shows no file at all; see whether the right disk is mounted"
	ReasonDevice    = "your folder is on another disk than last time and files are missing there; look, then run `linecamp mirror --accept-changes`"
	ReasonUnproven  = "its bytes and its time differ from what is recorded, and this computer does not remember it from before; look, then run `linecamp mirror --accept-changes`"
	ReasonMass      = "more than a fifth of the known files changed or vanished at once; look, then run `linecamp mirror --accept-changes`"
	ReasonAgain     = "over a tenth of the archive would be stored again under another site; look at the folder names, then run `linecamp mirror --accept-changes`"
	ReasonBehind    = "its site's folder has another name now, and a file that waits was left behind under the old one; see to that file first"
	ReasonHidden    = "its site's folder has another name now, and not all of it can be read yet; the next round looks again"
	ReasonMoving    = "it is gone, and may be what stands under another name in this folder and cannot be read yet; the next round looks again"
	ReasonMoved     = "its bytes are on record under another name, which is not seen now; once it is sure that one is gone, both are recorded together"
	ReasonSeveral   = "this folder holds pictures of several sites whose folders vanished; put them back under their own names, or run `linecamp mirror --accept-changes`"
	ReasonNewer     = "newer bytes are on record, and this folder never had them; move this file away, then bring the newer one with `linecamp restore --everything --into FOLDER`"
	ReasonInventory = "no copy in reach has this site's manifest; bring the copies within reach"
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
