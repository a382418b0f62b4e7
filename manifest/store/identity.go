package store

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"io/fs"
	"regexp"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/store/fault"
)

// OCFL asks that an extension's config names the extension (1.1 section 4.3).
const rootExtension = "linecamp-root"

var uuidForm = regexp.MustCompile(`^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$`)

type identityJSON struct {
	ExtensionName string    `json:"extensionName"`
	Archive       string    `json:"archive"`
	Name          string    `json:"name"`
	Copy          string    `json:"copy"`
	Created       time.Time `json:"created"`
}

func encodeIdentity(id Identity) []byte {
	return encodeJSON(identityJSON{rootExtension, id.ArchiveID, id.Archive, id.CopyID, id.Created.UTC().Truncate(time.Second)})
}

func decodeIdentity(b []byte) (Identity, error) {
	var j identityJSON
	if err := decodeJSON(b, &j); err != nil {
		return Identity{}, err
	}
	id := Identity{j.Archive, j.Name, j.Copy, j.Created}
	if j.ExtensionName != rootExtension {
		return Identity{}, errors.New("extensionName is not " + rootExtension)
	}
	return id, id.check()
}

func (id Identity) check() error {
	switch {
	case !uuidForm.MatchString(id.ArchiveID):
		return errors.New("the archive's id is not a UUID in lower case")
	case !uuidForm.MatchString(id.CopyID):
		return errors.New("the copy's id is not a UUID in lower case")
	case manifest.ArchiveName(id.Archive) != nil:
		return manifest.ArchiveName(id.Archive)
	case id.Created.IsZero():
		return errors.New("no time of creation")
	}
	return nil
}

// ReadIdentity is Root.Identity for every root.
func ReadIdentity(ctx context.Context, r Root) (Identity, error) {
	b, _, err := ReadSmall(ctx, r, IdentityKey, MaxSmall)
	if errors.Is(err, fs.ErrNotExist) {
		return Identity{}, fault.Say(ErrNoRoot, "%s holds no linecamp copy (%s is absent); the folder of a copy is the one with its README.txt", r.Name(), IdentityKey)
	}
	if err != nil {
		return Identity{}, err
	}
	id, err := decodeIdentity(b)
	if err != nil {
		return Identity{}, fault.Say(ErrNoRoot, "%s: the identity of this copy is damaged (%s); nothing was written there. To put it right, write this into that file, with the names and ids that %s beside it begins with: %s",
			r.Name(), IdentityKey, ReadmeKey, identityByHand)
	}
	return id, nil
}

// identityByHand is what a person writes where the identity is damaged. Nothing is
// decided by the time of creation, so any will do.
const identityByHand = `{"extensionName": "` + rootExtension + `", "archive": "ARCHIVE ID", "name": "ARCHIVE", "copy": "COPY ID", "created": "2001-01-01T00:00:00Z"}`

func encodeJSON(v any) []byte {
	b, err := json.MarshalIndent(v, "", "  ")
	if err != nil {
		panic(err) // only fixed structs of strings and numbers come here
	}
	return append(b, '\n')
}

// decodeJSON reads exactly one JSON value with no unknown keys.
func decodeJSON(b []byte, v any) error {
	d := json.NewDecoder(bytes.NewReader(b))
	d.DisallowUnknownFields()
	if err := d.Decode(v); err != nil {
		return err
	}
	if _, err := d.Token(); err != io.EOF {
		return errors.New("more follows after the JSON value")
	}
	return nil
}
