package ocfl

import (
	"context"
	"encoding/json"
	"errors"
	"strings"
	"sync"
	"testing"
)

func TestNoContent(t *testing.T) {
	files := watched{tree: one().tree(), t: t}
	files.file(aPath, "First photo\n")
	var mu sync.Mutex
	var opened []string
	files.opens = func(name string) {
		mu.Lock()
		defer mu.Unlock()
		if strings.Contains(name, "/content/") {
			opened = append(opened, name)
		}
	}
	r, err := Validate(t.Context(), files, Options{NoContent: true, Progress: func(done, total int64) { t.Error("progress of nothing") }})
	must(t, err)
	if codes(r) != "" || len(opened) > 0 {
		t.Errorf("%v %s", opened, shown(r))
	}
	r, err = Validate(t.Context(), files, Options{})
	must(t, err)
	if codes(r) != "E092" || len(opened) != 2 {
		t.Errorf("%v %s", opened, shown(r))
	}
	files.remove(aPath)
	r, err = Validate(t.Context(), files, Options{NoContent: true})
	must(t, err)
	if codes(r) != "E092" {
		t.Errorf("a file that is gone: %s", shown(r))
	}
}

func TestProgress(t *testing.T) {
	for _, files := range []tree{two().tree(), root("1.1")} {
		var mu sync.Mutex
		var last, all int64
		_, err := Validate(t.Context(), files, Options{Workers: 3, Progress: func(done, total int64) {
			mu.Lock()
			defer mu.Unlock()
			if done > total || all != 0 && all != total {
				t.Errorf("%d of %d after %d of %d", done, total, last, all)
			}
			last, all = max(last, done), total
		}})
		must(t, err)
		if last != all || all == 0 {
			t.Errorf("ended at %d of %d", last, all)
		}
	}
}

func TestCancel(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	files := watched{tree: root("1.1"), t: t, opens: func(name string) {
		if strings.HasSuffix(name, "v2/content/a.txt") {
			cancel()
		}
	}}
	if _, err := Validate(ctx, files, Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("%v", err)
	}
}

func TestReportJSON(t *testing.T) {
	files := root("1.1")
	files.remove("stake-4/v1/content/a.txt")
	files.file("extensions/our-own/x", "")
	r, err := Validate(t.Context(), files, Options{})
	must(t, err)
	got, err := json.Marshal(r)
	must(t, err)
	const want = `{"root":"a folder in memory","valid":false,"objects":[` +
		`{"path":"stake-3","id":"urn:example:stake-3","valid":true,"errors":[],"warnings":[]},` +
		`{"path":"stake-4","id":"urn:example:stake-4","valid":false,"errors":[{"code":"E092","path":"v1/content/a.txt","detail":"v1/inventory.json names this file, and it is not there"}],"warnings":[]}],` +
		`"errors":[],"warnings":[{"code":"W016","path":"extensions/our-own","detail":"no extension is registered under this name"}]}`
	if string(got) != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
}

func TestPrint(t *testing.T) {
	print := func(files tree) string {
		r, err := Validate(t.Context(), files, Options{})
		must(t, err)
		var b strings.Builder
		r.Print(&b)
		return b.String()
	}
	files := root("1.1")
	if got, want := print(files), "a folder in memory is valid: an OCFL storage root with 2 objects.\n"; got != want {
		t.Errorf("got %q", got)
	}
	files.remove("stake-4/v1/content/a.txt")
	for _, n := range []string{"1", "2", "3", "4", "5", "6\n\x1b[31m", "7"} {
		files.file("stake-4/v1/content/"+n, "")
	}
	files.file("extensions/our-own/x", "")
	const want = `a folder in memory is NOT valid as an OCFL storage root: 1 of 2 objects not valid.

Errors in stake-4 (urn:example:stake-4):
  E023  stake-4/v1/content/1: the manifest does not name this file
  E023  stake-4/v1/content/2: the manifest does not name this file
  E023  stake-4/v1/content/3: the manifest does not name this file
  E023  stake-4/v1/content/4: the manifest does not name this file
  E023  stake-4/v1/content/5: the manifest does not name this file
  E023  and 2 more
  E092  stake-4/v1/content/a.txt: v1/inventory.json names this file, and it is not there

Warnings, which do not make it invalid:
  W016  extensions/our-own: no extension is registered under this name
`
	if got := print(files); got != want {
		t.Errorf("got\n%s", got)
	}
	for name, c := range map[string]struct {
		files tree
		want  string
	}{
		"object":     {one().tree(), "a folder in memory is valid: an OCFL object.\n"},
		"empty root": {tree{"0=ocfl_1.1": {data: []byte("ocfl_1.1\n")}}, "a folder in memory is valid: an OCFL storage root without objects.\n"},
	} {
		if got := print(c.files); got != c.want {
			t.Errorf("%s: got %q", name, got)
		}
	}
	bad := one().tree()
	bad.remove("inventory.json")
	if got := print(bad); !strings.HasPrefix(got, "a folder in memory is NOT valid as an OCFL object.\n\nErrors in the object .:\n  E063  .: ") {
		t.Errorf("got %q", got)
	}
}
