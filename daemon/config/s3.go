package config

import (
	"context"
	"errors"
	"net/url"
	"path/filepath"
	"strings"

	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
	"linecamp/manifest/store/s3"
	"linecamp/manifest/tomlline"
	"linecamp/manifest/words"
)

// s3Kind is a copy in an S3 bucket.
var s3Kind = Kind{
	Can: s3.Can, Called: "bucket",
	At:   bucketAt,
	Open: openBucket, Place: placeOfBucket, Try: tryBucket, KeyID: keyOfBucket,
	keys: []string{"url", "region", "credentials", "ca_file", "addressing", "fence", "read_back", "reread", "hours", "rate", "allowance"}, read: readS3, write: writeS3,
}

func isAddress(place string) bool { return strings.Contains(place, "://") }

func readS3(f *file, t *table, c *Copy) {
	had := len(t.Faults)
	c.Region = t.Text("region")
	c.URL = t.Text("url")
	c.Addressing = t.Text("addressing")
	if c.URL == "" {
		if len(t.Faults) == had {
			t.Fault("url", "this copy does not say where it is; add url = \"https://host/bucket/prefix\"")
		}
	} else if url, err := BucketURL(c.URL, c.Addressing); err != nil {
		c.URL = "" // it may hold a secret
		t.Fault("url", "%v", err)
	} else {
		c.URL = url
	}
	if c.Addressing != "" && c.Addressing != "path" && c.Addressing != "host" {
		t.Fault("addressing", "write \"path\" where the bucket is the first part of the path, or \"host\" where it is part of the host name")
	}
	if c.Credentials = t.Text("credentials"); c.Credentials == "" {
		c.Credentials = "env"
	}
	if c.Credentials != "env" && c.Credentials != NoCredentials && !filepath.IsAbs(c.Credentials) {
		c.Credentials = filepath.Join(filepath.Dir(f.Path), c.Credentials)
	}
	c.CAFile = t.Folder("ca_file")
	if c.Fence = t.Text("fence"); c.Fence != "" && c.Fence != "none" {
		t.Fault("fence", "this can only be \"none\", which says that you see to it that one computer alone writes there; else leave it out")
	}
	c.ReadBack = t.Flag("read_back")
	reread := t.Text("reread")
	if reread == "" {
		reread = DefaultReread
	}
	var err error
	if c.Reread, err = ParseAllowance(reread); err != nil {
		t.Fault("reread", "%v", err)
	}
	c.Link = f.link(t)
}

func writeS3(w *writer, c Copy) {
	w.pair("url", tomlline.Quote(c.URL), "")
	w.pair("id", tomlline.Quote(c.ID), "the root's own id: only this one is written to")
	w.optional("region", c.Region, "")
	w.optional("addressing", c.Addressing, "where the bucket's name stands: in the path or in the host")
	w.pair("credentials", tomlline.Quote(or(c.Credentials, "env")), "\"env\", or a file only its owner can read")
	w.optional("ca_file", c.CAFile, "certificates to trust beside the system's")
	w.optional("fence", c.Fence, "the server cannot keep two computers apart: see to it that only one writes there")
	if c.ReadBack {
		w.pair("read_back", "true", "the server does not check what it is sent, so every upload is read back")
	}
	w.pair("reread", tomlline.Quote(or(c.Reread.Text, DefaultReread)), "how much may be downloaded to check it")
	c.Link.encode(w)
}

func openBucket(ctx context.Context, c Copy) (store.Root, error) {
	root, err := bucketOf(ctx, c)
	if err != nil {
		return nil, err
	}
	if c.ID == "" {
		return root, nil
	}
	id, err := root.Identity(ctx)
	if err == nil && !strings.EqualFold(id.CopyID, c.ID) {
		err = fault.Say(store.ErrOtherRoot, "%s holds another copy than the settings say (%s); nothing is written to it", root.Name(), c.ID)
	}
	if err != nil {
		root.Close()
		return nil, err
	}
	return root, nil
}

func bucketOf(ctx context.Context, c Copy) (*s3.Bucket, error) {
	if c.Credentials == NoCredentials {
		return nil, fault.Say(store.ErrCredentials, "nobody has confirmed this address yet, so no key is sent there. If %s is yours, run `linecamp setup --new-keys %s`", c.URL, words.Quote(c.Name))
	}
	access, secret, session, err := s3.Credentials(or(c.Credentials, "env"))
	if err != nil {
		return nil, err
	}
	return s3.Open(ctx, s3.Options{
		Conn: c.Conn, Pause: c.Pause, Memory: c.Parts, Page: c.Page,
		URL: c.URL, VirtualHost: c.Addressing == "host", Region: c.Region,
		Access: access, Secret: secret, Session: session, CAFile: c.CAFile,
		Fence: c.Fence != "none", ReadBack: c.ReadBack,
	})
}

func keyOfBucket(c Copy) (string, error) {
	id, _, _, err := s3.Credentials(or(c.Credentials, "env"))
	return id, err
}

// bucketAt is what an address alone tells: where nothing follows the host, the bucket's
// name is in front of it.
func bucketAt(place string) (Copy, bool) {
	c := Copy{URL: strings.TrimRight(place, "/")}
	if u, err := url.Parse(place); err == nil && strings.Trim(u.Path, "/") == "" {
		c.Addressing = "host"
	}
	return c, isAddress(place)
}

func placeOfBucket(ctx context.Context, c *Copy) (store.Root, error) {
	if at, _ := bucketAt(c.URL); at.Addressing != "" {
		c.Addressing = at.Addressing
	}
	return bucketOf(ctx, *c) // without an id, and with no fence needed: whether there is one is learned
}

// ErrNoFence: the service ignores conditional writes, and nobody vouched.
var ErrNoFence = errors.New("the service cannot keep two computers apart")

func tryBucket(ctx context.Context, r store.Root, c *Copy, isAlone bool) (store.Root, []string, error) {
	is, err := r.(*s3.Bucket).Probe(ctx)
	if err != nil {
		return r, nil, err
	}
	var notes []string
	if !is.CreateOnly || !is.IfMatch {
		if !isAlone {
			return r, nil, fault.Say(ErrNoFence, "%s ignores conditional writes, so it cannot keep two computers from writing over one another. Choose another service; or, if this computer is the only one that will ever write there, say so with --one-writer", r.Name())
		}
		c.Fence = "none"
		notes = append(notes, "no fence: the service ignores conditional writes, and nothing but your word keeps a second computer from writing there. Never let one")
	}
	if !is.Checksum {
		c.ReadBack = true
		notes = append(notes, "the service does not check what it is sent, so linecamp reads every upload back. That costs a download for each")
	}
	c.Tried = &KeyTried{Deletes: is.Deletes, DeletesKnown: is.DeletesKnown, Versions: is.Versioning, VersionsKnown: is.VersioningKnown}
	if c.Fence == "" && !c.ReadBack {
		return r, notes, nil
	}
	// From here on the copy is used as the settings will say.
	again, err := bucketOf(ctx, *c)
	if err != nil {
		return r, notes, err
	}
	r.Close()
	return again, notes, nil
}
