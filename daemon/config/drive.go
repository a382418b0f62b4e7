package config

import (
	"context"
	"errors"
	"fmt"
	"os"

	"linecamp/manifest/store"
	"linecamp/manifest/store/drive"
	"linecamp/manifest/tomlline"
)

// driveKind is a copy in a folder on a drive.
var driveKind = Kind{
	Can: drive.Can, Called: "drive",
	At: func(place string) (Copy, bool) { return Copy{Root: place}, !isAddress(place) },
	Open: func(_ context.Context, c Copy) (store.Root, error) {
		if c.ID == "" {
			return drive.OpenUnidentified(c.Root)
		}
		return drive.Open(c.Root, c.ID)
	},
	Place: func(_ context.Context, c *Copy) (store.Root, error) { return drive.New(c.Root) },
	Try: func(_ context.Context, r store.Root, c *Copy, _ bool) (store.Root, []string, error) {
		return r, nil, tryFolder(c.Root)
	},
	keys: []string{"root", "away"}, read: readDrive, write: writeDrive,
}

func readDrive(f *file, t *table, c *Copy) {
	had := len(t.Faults)
	c.Root = t.Folder("root")
	if c.Root == "" && len(t.Faults) == had {
		t.Fault("root", "this copy does not say where it is; add root = \"/media/…\", the folder on the drive")
	}
	if s := t.Text("away"); s != "" {
		var err error
		if c.Away, err = ParseAway(s); err != nil {
			t.Fault("away", "%v", err)
		}
	}
}

func writeDrive(w *writer, c Copy) {
	w.pair("root", tomlline.Quote(c.Root), "")
	w.pair("id", tomlline.Quote(c.ID), "the root's own id: only this one is written to")
	w.optional("away", away(c), "how long it may be unplugged before that is a fault")
}

// tryFolder learns by writing whether a folder can be written to.
func tryFolder(folder string) error {
	f, err := os.CreateTemp(folder, ".linecamp-trial-*")
	if err != nil {
		return fmt.Errorf("nothing can be written to %s (%w); see who owns the folder, or whether the drive is mounted read-only", folder, Plainly(err))
	}
	name := f.Name()
	_, err = f.WriteString("linecamp tries whether this drive can be written\n")
	if err = errors.Join(err, f.Sync(), f.Close(), os.Remove(name)); err != nil {
		return fmt.Errorf("%s cannot be written to: %w", folder, err)
	}
	return nil
}

// Plainly takes a file's name out of an error that is told with it, or is of no use.
func Plainly(err error) error {
	var p *os.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	return err
}
