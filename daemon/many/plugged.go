package many

import (
	"context"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"linecamp/daemon/config"
	"linecamp/daemon/pool"
	"linecamp/manifest/store"
	"linecamp/manifest/store/drive"
)

// Plugged is a drive in the place of a copy that is not that copy: whoever runs the
// machine is told whose it is, and no archive is.
type Plugged struct {
	At string `json:"at"` // the folder
	// Archive and Copy are whose it is, by the settings of this machine; "" for a drive
	// that none of them names. Where is its label: where it is kept, in the office's words.
	Archive string `json:"archive,omitempty"`
	Copy    string `json:"copy,omitempty"`
	Where   string `json:"where,omitempty"`
	Of      string `json:"of,omitempty"` // the archive that the drive itself names, where no settings do
}

// Machine is what is told to whoever runs the machine, and to no archive.
type Machine struct {
	Plugged []Plugged
	Limits  pool.Settings
}

// Of is that of a machine with these archives, whose settings are at a place.
func Of(ctx context.Context, settings string, all []config.Archive) Machine {
	return Machine{Strangers(ctx, all), pool.Read(settings)}
}

// looksFor bounds the look at all places: a drive that hangs keeps nobody waiting.
const looksFor = 2 * time.Second

// Strangers are the drives in the places of copies that are others than those.
func Strangers(ctx context.Context, all []config.Archive) (found []Plugged) {
	ctx, cancel := context.WithTimeout(ctx, looksFor)
	defer cancel()
	owners := map[string]Plugged{}
	belong := map[string][]string{} // the ids that belong at a place
	for _, a := range all {
		for _, c := range a.Copies {
			if c.Can().Local {
				id, at := strings.ToLower(c.ID), filepath.Clean(c.Root)
				owners[id] = Plugged{Archive: a.Name, Copy: c.Name, Where: c.Where}
				belong[at] = append(belong[at], id)
			}
		}
	}
	seen := make(chan Plugged, len(belong))
	looking := 0
	for at, ids := range belong {
		looking++
		go func() { seen <- lookAt(ctx, at, ids, owners) }()
	}
	for range looking {
		select {
		case p := <-seen:
			if p.At != "" {
				found = append(found, p)
			}
		case <-ctx.Done():
			looking = 0
		}
		if looking == 0 {
			break
		}
	}
	slices.SortFunc(found, func(a, b Plugged) int { return strings.Compare(a.At, b.At) })
	return found
}

// lookAt is what stands at a place that is none of the copies that belong there.
func lookAt(ctx context.Context, at string, ids []string, owners map[string]Plugged) Plugged {
	root, err := drive.OpenUnidentified(at)
	if err != nil {
		return Plugged{}
	}
	defer root.Close()
	id, err := store.ReadIdentity(ctx, root)
	if err != nil || slices.Contains(ids, strings.ToLower(id.CopyID)) {
		return Plugged{}
	}
	p, known := owners[strings.ToLower(id.CopyID)]
	if !known {
		p.Of = id.Archive
	}
	p.At = at
	return p
}
