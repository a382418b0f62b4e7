package config

import (
	"errors"
	"net"
	"net/url"
	"strings"
)

// BucketURL checks the address of an S3 copy and takes the slash from its end.
// Messages do not repeat the address: it may hold a secret.
func BucketURL(s, addressing string) (string, error) {
	const form = "write https://host/bucket/prefix"
	u, err := url.Parse(s)
	if err != nil || u.Opaque != "" || u.Host == "" || u.Hostname() == "" {
		return "", errors.New("this is not the address of a bucket; " + form)
	}
	if u.User != nil {
		return "", errors.New("this address holds credentials; take them out, keep them in a file that only you can read, and name it with credentials = \"FILE\"")
	}
	if u.RawQuery != "" || u.ForceQuery || u.Fragment != "" || strings.Contains(s, "#") {
		return "", errors.New("this address goes on after the prefix, with ? or #; " + form)
	}
	switch {
	case u.Scheme == "https":
	case u.Scheme == "http" && loopback(u.Hostname()):
	case u.Scheme == "http":
		return "", errors.New("http sends photos and keys unprotected; use https (http is taken for this computer itself only)")
	default:
		return "", errors.New("this is not a web address; " + form)
	}
	path := strings.Trim(u.Path, "/")
	if path == "" && addressing != "host" {
		return "", errors.New("this address names no bucket; " + form)
	}
	if path != "" {
		for part := range strings.SplitSeq(path, "/") {
			if part == "" || part == "." || part == ".." {
				return "", errors.New("this address has an empty part, . or .. in its path; " + form)
			}
		}
	}
	return strings.TrimRight(s, "/"), nil
}

func loopback(host string) bool {
	if strings.EqualFold(host, "localhost") {
		return true
	}
	ip := net.ParseIP(host)
	return ip != nil && ip.IsLoopback()
}

// bucketPlace is a checked address in the one form in which two of the same
// place are equal.
func bucketPlace(s string) string {
	u, err := url.Parse(s)
	if err != nil {
		return s
	}
	port := u.Port()
	if port == "" {
		port = map[string]string{"https": "443", "http": "80"}[u.Scheme]
	}
	return strings.ToLower(u.Hostname()) + ":" + port + "/" + strings.Trim(u.Path, "/") + "/"
}

// bucketOfCopy is bucketPlace with the bucket at the front of the path, wherever the
// address has its name.
func bucketOfCopy(c Copy) string {
	at := bucketPlace(c.URL)
	host, rest, _ := strings.Cut(at, "/")
	if bucket, service, ok := strings.Cut(host, "."); ok && c.Addressing == "host" {
		return service + "/" + bucket + "/" + rest
	}
	return at
}

// checkCopies finds copies that cannot be told apart.
func (f *file) checkCopies(a Archive) {
	for i, c := range a.Copies {
		t := f.used(i)
		for _, o := range a.GivenUp {
			if c.ID != "" && c.ID == o.ID {
				t.Fault("id", "the copy %q, given up on %s, has the same id; take out the part that is no longer right", o.Name, o.GivenUp)
			}
		}
		for _, o := range a.Copies[:i] {
			if c.ID != "" && c.ID == o.ID {
				t.Fault("id", "the copy %q has the same id; one root is one copy, so take one of the two out", o.Name)
			}
			if c.Name != "" && strings.EqualFold(c.Name, o.Name) {
				t.Fault("name", "another copy has the same name; give each copy its own")
			}
			if c.URL == "" || o.URL == "" {
				continue
			}
			one, other := bucketPlace(c.URL), bucketPlace(o.URL)
			if strings.HasPrefix(one, other) || strings.HasPrefix(other, one) {
				t.Fault("url", "the copy %q is in the same place, or one lies inside the other; give each its own bucket or prefix", o.Name)
			}
		}
	}
}

// checkPlaces finds folders that lie inside one another.
func (f *file) checkPlaces(a Archive) {
	top, on := &table{File: f.File}, &disk{}
	for i, c := range a.Copies {
		t := f.used(i)
		if c.Root == "" {
			continue
		}
		if text := on.nested(c.Root, a.Folder); text != "" {
			t.Fault("root", "%s; a copy must lie outside the folder it copies, best on another drive", text)
		}
		for _, o := range a.Copies[:i] {
			// Two copies at one path are drives that are swapped.
			if o.Root == "" || (on.inside(c.Root, o.Root) && on.inside(o.Root, c.Root)) {
				continue
			}
			if on.inside(c.Root, o.Root) || on.inside(o.Root, c.Root) {
				t.Fault("root", "this copy and the copy %q lie one inside the other; give each a folder of its own", o.Name)
			}
		}
	}
	state, err := a.StateDir()
	if err != nil || a.Name == "" {
		return
	}
	const advice = "what linecamp remembers would be copied and change at every round; set state = \"…\" to a folder elsewhere"
	if a.Folder != "" && on.inside(state, a.Folder) {
		top.Fault("state", "the state folder lies inside your folder; "+advice)
	}
	for i, c := range a.Copies {
		if c.Root != "" && on.inside(state, c.Root) {
			f.used(i).Fault("root", "the state folder lies inside this copy; "+advice)
		}
	}
}
