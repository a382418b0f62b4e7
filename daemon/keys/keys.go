// Package keys says what is known of the keys of an archive's buckets: whether one may
// delete what is there, whether the bucket keeps what was overwritten, and whether one
// key reaches every copy. Begin with [Of].
//
// It is found out where keys are tried (package setup) on an object of linecamp's own,
// and remembered with [Note]. What could not be found out, and what is remembered of
// another key than is in use now, is called not known.
package keys

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strings"
	"time"

	"linecamp/daemon/archive"
	"linecamp/daemon/config"
	"linecamp/manifest"
	"linecamp/manifest/words"
)

// Answer is what is known of something.
type Answer string

// The answers.
const (
	Yes     Answer = "yes"
	No      Answer = "no"
	Unknown Answer = "not known"
)

func answer(is, known bool) Answer {
	switch {
	case !known:
		return Unknown
	case is:
		return Yes
	}
	return No
}

// Known is what is known of the key of one bucket.
type Known struct {
	MayDelete     Answer     `json:"may_delete"`     // for good, what the bucket holds
	KeepsVersions Answer     `json:"keeps_versions"` // what was overwritten is kept
	Tried         *time.Time `json:"tried"`          // when that was found out; null for never
}

// From is what a trial found out.
func From(t config.KeyTried) Known {
	return Known{MayDelete: answer(t.Deletes, t.DeletesKnown), KeepsVersions: answer(t.Versions, t.VersionsKnown)}
}

// noted is how it is remembered. The key is told by a digest of its id.
type noted struct {
	Known
	Key string `json:"key"`
}

func place(copyID string) string { return "key of " + copyID }

func digest(id string) string {
	d := sha256.Sum256([]byte(id))
	return hex.EncodeToString(d[:8])
}

// Note remembers what a trial of a bucket's key found out.
func Note(a *archive.Archive, c config.Copy, k Known) error {
	id, _ := c.KeyID()
	now := a.Now().UTC().Truncate(time.Second)
	k.Tried = &now
	return a.Remember(place(c.ID), noted{k, digest(id)})
}

// Of is what is known of a copy's key; nil for a copy that has none.
func Of(a *archive.Archive, c config.Copy) (*Known, error) {
	id, has := c.KeyID()
	if !has {
		return nil, nil
	}
	var n noted
	if err := a.Recall(place(c.ID), &n); err != nil {
		return nil, err
	}
	if id == "" || n.Key != digest(id) || n.Tried == nil {
		return &Known{MayDelete: Unknown, KeepsVersions: Unknown}, nil
	}
	return &n.Known, nil
}

// Advice are the notes on a bucket's key, sentences without their stop.
func (k Known) Advice(name string) (said []string) {
	name = manifest.Printable(name)
	again := fmt.Sprintf("`linecamp setup --new-keys %s`", words.Quote(name))
	switch k.MayDelete {
	case Yes:
		said = append(said, fmt.Sprintf("the key of %s may delete what is in the bucket for good, and so may whoever gets hold of it. Have a key made that may list, read and write, and not delete, and change to it with %s", name, again))
	case Unknown:
		said = append(said, fmt.Sprintf("whether the key of %s may delete what is in the bucket is not known; %s tries it", name, again))
	}
	switch k.KeepsVersions {
	case No:
		said = append(said, fmt.Sprintf("%s does not keep overwritten versions, so whoever has the key could overwrite photos for good. Switch on bucket versioning (or object lock) at the provider", name))
	case Unknown:
		said = append(said, fmt.Sprintf("whether %s keeps overwritten versions is not known: nobody asked with this key, or it may not ask. See at the provider that bucket versioning (or object lock) is on", name))
	}
	return said
}

// Shared says, without its stop, where one key reaches every copy; "" where that is
// not so.
func Shared(copies []config.Copy) string {
	var names []string
	one := ""
	for _, c := range copies {
		id, has := c.KeyID()
		switch {
		case !has:
			return ""
		case len(names) == 0:
			one = id
		case id == "" || one == "":
			return "whether one key reaches every copy is not known: not every key can be read here"
		case id != one:
			return ""
		}
		names = append(names, manifest.Printable(c.Name))
	}
	if len(names) == 0 {
		return ""
	}
	return fmt.Sprintf("one key reaches every copy (%s), so whoever gets hold of it could harm all of them. Keep a copy on a drive too, or give each bucket a key of its own", strings.Join(names, ", "))
}
