package newmachine

import (
	"path/filepath"
	"slices"
	"testing"

	"linecamp/daemon/carried"
	"linecamp/daemon/config"
	"linecamp/daemon/reach"
	"linecamp/manifest/store"
)

const (
	ownID   = "44444444-4444-4444-8444-444444444444"
	otherID = "55555555-5555-4555-8555-555555555555"
)

// found is what Look finds in a bucket whose settings name two copies: itself, at an
// address, and another.
func found(own, named, other config.Copy) *Found {
	own.Kind, named.Kind, other.Kind = config.KindS3, config.KindS3, config.KindS3
	named.Name, named.ID, other.Name, other.ID = "bucket", ownID, "far", otherID
	return &Found{Archive: "saltbush-draw", o: Options{From: reach.RootAccess{Credentials: "env"}},
		copy: &reach.Copy{Copy: own}, id: store.Identity{CopyID: ownID},
		Settings: &carried.Settings{Archive: "saltbush-draw", Copies: []config.Copy{named, other}}}
}

// The keys of a bucket go to that bucket only, whatever the settings there name: for
// every other address a person is asked, and without a yes it stands there without keys.
func TestKeysGoToTheirBucketOnly(t *testing.T) {
	const own = "https://s3.example.net/monitoring/saltbush-draw"
	for other, asks := range map[string]bool{
		"https://s3.example.net/monitoring/second":          false,
		"https://s3.example.net/monitoring":                 false,
		"https://s3.example.net/stolen/saltbush-draw":       true,
		"https://s3.example.net/monitoring2/saltbush-draw":  true,
		"https://s3.example.org/monitoring/saltbush-draw":   true,
		"https://s3.example.net:8443/monitoring/x":          true,
		"http://s3.example.net/monitoring/saltbush-draw":    true,
		"https://monitoring.s3.example.net/saltbush-draw":   true,
		"https://s3.example.net.evil.example/monitoring/xy": true,
	} {
		for _, yes := range []bool{false, true} {
			f := found(config.Copy{URL: own}, config.Copy{URL: own}, config.Copy{URL: other})
			var asked []string
			cfg, files, err := f.config(t.Context(), "/srv/monitoring", "/etc/linecamp/saltbush-draw.toml", func(c config.Copy) (Keys, error) {
				asked = append(asked, c.URL)
				if yes {
					return Keys{Credentials: "/etc/far.keys"}, nil
				}
				return Keys{}, nil
			})
			if err != nil || len(files) > 0 || len(cfg.Copies) != 2 || cfg.Copies[0].Credentials != "env" {
				t.Fatalf("%+v, %v, %v", cfg.Copies, files, err)
			}
			want, wants := "env", []string(nil)
			if asks {
				want, wants = config.NoCredentials, []string{other}
				if yes {
					want = "/etc/far.keys"
				}
			}
			if got := cfg.Copies[1].Credentials; got != want || !slices.Equal(asked, wants) {
				t.Errorf("%s, yes %v: keys from %q, want %q; asked for %v", other, yes, got, want, asked)
			}
		}
	}
}

// Keys that were typed in go into a file of each bucket that they are of, and no other.
func TestTypedKeysAreKeptForTheirBucketOnly(t *testing.T) {
	const own = "https://s3.example.net/monitoring/saltbush-draw"
	f := found(config.Copy{URL: own}, config.Copy{URL: own}, config.Copy{URL: "https://s3.example.net/stolen/x"})
	f.o.Keys = Keys{Access: "ranch", Secret: "secret"}
	file := filepath.Join(t.TempDir(), "saltbush-draw.toml")
	cfg, files, err := f.config(t.Context(), "/srv/monitoring", file, nil)
	if err != nil || len(files) != 1 || cfg.Copies[0].Credentials != files[0].path || cfg.Copies[1].Credentials != config.NoCredentials {
		t.Errorf("%+v, %+v, %v", cfg.Copies, files, err)
	}
}

// How a bucket is asked for is what opened it here. What the settings say of it counts
// only where they name the very same address.
func TestABucketKeepsItsOwnWayToBeNamed(t *testing.T) {
	const front, behind = "https://monitoring.s3.example.net", "https://s3.example.net/monitoring"
	for name, c := range map[string]struct {
		own, named                   config.Copy
		url, wantAddressing, wantReg string
	}{
		"another address": {config.Copy{URL: front, Addressing: "host", Region: "us-west-2"}, config.Copy{URL: behind, Addressing: "path", Region: "us-east-1"}, front, "host", "us-west-2"},
		"another address, nothing known of this one": {config.Copy{URL: behind}, config.Copy{URL: front, Addressing: "host", Region: "us-east-1"}, behind, "", ""},
		"the same address":                           {config.Copy{URL: behind}, config.Copy{URL: behind, Addressing: "path", Region: "us-east-1"}, behind, "path", "us-east-1"},
		"the same address, and a person told it":     {config.Copy{URL: behind, Addressing: "host", Region: "us-west-2"}, config.Copy{URL: behind, Addressing: "path", Region: "us-east-1"}, behind, "host", "us-west-2"},
	} {
		f := found(c.own, c.named, config.Copy{URL: "https://s3.example.org/far"})
		cfg, _, err := f.config(t.Context(), "/srv/monitoring", "/etc/linecamp/saltbush-draw.toml", nil)
		if err != nil {
			t.Fatal(err)
		}
		if got := cfg.Copies[0]; got.URL != c.url || got.Addressing != c.wantAddressing || got.Region != c.wantReg || got.Name != "bucket" {
			t.Errorf("%s: %+v", name, got)
		}
	}
}
