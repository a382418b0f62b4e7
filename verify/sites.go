package verify

import (
	"context"
	"errors"

	"linecamp/manifest/store"
)

// Site is one object of an archive as people know it.
type Site struct {
	Object  string // its folder on every copy, the slug
	Site    string
	Pasture string
	Folder  string // where it lies in the working folder
}

// ErrNoSite marks a name that fits no site.
var ErrNoSite = errors.New("no such site")

// ManySites is a name that fits several sites.
type ManySites struct {
	Name  string
	Sites []Site
}

func (e *ManySites) Error() string { return "" }

// Sites lists what a copy holds.
func Sites(ctx context.Context, r store.Root) ([]Site, error) { return nil, errSoon }

// FindSite finds the one site a person means.
func FindSite(sites []Site, name string) (Site, error) { return Site{}, errSoon }
