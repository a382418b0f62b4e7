package newmachine

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"linecamp/daemon"
	"linecamp/daemon/attention"
	"linecamp/daemon/config"
	"linecamp/daemon/reach"
	"linecamp/manifest/words"
)

// What a person is to see to after a recovery, beside the kinds of package attention.
const (
	KindMissing  attention.Kind = "known-missing"   // it is known, and this copy does not have it
	KindKey      attention.Kind = "old-key"         // the lost machine's key still opens a bucket
	KindAddress  attention.Kind = "not-confirmed"   // an address that nobody confirmed
	KindHeld     attention.Kind = "copy-held"       // a copy that answers, and cannot be worked with
	KindSettings attention.Kind = "settings-unread" // no other copy is known
	KindSheet    attention.Kind = "sheet-old"
)

// copies says how each copy stands.
func (f *Found) copies(r *Report, cfg config.Archive, taken daemon.Takeover) {
	for _, c := range cfg.Copies {
		is := Copy{Copy: c.Name, Kind: c.Kind, Place: c.Place(), State: reach.Unreachable}
		switch {
		case c.ID == f.id.CopyID:
			is.State = Source
		case slices.Contains(taken.Copies, c.Name):
			is.State = Here
		case slices.ContainsFunc(taken.Held, func(h daemon.Held) bool { return h.Copy == c.Name }):
			is.State = reach.Failed
		case c.Can().Local:
			is.State, is.Place = reach.Away, ""
		case c.Credentials == config.NoCredentials:
			is.State = Unconfirmed
		}
		r.Copies = append(r.Copies, is)
	}
}

// next says what a person is to do.
func (f *Found) next(r *Report, cfg config.Archive, held []daemon.Held) {
	r.Attention = []attention.Item{}
	add := func(kind attention.Kind, what, next string) {
		r.Attention = append(r.Attention, attention.Item{Kind: kind, What: what, Next: next, Since: f.o.Now().UTC().Truncate(time.Second)})
	}
	var others []string
	for _, c := range r.Copies {
		if c.State != Source && c.State != Here && c.State != reach.Failed {
			others = append(others, c.Copy)
		}
	}
	if r.Wants() {
		next := "If the old computer or its disk turns up, file what is in its folder: `linecamp intake FOLDER`."
		if len(others) > 0 {
			next = fmt.Sprintf("Bring %s within reach and run `linecamp mirror`. %s", strings.Join(others, " or "), next)
		}
		add(KindMissing, "Something is known to exist and did not come back.", next)
	}
	if f.Settings == nil {
		add(KindSettings, f.unsettled+", so no other copy of the archive is known here.", "If there is another drive or bucket, add it to the settings: `linecamp setup --add-copy`.")
	}
	for _, c := range cfg.Copies {
		switch {
		case c.Credentials == config.NoCredentials:
			add(KindAddress, fmt.Sprintf("The settings on the copy name the bucket %s at %s. Nobody confirmed that address, so no key is sent there.", c.Name, c.URL),
				fmt.Sprintf("If it is yours, run `linecamp setup --new-keys %s`.", words.Quote(c.Name)))
		case !c.Can().Local:
			add(KindKey, fmt.Sprintf("The key that the lost computer had may still open the bucket %s.", c.Name), "If that computer was stolen, revoke its key at the provider, and give this computer a new one.")
		}
	}
	for _, h := range held {
		add(KindHeld, fmt.Sprintf("%s answers, and this computer cannot work with it (%s). Nothing is recorded before it is read.", h.Copy, strings.TrimSuffix(h.Error, ".")),
			fmt.Sprintf("Put it right, or give it up: `linecamp mirror --without %s`.", words.Quote(h.Copy)))
	}
	for _, c := range r.Copies {
		if get, ok := map[string]string{reach.Away: "Plug it in", reach.Unreachable: "Bring it within reach"}[c.State]; ok {
			add(attention.CopyAway, c.Copy+" could not be asked.", get+", and run `linecamp mirror`.")
		}
	}
	add(KindSheet, "The recovery sheet on paper is of the computer that was lost.", "Print a new one: `linecamp paper recovery sheet.pdf`.")
}
