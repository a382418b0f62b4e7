package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"

	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store/fault"
)

// ErrNoAuthor: the file that names the author is there, and rotted so that it names nobody.
var ErrNoAuthor = fault.New("who records there cannot be read", fault.OfFile)

type authorJSON struct {
	Archive string `json:"archive"`
	Author  string `json:"author"`
	Machine string `json:"machine"`
	Epoch   int    `json:"epoch"`

	Round     string `json:"round,omitempty"`
	Recording bool   `json:"recording,omitempty"`
}

// ReadAuthor reads which machine may author. The error wraps fs.ErrNotExist
// when nobody has claimed the archive yet, and ErrNoAuthor when what is there names
// nobody. The Info is what WriteAuthor needs to replace exactly this. What else a file
// says, of a newer linecamp, is passed over.
func ReadAuthor(ctx context.Context, r Root) (Author, Info, error) {
	b, info, err := ReadSmall(ctx, r, AuthorKey, MaxSmall)
	if err != nil {
		return Author{}, Info{}, err
	}
	var j authorJSON
	err = json.Unmarshal(b, &j)
	a := Author(j)
	a.Machine = Clip(manifest.Printable(a.Machine)) // a name to be shown, from outside
	if err == nil {
		err = a.check()
	}
	if err != nil {
		return Author{}, info, fault.Say(ErrNoAuthor, "%s: %s cannot be read: %v", r.Name(), AuthorKey, err)
	}
	return a, info, nil
}

// WriteAuthor claims the archive for a machine; was is what ReadAuthor found,
// nil where it found nothing. The Info is of what is there now. ErrConflict means
// that another machine was quicker: read again.
func WriteAuthor(ctx context.Context, r Root, a Author, was *Info) (Info, error) {
	if err := a.check(); err != nil {
		return Info{}, err
	}
	return r.Replace(ctx, AuthorKey, Bytes(encodeJSON(authorJSON(a))), was)
}

func (a Author) check() error {
	switch {
	case !uuidForm.MatchString(a.Archive):
		return errors.New("the archive's id is not a UUID in lower case")
	case !uuidForm.MatchString(a.Author):
		return errors.New("the author's id is not a UUID in lower case")
	case a.Round != "" && !uuidForm.MatchString(a.Round):
		return errors.New("the round's id is not a UUID in lower case")
	case a.Recording && a.Round == "":
		return errors.New("a round records, and it has no id")
	case a.Epoch < 1 || a.Epoch > seal.MaxEpoch:
		return fmt.Errorf("the author's epoch is %d, and must be 1 to %d", a.Epoch, seal.MaxEpoch)
	}
	return nil
}
