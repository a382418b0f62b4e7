// Package takehome has the words of the text that a client takes home: what is kept for
// it, where, and how to get at it without anybody's help. Call [Write].
package takehome

import (
	"fmt"
	"strings"

	"linecamp/daemon/config"
	"linecamp/daemon/setup"
	"linecamp/manifest/words"
)

// Write is the whole text.
func Write(h setup.TakeHome) string {
	var b strings.Builder
	say := func(format string, a ...any) { fmt.Fprintf(&b, format+"\n", a...) }
	say("%s: the copies of your photos and field notes", h.Name)
	say("")
	say("Since %s the computer %s keeps these copies with linecamp, under the", h.Day.Local().Format("January 2, 2006"), h.Machine)
	say("name %s. They are yours. You can read each of them without that computer,", h.Archive)
	say("and without linecamp: the file README.txt at its top says how.")
	say("")
	say("Where they are:")
	for _, c := range h.Copies {
		say("")
		if c.Kind != config.KindS3 {
			say("  %s, a drive", c.Copy)
			say("    folder on it when it was made: %s", c.Place)
		} else {
			say("  %s, a bucket", c.Copy)
			say("    address: %s", c.Place)
			if id := h.Keys[c.Copy]; id != "" {
				say("    access key id: %s", id)
			}
			say("    its secret key, which you need too, is not on this paper: __________________")
		}
		say("    id of this copy: %s", c.ID)
		say("    where it is kept: __________________")
	}
	say("")
	if !h.Folder {
		say("Your own photos stay with you: %s has no folder of yours.", h.Machine)
		say("")
	}
	say("To have everything back on any computer that has linecamp, from the nearest copy:")
	say("")
	for _, c := range h.Copies {
		say("  %s", words.Line{}.Run("restore", "--everything", "--from", c.Place, "--into", "FOLDER"))
	}
	say("")
	say("If you leave, ask for a bag of the whole record. Whoever keeps it makes it with")
	say("")
	say("  %s", words.Line{Archive: h.Archive}.Run("hand-over", "--everything", "--into", "FOLDER"))
	say("")
	say("and any computer can check it: sha256sum -c manifest-sha256.txt")
	say("")
	say("Keep this paper where the photos are not. After the first night, ask for the recovery")
	say("sheet as well: %s", words.Line{Archive: h.Archive}.Run("paper", "recovery", "FILE.pdf"))
	return b.String()
}
