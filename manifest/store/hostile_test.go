package store_test

import (
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"linecamp/manifest/store"
	"linecamp/manifest/store/drive"
	"linecamp/manifest/store/s3"
)

// A service that is hostile, or a bucket that a stranger filled: refused in a
// sentence, in bounded time and memory.
func TestHostileService(t *testing.T) {
	listing := func(keys ...string) string {
		var b strings.Builder
		b.WriteString(`<ListBucketResult><Name>b</Name><IsTruncated>false</IsTruncated>`)
		for _, k := range keys {
			fmt.Fprintf(&b, `<Contents><Key>%s</Key><Size>1</Size><LastModified>2026-07-02T02:30:00.000Z</LastModified></Contents><CommonPrefixes><Prefix>%s/</Prefix></CommonPrefixes>`, k, k)
		}
		return b.String() + `</ListBucketResult>`
	}
	xml := func(body string) func(*http.Request) *http.Response {
		return func(r *http.Request) *http.Response { return answer(r, 200, "application/xml", body) }
	}
	again := func(token func(int) string, inside string) func(*http.Request) *http.Response {
		n := 0
		return func(r *http.Request) *http.Response {
			n++
			return answer(r, 200, "application/xml", "<ListBucketResult><IsTruncated>true</IsTruncated><NextContinuationToken>"+token(n)+"</NextContinuationToken>"+inside+"</ListBucketResult>")
		}
	}
	endless := func(length int64, h http.Header, begin, piece string) func(*http.Request) *http.Response {
		return func(r *http.Request) *http.Response {
			resp := answer(r, 200, "application/xml", "")
			resp.ContentLength = length
			for k, v := range h {
				resp.Header[k] = v
			}
			resp.Header.Set("Last-Modified", "Thu, 02 Jul 2026 02:30:00 GMT")
			resp.Body = io.NopCloser(io.MultiReader(strings.NewReader(begin), &forever{piece: piece}))
			return resp
		}
	}
	big := http.Header{"Content-Length": {"1000000000000"}, "ETag": {`"e"`}}
	list := func(s store.Root) error {
		for info, err := range s.List(t.Context(), "a") {
			if err != nil {
				return err
			}
			if !strings.HasPrefix(info.Key, "a/") {
				return fmt.Errorf("accepted %.100q", info.Key)
			}
		}
		return nil
	}
	folders := func(s store.Root) error {
		names, err := s.Folders(t.Context(), "")
		for _, n := range names {
			if strings.Contains(n, "/") {
				return fmt.Errorf("accepted %.100q", n)
			}
		}
		return err
	}
	objects := func(s store.Root) error {
		names, err := store.Objects(t.Context(), s)
		if len(names) > 0 {
			return fmt.Errorf("accepted %.100q", names)
		}
		return err
	}
	identity := func(s store.Root) error { _, err := s.Identity(t.Context()); return err }
	whole := func(s store.Root) error {
		f, _, err := s.Open(t.Context(), "a")
		if err != nil {
			return err
		}
		defer f.Close()
		_, err = io.Copy(io.Discard, f)
		return err
	}
	for name, c := range map[string]struct {
		says func(*http.Request) *http.Response
		do   func(store.Root) error
		want error
	}{
		"keys that were not asked for":             {xml(listing("p/b/c")), list, store.ErrNotS3},
		"keys of other archives":                   {xml(listing("q/a/b")), list, store.ErrNotS3},
		"folders of other archives":                {xml(listing("../../q")), folders, store.ErrNotS3},
		"keys that climb":                          {xml(listing("p/../../etc/passwd")), objects, nil},
		"folders that climb":                       {xml(listing("p/..")), objects, nil},
		"a huge key":                               {xml(listing("p/" + strings.Repeat("x", 1<<20))), objects, nil},
		"a listing without end":                    {endless(-1, nil, "<ListBucketResult>", "<Contents><Key>p/a/b</Key></Contents>"), list, store.ErrNotS3},
		"a key without end":                        {endless(-1, nil, "<ListBucketResult><Contents><Key>p/a/", "x"), list, store.ErrNotS3},
		"nesting without end":                      {endless(-1, nil, "<ListBucketResult>", "<a>"), list, store.ErrNotS3},
		"no listing":                               {xml("<a/>"), list, nil},
		"one page again and again":                 {again(func(int) string { return "same" }, "<Contents><Key>p/a/b</Key></Contents>"), list, store.ErrNotS3},
		"two pages in turn":                        {again(func(n int) string { return strconv.Itoa(n % 2) }, "<Contents><Key>p/a/b</Key></Contents>"), list, store.ErrNotS3},
		"one page of folders again and again":      {again(func(int) string { return "same" }, "<CommonPrefixes><Prefix>p/a/</Prefix></CommonPrefixes>"), folders, store.ErrNotS3},
		"new pages for ever, without a key":        {again(strconv.Itoa, ""), list, store.ErrNotS3},
		"new pages for ever":                       {again(strconv.Itoa, "<Contents><Key>p/a/b</Key></Contents>"), list, store.ErrNotS3},
		"an identity without end":                  {endless(-1, http.Header{"ETag": {`"e"`}}, "{", " "), identity, store.ErrNotS3},
		"an identity of a terabyte":                {endless(1e12, big, "{", " "), identity, nil},
		"content that does not say how long it is": {endless(-1, http.Header{"ETag": {`"e"`}}, "", "x"), whole, store.ErrNotS3},
	} {
		t.Run(name, func(t *testing.T) {
			s, err := s3.Open(t.Context(), s3.Options{URL: "https://s3.example.net/bucket/p", Region: "r", Access: "a", Secret: "b", Fence: true,
				Transport: roundTripper(func(r *http.Request) (*http.Response, error) { return c.says(r), nil })})
			must(t, err)
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			err = c.do(s)
			runtime.ReadMemStats(&after)
			if c.want != nil {
				wantErr(t, err, c.want)
			}
			if strings.HasPrefix(name, "an identity") && err == nil {
				t.Error("accepted")
			}
			if err != nil {
				checkSentence(t, err)
			}
			if n := after.TotalAlloc - before.TotalAlloc; n > 1<<30 {
				t.Errorf("it took %d MiB", n>>20)
			}
		})
	}
}

// forever repeats a piece.
type forever struct {
	piece string
	at    int
}

func (f *forever) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = f.piece[f.at]
		f.at = (f.at + 1) % len(f.piece)
	}
	return len(p), nil
}

// What a root says about itself, written by somebody who means harm.
func TestHostileRootFiles(t *testing.T) {
	good := `{"extensionName":"linecamp-root","archive":"6f0c1f3e-9d0b-4c59-8a3f-0b6e3b1c7a11","name":"NAME","copy":"b81e62a0-6a4f-4b8c-b6c9-5b3a3b0f7d22","created":"2026-07-02T02:30:00Z"}`
	author := `{"archive":"6f0c1f3e-9d0b-4c59-8a3f-0b6e3b1c7a11","author":"2c4b7d10-1f0a-4c8e-9f52-3f1f6c0b8e44","machine":"MACHINE","epoch":1}`
	nested := strings.Repeat(`{"archive":`, 5000)
	identities := map[string]string{
		"climbs":    strings.Replace(good, "NAME", "../../etc/passwd", 1),
		"absolute":  strings.Replace(good, "NAME", "/etc/passwd", 1),
		"a device":  strings.Replace(good, "NAME", "con", 1),
		"escapes":   strings.Replace(good, "NAME", `\u001b[2Jx`, 1),
		"no name":   strings.Replace(good, "NAME", "", 1),
		"nested":    nested,
		"twice":     good + good,
		"more":      strings.Replace(good, "{", `{"more":1,`, 1),
		"no object": "[]",
		"empty":     "",
	}
	for name, text := range identities {
		t.Run(name, func(t *testing.T) {
			p := drivePlace(t)
			p.made(t)
			p.write(store.IdentityKey, []byte(text))
			_, err := p.open().Identity(t.Context())
			wantErr(t, err, store.ErrNoRoot)
			checkPlain(t, err)
		})
	}
	p := drivePlace(t)
	r := p.made(t)
	for name, text := range map[string]string{
		"nested": nested, "twice": author + author, "empty": "", "an epoch beyond": strings.Replace(author, "1}", "99999999999999999999}", 1),
		"an epoch that has no next": strings.Replace(author, "1}", "1000000001}", 1),
		"another form":              strings.Replace(author, "2c4b7d10", "../../..", 1), "below one": strings.Replace(author, "1}", "0}", 1),
	} {
		p.write(store.AuthorKey, []byte(text))
		a, _, err := store.ReadAuthor(t.Context(), r)
		if err == nil {
			t.Errorf("%s: accepted %+v", name, a)
			continue
		}
		checkPlain(t, err)
	}
	p.write(store.AuthorKey, []byte(strings.Replace(author, "MACHINE", `\u001b[2J`+strings.Repeat("m", 50000), 1)))
	a, _, err := store.ReadAuthor(t.Context(), r)
	must(t, err)
	if len(a.Machine) > 200 || strings.Contains(a.Machine, "\x1b") {
		t.Errorf("a machine called %.100q", a.Machine)
	}

	// Files that claim to be larger than any disk, and are not read.
	for _, key := range []string{store.IdentityKey, store.AuthorKey, store.SealFolder + "/00000.txt"} {
		p := drivePlace(t)
		r := p.made(t).(*drive.Drive)
		p.write(key, nil)
		name := r.Name() + "/" + key
		if err := os.Truncate(name, 1<<40); err != nil {
			t.Skip(err)
		}
		started := time.Now()
		_, ierr := r.Identity(t.Context())
		_, _, aerr := store.ReadAuthor(t.Context(), r)
		_, serr := store.ReadSeal(t.Context(), r)
		if errors.Join(ierr, serr) == nil && errors.Is(aerr, errAbsent) {
			t.Errorf("%s of a terabyte was accepted", key)
		}
		t.Logf("%s: %v, %v, %v after %v", key, ierr, aerr, serr, time.Since(started))
	}
}

// checkPlain holds an error to one printable line.
func checkPlain(t *testing.T, err error) {
	t.Helper()
	if s := err.Error(); strings.ContainsAny(s, "\n\x1b\x00") || len(s) > 600 {
		t.Errorf("the message is not one plain line: %.700q", s)
	}
}
