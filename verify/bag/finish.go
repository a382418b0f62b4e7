package bag

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"slices"
	"strings"
	"time"

	"linecamp/manifest/store/fault"
	"linecamp/manifest/wholefile"
)

// Tag is a label of bag-info.txt with its value. A line end in either becomes a
// space.
type Tag struct{ Label, Value string }

// Contents are what Finish puts beside the payload.
type Contents struct {
	Info  []Tag             // for bag-info.txt, after the ones that Finish computes
	Files map[string][]byte // further tag files, by name
	Day   time.Time         // for Bagging-Date; its calendar day in its own zone
}

// ErrNotBag marks a folder that cannot be made a bag, because something stands
// in the way.
var ErrNotBag = errors.New("no bag can be made of it")

// Oxum is a payload's size as section 2.2.2 writes it: bytes, a dot, files.
func Oxum(bytes int64, files int) string { return fmt.Sprintf("%d.%d", bytes, files) }

// Finish makes a bag of a folder whose data/ holds the payload, durable already:
// it reads every payload file, writes and syncs the lists and tag files, and
// writes bagit.txt last. It returns the payload's Oxum. A folder that is a bag
// already is ErrNotBag, and so is a payload with a link in it.
func Finish(ctx context.Context, folder string, c Contents, progress func(done, total int64)) (string, error) {
	root, err := os.OpenRoot(folder)
	if err != nil {
		return "", fmt.Errorf("the bag %s: %w", folder, err)
	}
	defer root.Close()
	if _, err := root.Lstat(declarationName); err == nil {
		return "", fault.Say(ErrNotBag, "%s is a bag already", folder)
	}
	lists, size, files, err := payloadLists(ctx, root, progress)
	if err != nil {
		return "", fmt.Errorf("the bag %s: %w", folder, err)
	}
	tagFiles := map[string][]byte{}
	maps.Copy(tagFiles, c.Files)
	for a, l := range lists {
		tagFiles["manifest-"+a+".txt"] = l
	}
	sum := Oxum(size, files)
	tagFiles[infoName] = info(append([]Tag{{"Bagging-Date", c.Day.Format(time.DateOnly)}, {"Payload-Oxum", sum}}, c.Info...))
	// The declaration is in the tag lists too, though it is written last.
	tagFiles[declarationName] = []byte(declaration)
	for name, text := range tagLists(ctx, tagFiles) {
		tagFiles[name] = text
	}
	delete(tagFiles, declarationName)
	for _, name := range slices.Sorted(maps.Keys(tagFiles)) {
		if err := write(root, name, tagFiles[name]); err != nil {
			return "", fmt.Errorf("the bag %s: %w", folder, err)
		}
	}
	// The lists' names last before the file that makes this a bag is there.
	if err := syncNames(root); err != nil {
		return "", fmt.Errorf("the bag %s could not be made durable: %w", folder, err)
	}
	if err := write(root, declarationName, []byte(declaration)); err != nil {
		return "", fmt.Errorf("the bag %s: %w", folder, err)
	}
	return sum, syncNames(root)
}

// payloadLists digests the payload and returns one list for each algorithm.
func payloadLists(ctx context.Context, root *os.Root, progress func(done, total int64)) (lists map[string][]byte, size int64, files int, err error) {
	var paths []string
	err = fs.WalkDir(root.FS(), payloadFolder, func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		if !d.Type().IsRegular() {
			return fault.Say(ErrNotBag, "%q is a link or a device", p)
		}
		st, err := d.Info()
		if err != nil {
			return err
		}
		paths = append(paths, p)
		size += st.Size()
		return nil
	})
	if err != nil {
		return nil, 0, 0, err
	}
	lists = map[string][]byte{}
	var done, read int64
	for _, p := range paths {
		f, err := root.Open(p)
		if err != nil {
			return nil, 0, 0, err
		}
		got, err := sums(ctx, f, written, func(n int64) {
			read += n
			done += n
			if progress != nil {
				progress(done, max(size, done))
			}
		})
		if err := errors.Join(err, f.Close()); err != nil {
			return nil, 0, 0, err
		}
		for _, a := range written {
			lists[a] = appendLine(lists[a], got[a], p)
		}
	}
	return lists, read, len(paths), nil
}

// tagLists are the tag manifests of the tag files (section 2.2.1).
func tagLists(ctx context.Context, files map[string][]byte) map[string][]byte {
	lists := map[string][]byte{}
	for _, name := range slices.Sorted(maps.Keys(files)) {
		got, _ := sums(ctx, bytes.NewReader(files[name]), written, func(int64) {})
		for _, a := range written {
			lists["tagmanifest-"+a+".txt"] = appendLine(lists["tagmanifest-"+a+".txt"], got[a], name)
		}
	}
	return lists
}

// appendLine adds a line in the form that sha256sum -c reads.
func appendLine(list []byte, digest, path string) []byte {
	return append(list, digest+"  "+encoder.Replace(path)+"\n"...)
}

// info is the text of bag-info.txt.
func info(tags []Tag) []byte {
	line := strings.NewReplacer("\r\n", " ", "\n", " ", "\r", " ")
	var b strings.Builder
	for _, t := range tags {
		fmt.Fprintf(&b, "%s: %s\n", line.Replace(t.Label), line.Replace(t.Value))
	}
	return []byte(b.String())
}

// write puts a tag file in place, over what an earlier Finish that was stopped
// left there.
func write(root *os.Root, name string, text []byte) error {
	f, err := root.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o666)
	if err != nil {
		return err
	}
	_, err = f.Write(text)
	return errors.Join(err, f.Sync(), f.Close())
}

// syncNames makes the names of the tag files durable.
func syncNames(root *os.Root) error {
	dir, err := root.Open(".")
	if err != nil {
		return err
	}
	return errors.Join(wholefile.SyncOpen(dir), dir.Close())
}
