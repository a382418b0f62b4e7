package main

import (
	"archive/tar"
	"archive/zip"
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// file is one file of what is packed.
type file struct {
	name string
	body []byte
	mode os.FileMode // 0 is 0644
}

func (f file) perm() os.FileMode {
	if f.mode == 0 {
		return 0o644
	}
	return f.mode
}

// read takes files of the project.
func (w *work) read(as map[string]string) (all []file, err error) {
	for name, from := range as {
		b, err := os.ReadFile(filepath.Join(w.source, filepath.FromSlash(from)))
		if err != nil {
			return nil, err
		}
		all = append(all, file{name: name, body: b})
	}
	return all, nil
}

// archive packs all for a system in one file, in a folder of its own.
func (w *work) archive(system, arch, program string, licenses []byte, pages []file) error {
	b, err := os.ReadFile(program)
	if err != nil {
		return err
	}
	as := map[string]string{"README.md": "README.md", "LICENSE": "LICENSE"}
	if system == "linux" {
		for _, unit := range []string{"README.md", "linecamp.service", "linecamp-user.service", "linecamp.sysusers"} {
			as["systemd/"+unit] = "systemd/" + unit
		}
	}
	all, err := w.read(as)
	if err != nil {
		return err
	}
	all = append(all, file{name: "LICENSES-OF-MODULES.txt", body: licenses})
	name := "linecamp"
	if system == "windows" {
		name += ".exe"
	}
	all = append(all, file{name, b, 0o755})
	for _, p := range pages {
		if (system == "windows") == strings.HasPrefix(p.name, "completions/powershell/") {
			all = append(all, p)
		}
	}
	slices.SortFunc(all, func(a, b file) int { return strings.Compare(a.name, b.name) })
	top := fmt.Sprintf("linecamp-%s-%s-%s", w.version, system, arch)
	if system == "windows" {
		return w.zip(top, all)
	}
	return w.tar(top, all)
}

func (w *work) tar(top string, all []file) error {
	var b bytes.Buffer
	packed, err := gzip.NewWriterLevel(&b, gzip.BestCompression)
	if err != nil {
		return err
	}
	t := tar.NewWriter(packed)
	for _, f := range all {
		h := &tar.Header{Format: tar.FormatUSTAR, Typeflag: tar.TypeReg, Name: top + "/" + f.name, Size: int64(len(f.body)), Mode: int64(f.perm()), ModTime: w.at}
		if err := t.WriteHeader(h); err != nil {
			return err
		}
		if _, err := t.Write(f.body); err != nil {
			return err
		}
	}
	if err := t.Close(); err != nil {
		return err
	}
	if err := packed.Close(); err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(w.into, top+".tar.gz"), b.Bytes(), 0o644)
}

func (w *work) zip(top string, all []file) error {
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, f := range all {
		h := &zip.FileHeader{Name: top + "/" + f.name, Method: zip.Deflate, Modified: w.at}
		h.SetMode(f.perm())
		to, err := z.CreateHeader(h)
		if err != nil {
			return err
		}
		if _, err := to.Write(f.body); err != nil {
			return err
		}
	}
	if err := z.Close(); err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(w.into, top+".zip"), b.Bytes(), 0o644)
}

// sums writes SHA256SUMS, as sha256sum -c reads it.
func (w *work) sums() error {
	entries, err := os.ReadDir(w.into)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	for _, e := range entries {
		f, err := os.Open(filepath.Join(w.into, e.Name()))
		if err != nil {
			return err
		}
		h := sha256.New()
		_, err = io.Copy(h, f)
		f.Close()
		if err != nil {
			return err
		}
		fmt.Fprintf(&b, "%x  %s\n", h.Sum(nil), e.Name())
	}
	return os.WriteFile(filepath.Join(w.into, "SHA256SUMS"), b.Bytes(), 0o644)
}
