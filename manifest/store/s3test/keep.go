package s3test

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"strings"

	"github.com/johannesboyne/gofakes3"
	"github.com/johannesboyne/gofakes3/backend/s3mem"
)

// keep does to the folder what a request did to the server.
func (h *rules) keep(r *http.Request, bucket, key string) error {
	if h.folder == "" || bucket == "" || r.URL.Query().Has("partNumber") {
		return nil
	}
	if !filepath.IsLocal(bucket) || key != "" && !filepath.IsLocal(filepath.FromSlash(key)) {
		return nil // such a name has no file; it is served from memory only
	}
	name := filepath.Join(h.folder, bucket, filepath.FromSlash(key))
	switch {
	case r.Method == http.MethodDelete && r.URL.Query().Has("uploadId"):
		return nil
	case r.Method == http.MethodDelete:
		if err := os.Remove(name); err != nil && !os.IsNotExist(err) {
			return err
		}
		return nil
	case key == "":
		return os.MkdirAll(name, 0o755)
	}
	b, ok := h.get(r.Context(), "/"+bucket+"/"+key)
	if !ok {
		return nil
	}
	if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
		return err
	}
	return os.WriteFile(name, b, 0o644)
}

// load serves what the folder holds.
func (h *rules) load(backend *s3mem.Backend) error {
	if h.folder == "" {
		return nil
	}
	if err := os.MkdirAll(h.folder, 0o755); err != nil {
		return err
	}
	return filepath.WalkDir(h.folder, func(name string, e fs.DirEntry, err error) error {
		if err != nil || name == h.folder {
			return err
		}
		rel, err := filepath.Rel(h.folder, name)
		if err != nil {
			return err
		}
		bucket, key, inside := strings.Cut(filepath.ToSlash(rel), "/")
		if !inside {
			if e.IsDir() {
				return backend.CreateBucket(bucket)
			}
			return nil
		}
		if e.IsDir() {
			return nil
		}
		b, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		sum := sha256.Sum256(b)
		info, err := e.Info()
		if err != nil {
			return err
		}
		_, err = backend.PutObject(bucket, key, map[string]string{
			"Content-Type":          "application/octet-stream",
			"Last-Modified":         info.ModTime().UTC().Format(http.TimeFormat),
			"X-Amz-Meta-Sha256":     hex.EncodeToString(sum[:]),
			"X-Amz-Checksum-Sha256": base64.StdEncoding.EncodeToString(sum[:]),
		}, bytes.NewReader(b), int64(len(b)), (*gofakes3.PutConditions)(nil))
		return err
	})
}
