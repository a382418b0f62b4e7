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
