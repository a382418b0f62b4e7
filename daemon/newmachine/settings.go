package newmachine

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"linecamp/daemon/carried"
	"linecamp/daemon/config"
	"linecamp/manifest/store/drive"
	"linecamp/manifest/wholefile"
	"linecamp/manifest/words"
)

// away is how long a drive may be unplugged on a new machine.
const away = 14 * 24 * time.Hour

// keyFile is a file for keys that a person typed in.
type keyFile struct {
	path string
	keys Keys
}

// config makes the settings of this machine of what the copy says and a person confirms.
func (f *Found) config(ctx context.Context, into, file string, confirm Confirm) (config.Archive, []keyFile, error) {
	cfg := config.Archive{Name: f.Archive, Folder: into}
	var files []keyFile
	use := func(c *config.Copy, k Keys) {
		c.Credentials = k.Credentials
		switch {
		case k.Access != "":
			c.Credentials = strings.TrimSuffix(file, filepath.Ext(file)) + "-" + c.Name + ".keys"
			files = append(files, keyFile{c.Credentials, k})
		case k.Credentials == "":
			c.Credentials = config.NoCredentials
		}
	}
	own, keys, err := f.own()
	if err != nil {
		return cfg, nil, err
	}
	s := f.Settings
	if s == nil {
		s = &carried.Settings{}
	}
	cfg.Title, cfg.Layout, cfg.Dates, cfg.Units, cfg.Views = s.Title, s.Layout, s.Dates, s.Units, s.Views
	cfg.Years, cfg.Schedule = s.Years, s.Schedule
	named := false
	for _, c := range s.Copies {
		switch {
		case c.ID == own.ID:
			named = true
			own.Name = c.Name
			if c.URL == own.URL { // how another address is used says nothing of this one
				own.Region, own.Addressing = cmp.Or(own.Region, c.Region), cmp.Or(own.Addressing, c.Addressing)
			}
			c = own
			if !c.Can().Local {
				use(&c, keys)
			}
		case c.Can().Local:
			c.Root, c.Away = f.whereIs(ctx, c), away
		default:
			var k Keys
			if keys != (Keys{}) && sameBucket(c.URL, own.URL) {
				k = keys // these keys were given for that bucket
			} else if confirm != nil {
				if k, err = confirm(c); err != nil {
					return cfg, nil, err
				}
			}
			use(&c, k)
		}
		cfg.Copies = append(cfg.Copies, c)
	}
	if !named {
		if !own.Can().Local {
			use(&own, keys)
		}
		for _, c := range s.Copies {
			if strings.EqualFold(c.Name, own.Name) {
				own.Name += "-here"
			}
		}
		cfg.Copies = append([]config.Copy{own}, cfg.Copies...)
	}
	return cfg, files, nil
}

// own is the copy that everything comes from, and the keys that open it.
func (f *Found) own() (own config.Copy, keys Keys, err error) {
	own = f.copy.Copy
	own.ID, own.Kind = f.id.CopyID, f.copy.Can().Kind
	if f.copy.Can().Local {
		own.Name, own.Away = "drive", away
		return own, Keys{}, nil
	}
	own.Name = "bucket"
	if own.Reread, err = config.ParseAllowance(config.DefaultReread); err != nil {
		return own, keys, err
	}
	keys = f.o.Keys
	if keys == (Keys{}) {
		keys.Credentials = cmp.Or(f.o.From.Credentials, "env")
	}
	for _, path := range []*string{&own.CAFile, &keys.Credentials} {
		if *path == "" || *path == "env" {
			continue
		}
		if *path, err = filepath.Abs(*path); err != nil {
			return own, keys, err
		}
	}
	return own, keys, nil
}

// whereIs is the folder of another drive: where it is plugged in now, else a place where
// drives come up, since linecamp finds it by its id wherever that is.
func (f *Found) whereIs(ctx context.Context, c config.Copy) string {
	ctx, cancel := context.WithTimeout(ctx, 3*time.Second)
	defer cancel()
	if at, err := drive.Find(ctx, c.ID, filepath.Dir(f.copy.Copy.Root)); err == nil {
		return at
	}
	return filepath.Join("/media", c.Name)
}

// sameBucket reports whether two addresses are of one bucket, whose name is the first
// part of the path. A host may serve buckets of many owners.
func sameBucket(a, b string) bool {
	ua, erra := url.Parse(a)
	ub, errb := url.Parse(b)
	if erra != nil || errb != nil || ua.Host == "" || ua.Scheme != ub.Scheme || ua.Host != ub.Host {
		return false
	}
	bucket := func(u *url.URL) string {
		name, _, _ := strings.Cut(strings.Trim(u.Path, "/"), "/")
		return name
	}
	return bucket(ua) == bucket(ub)
}

// learn tries each bucket whose keys are at hand, since no copy tells whether its service
// keeps two machines apart and checks what it is sent. The copy that everything came from
// has to answer; what another one is like stays open where it does not.
func (f *Found) learn(ctx context.Context, copies []config.Copy) (trouble []string, err error) {
	for i := range copies {
		c := &copies[i]
		if c.Can().Local || c.Credentials == config.NoCredentials {
			continue
		}
		kind := config.Kinds[c.Kind]
		root, err := kind.Place(ctx, c)
		if err == nil {
			root, _, err = kind.Try(ctx, root, c, f.o.OneWriter)
			root.Close()
		}
		switch {
		case err == nil:
		case ctx.Err() != nil:
			return nil, ctx.Err()
		case errors.Is(err, config.ErrNoFence) || c.ID == f.id.CopyID:
			return nil, err
		default:
			trouble = append(trouble, fmt.Sprintf("%s could not be tried: %v. Once it answers, have its keys tried: linecamp setup --new-keys %s", c.Name, err, words.Quote(c.Name)))
		}
	}
	return trouble, nil
}

// writeSettings writes the keys and the settings, unless an earlier try did.
func (f *Found) writeSettings(ctx context.Context, cfg config.Archive, file string, keys []keyFile) (trouble []string, err error) {
	if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
		return nil, fmt.Errorf("the settings' folder cannot be made: %w", err)
	}
	for _, k := range keys {
		text := fmt.Appendf(nil, "# The keys of a bucket. Only the owner of this file may read it.\naccess = %s\nsecret = %s\n", strconv.QuoteToASCII(k.keys.Access), strconv.QuoteToASCII(k.keys.Secret))
		err := wholefile.Create(k.path, 0o600, text)
		if errors.Is(err, fs.ErrExist) {
			if there, rerr := os.ReadFile(k.path); rerr == nil && bytes.Equal(there, text) {
				err = nil
			}
		}
		if err != nil {
			return nil, fmt.Errorf("the bucket's keys cannot be kept in %s: %w", k.path, err)
		}
	}
	if _, err := os.Lstat(file); err == nil {
		return nil, nil // the earlier try wrote it; a person may have changed it since
	}
	if trouble, err = f.learn(ctx, cfg.Copies); err != nil {
		return nil, err
	}
	return trouble, cfg.Write(file)
}
