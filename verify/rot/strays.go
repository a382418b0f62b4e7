package rot

import (
	"context"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"

	"linecamp/manifest/store"
	"linecamp/manifest/words"
	"linecamp/verify"
)

// Files that every root has at its top.
var rootFiles = []string{store.RootNamaste, store.LayoutKey, store.ReadmeKey, store.FormatKey}

// Files of ours below extensions/.
var ourExtension = regexp.MustCompile(`^(0006-flat-omit-prefix-storage-layout/config\.json` +
	`|linecamp-root/(config|author)\.json|linecamp-root/probe.*` +
	`|linecamp-seal/log/[0-9]{5}\.txt` +
	`|linecamp-settings/[0-9]{5}-[0-9a-f]{8}\.toml|linecamp-left-behind/list\.json` +
	`|linecamp-program/(SHA256SUMS|linecamp-[a-z0-9]+-[a-z0-9]+(\.exe)?)` +
	`|linecamp-(staging|quarantine)/.*)$`)

// Folders of ours below extensions/. Another one with such a name is a newer program's,
// which is passed over.
var ourFolder = regexp.MustCompile(`^linecamp-(root|seal|settings|left-behind|program|staging|quarantine)$`)

func newerFolder(path string) bool {
	folder, _, inside := strings.Cut(path, "/")
	return inside && strings.HasPrefix(folder, "linecamp-") && !ourFolder.MatchString(folder)
}

// What operating systems leave on drives by themselves is passed over: it is
// counted, but asks nothing of a person. Anything else unknown is a stray.
var (
	litterFolders = []string{"lost+found", "System Volume Information", "$RECYCLE.BIN", "RECYCLER",
		".Trashes", ".Spotlight-V100", ".fseventsd", ".TemporaryItems", ".DocumentRevisions-V100"}
	litterFiles = []string{".DS_Store", "Thumbs.db", "desktop.ini", ".directory"}
)

func passedFolder(name string) bool {
	return slices.Contains(litterFolders, name) || strings.HasPrefix(name, ".Trash-")
}

func passedFile(path string) bool {
	name := path[strings.LastIndexByte(path, '/')+1:]
	return slices.Contains(litterFiles, name) || strings.HasPrefix(name, "._")
}

// passedPath reports whether a path lies in litter, or is litter.
func passedPath(path string) bool {
	for e := range strings.SplitSeq(path, "/") {
		if passedFolder(e) {
			return true
		}
	}
	return passedFile(path)
}

func (r *check) pass(n int) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.report.Passed += n
}

func (r *check) stray(site, object, content string, info store.Info) {
	if passedFile(content) {
		r.pass(1)
		return
	}
	path := content
	if object != "" {
		path = object + "/" + content
	}
	d := verify.Damage{Path: path, Kind: verify.Stray, Site: site, Object: object, Content: content, Copy: r.c.Name,
		Detail: "no part of the record; " + words.Size(info.Size)}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.report.Damage = append(r.report.Damage, d)
}

// strayFolder is one finding for a folder at the top that is no object's and
// that nothing of ours is being built in.
func (r *check) strayFolder(name string, files map[string]store.Info) {
	n, size := 0, int64(0)
	for p, info := range files {
		if passedFile(p) {
			r.pass(1)
			continue
		}
		n++
		size += info.Size
	}
	if n == 0 {
		return
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.report.Damage = append(r.report.Damage, verify.Damage{Path: name + "/", Kind: verify.Stray, Content: name, Copy: r.c.Name,
		Detail: fmt.Sprintf("a folder that belongs to no site: %s, %s", words.Count(int64(n), "file"), words.Size(size))})
}

// checkRoot looks for the file that makes a folder an OCFL storage root (OCFL
// 1.1 section 4.1), and at the one that says who records.
func (r *check) checkRoot(ctx context.Context) {
	const want = "ocfl_1.1\n"
	d := verify.Damage{Path: verify.RootPath, Content: store.RootNamaste}
	b, _, err := store.ReadSmall(ctx, r.c.Root, store.RootNamaste, largestSmall)
	switch {
	case r.over(ctx, err):
	case err != nil:
		d.Kind, d.Detail = kindOf(err), plain(err)
		r.damaged(ctx, nil, d)
	case string(b) != want:
		d.Kind, d.Detail = verify.Altered, differs(int64(len(b)), int64(len(want)))
		r.damaged(ctx, nil, d)
	}
	if _, _, err := store.ReadAuthor(ctx, r.c.Root); errors.Is(err, store.ErrNoAuthor) {
		r.damaged(ctx, nil, verify.Damage{Path: verify.RootPath, Content: store.AuthorKey, Kind: verify.Altered,
			Detail: "it does not tell any more who records the archive; `linecamp mirror` on the computer that records writes it again"})
	}
}

// rootFile looks at a file at the top of the root.
func (r *check) rootFile(name string, info store.Info) {
	if !slices.Contains(rootFiles, name) {
		r.stray("", "", name, info)
	}
}

// extensions looks for what is not ours below extensions/, and checks what no
// manifest names.
func (r *check) extensions(ctx context.Context, files map[string]store.Info) {
	for path, info := range files {
		if d, ok := store.LateDigest("extensions/" + path); ok {
			r.lateLog(ctx, "extensions/"+path, d)
			continue
		}
		switch {
		case newerFolder(path):
			r.pass(1)
		case !ourExtension.MatchString(path):
			r.stray("", "", "extensions/"+path, info)
		}
	}
}
