package main

import (
	"bytes"
	"compress/gzip"
	_ "embed"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/goreleaser/nfpm/v2"
	"github.com/goreleaser/nfpm/v2/deb"
	"github.com/goreleaser/nfpm/v2/files"
)

const about = `looks after a ranch's photo-monitoring record
 linecamp knows every photo and note of a photo-monitoring archive by its
 content, keeps a second and a third copy of each on a drive and in
 S3-compatible storage, reads those copies again to find bytes that went bad,
 says which years are missing, and brings any site's full history back.`

//go:embed deb/copyright
var copyright []byte

// deb makes the Debian package (Debian Policy 4.6; the Filesystem Hierarchy Standard
// for where things lie).
func (w *work) deb(arch, program string, licenses []byte, pages []file) error {
	b, err := os.ReadFile(program)
	if err != nil {
		return err
	}
	units, err := w.read(map[string]string{
		"/usr/lib/systemd/system/linecamp.service": "systemd/linecamp.service",
		"/usr/lib/systemd/user/linecamp.service":   "systemd/linecamp-user.service",
		"/usr/lib/sysusers.d/linecamp.conf":        "systemd/linecamp.sysusers",
	})
	if err != nil {
		return err
	}
	for i, u := range units {
		text := string(u.body)
		for _, where := range []string{"/usr/local/bin/linecamp", "%h/.local/bin/linecamp"} {
			text = strings.ReplaceAll(text, where, "/usr/bin/linecamp")
		}
		units[i].body = []byte(text)
	}
	readme, err := w.read(map[string]string{"/usr/share/doc/linecamp/README.md": "README.md", "/usr/share/doc/linecamp/service.md": "systemd/README.md"})
	if err != nil {
		return err
	}
	all := append(units, readme...)
	all = append(all,
		file{"/usr/bin/linecamp", b, 0o755},
		file{name: "/usr/share/doc/linecamp/copyright", body: copyright},
		file{name: "/usr/share/doc/linecamp/licenses-of-modules.gz", body: packed(licenses)},
		file{name: "/usr/share/doc/linecamp/changelog.gz", body: packed(w.changelog())},
	)
	places := map[string]string{
		"completions/bash/linecamp":      "/usr/share/bash-completion/completions/linecamp",
		"completions/zsh/_linecamp":      "/usr/share/zsh/vendor-completions/_linecamp",
		"completions/fish/linecamp.fish": "/usr/share/fish/vendor_completions.d/linecamp.fish",
	}
	for _, p := range pages {
		if name, ok := strings.CutPrefix(p.name, "man/"); ok {
			all = append(all, file{name: "/usr/share/man/man1/" + name + ".gz", body: packed(p.body)})
		} else if to, ok := places[p.name]; ok {
			all = append(all, file{name: to, body: p.body})
		}
	}
	info := &nfpm.Info{
		Name: "linecamp", Arch: arch, Platform: "linux", Version: w.version, VersionSchema: "none", Section: "utils", Priority: "optional",
		Maintainer: w.maintainer, Description: about, MTime: w.at, DisableGlobbing: true,
	}
	// Two libraries load others while the program runs, so it is linked to the system's own.
	info.Depends = []string{"libc6", "systemd | passwd"}
	info.Recommends = []string{"ca-certificates"}
	script := func(name string) string { return filepath.Join(w.source, "systemd", "packages", "deb", name) }
	info.Scripts = nfpm.Scripts{PostInstall: script("postinst"), PreRemove: script("prerm"), PostRemove: script("postrm")}
	staged := filepath.Join(w.scratch, "deb-"+arch)
	for _, f := range all {
		from := filepath.Join(staged, filepath.FromSlash(f.name))
		if err := os.MkdirAll(filepath.Dir(from), 0o755); err != nil {
			return err
		}
		if err := os.WriteFile(from, f.body, f.perm()); err != nil {
			return err
		}
		info.Contents = append(info.Contents, &files.Content{Source: from, Destination: f.name,
			FileInfo: &files.ContentFileInfo{Owner: "root", Group: "root", Mode: f.perm(), MTime: w.at}})
	}
	info = nfpm.WithDefaults(info)
	if err := nfpm.PrepareForPackager(info, "deb"); err != nil {
		return err
	}
	out, err := os.Create(filepath.Join(w.into, fmt.Sprintf("linecamp_%s_%s.deb", w.version, arch)))
	if err != nil {
		return err
	}
	defer out.Close()
	if err := deb.Default.Package(info, out); err != nil {
		return err
	}
	return out.Close()
}

// changelog is Debian's form of it (Debian Policy, section 4.4).
func (w *work) changelog() []byte {
	return fmt.Appendf(nil, "linecamp (%s) stable; urgency=medium\n\n  * Version %s.\n\n -- %s  %s\n", w.version, w.version, w.maintainer, w.at.Format(time.RFC1123Z))
}

// packed is gzip without a name and a time, as strong as it goes (Debian Policy,
// section 12.1).
func packed(b []byte) []byte {
	var out bytes.Buffer
	z, _ := gzip.NewWriterLevel(&out, gzip.BestCompression)
	_, _ = z.Write(b)
	_ = z.Close()
	return out.Bytes()
}
