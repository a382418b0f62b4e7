package history_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"slices"
	"strings"
	"testing"

	"linecamp/daemon/show/text"
	"linecamp/manifest"
	"linecamp/verify"
	"linecamp/verify/history"
	"linecamp/verify/verifytest"
)

func TestFindSite(t *testing.T) {
	sites := []verify.Site{
		{Object: "creek--stake-1", Site: "Stake 1", Pasture: "Creek", Folder: "Creek/Stake 1"},
		{Object: "creek--stake-10", Site: "Stake 10", Pasture: "Creek", Folder: "Creek/Stake 10"},
		{Object: "windmill--stake-1", Site: "Stake 1", Pasture: "Windmill", Folder: "Windmill/Stake 1"},
		{Object: "unfiled", Site: ""},
		{Object: "canon-gate", Site: "Cañon Gate", Folder: "Cañon Gate"},
		{Object: "draw--stake-4", Site: "stake 4", Pasture: "Draw", Folder: "Draw/stake 4"},
		{Object: "draw--stake-4-2", Site: "Stake 4", Pasture: "Draw", Folder: "Draw/Stake 4"},
	}
	for _, tt := range []struct {
		name string
		want string // object, "" for none, "many" for several
	}{
		{"creek--stake-1", "creek--stake-1"}, {"Creek/Stake 1", "creek--stake-1"}, {"creek/stake 1/", "creek--stake-1"},
		{"Stake 1", "many"}, {"stake 10", "creek--stake-10"}, {"windmill", "windmill--stake-1"}, {"creek", "many"},
		{"CANON GATE", "canon-gate"}, {"canon g", "canon-gate"}, {"Can\u0303on", "canon-gate"}, {"cañon gate", "canon-gate"},
		{"Stake 4", "draw--stake-4-2"}, {"stake 4", "draw--stake-4"}, {"STAKE 4", "many"}, {"Draw/Stake 4", "draw--stake-4-2"},
		{"unfiled", "unfiled"}, {"Stake 2", ""}, {"", ""}, {" ", ""},
	} {
		s, err := history.Find(sites, tt.name)
		var many *history.ManySites
		switch {
		case tt.want == "many":
			if !errors.As(err, &many) || len(many.Sites) != 2 && tt.name == "Stake 1" || !strings.Contains(err.Error(), "stake-") {
				t.Errorf("%q: %v, %v", tt.name, s, err)
			}
		case tt.want == "":
			if !errors.Is(err, history.ErrNoSite) {
				t.Errorf("%q: %v, %v", tt.name, s, err)
			}
		case err != nil || s.Object != tt.want:
			t.Errorf("%q: %v, %v", tt.name, s, err)
		}
	}
}

func TestSitesAndHistory(t *testing.T) {
	r := verifytest.New(t, 2)
	ctx := context.Background()
	s := verifytest.Visits(2019, 2020)
	s["2019-06-21/plot.xmp"] = verifytest.File{Bytes: []byte("x"), Modified: verifytest.Day(2019, 6, 21), Entry: manifest.Entry{Kind: manifest.KindCompanion, Visit: "2019-06-21", With: "2019-06-21/plot.jpg"}}
	r.Version(verifytest.Stake, verifytest.Day(2020, 7, 1), s)
	r.Version(verifytest.Stake, verifytest.Day(2021, 7, 1), verifytest.Visits(2020, 2021)) // 2019 deleted
	r.Version(verifytest.Stake, verifytest.Day(2022, 7, 1), verifytest.Visits(2020, 2021, 2022), 1)
	sites, err := history.Sites(ctx, r.Copies[0].Root)
	if err != nil || len(sites) != 1 || sites[0] != (verify.Site{Object: "windmill--stake-3", Site: "Stake 3", Pasture: "Windmill", Folder: "Windmill/Stake 3"}) {
		t.Fatalf("%+v, %v", sites, err)
	}
	h, err := history.Of(ctx, r.Copies[0].Root, sites[0])
	if err != nil {
		t.Fatal(err)
	}
	if h.Archive != "saltbush-draw" || h.ID != "linecamp:saltbush-draw:windmill--stake-3" || len(h.Versions) != 2 || !h.Wants() || !slices.Equal(h.Missing, []int{3}) {
		t.Errorf("%+v", h)
	}
	if v := h.Versions[0]; v.Files != 7 || v.Bytes == 0 || v.Version != 1 || !v.Created.Equal(verifytest.Day(2020, 7, 1)) {
		t.Errorf("version %+v", v)
	}
	if len(h.Visits) != 3 || h.Visits[0].Date != "2019-06-21" || len(h.Visits[0].Photos) != 2 || len(h.Visits[0].Notes) != 1 || h.Visits[0].Photos[1].View != "plot" ||
		h.Visits[0].Photos[1].Path != "Windmill/Stake 3/2019-06-21/plot.jpg" || len(h.Other) != 1 {
		t.Errorf("visits %+v", h.Visits)
	}
	b, err := json.Marshal(h)
	if err != nil {
		t.Fatal(err)
	}
	for _, key := range []string{`"archive"`, `"site"`, `"id"`, `"versions"`, `"visits"`, `"created"`, `"photos"`} {
		if !bytes.Contains(b, []byte(key)) {
			t.Errorf("the JSON lacks %s", key)
		}
	}
	var out strings.Builder
	text.Print(&out, h)
	for _, words := range []string{"Windmill / Stake 3", "2019-06-21", "2 photos (landscape, plot), 1 note", "another copy"} {
		if !strings.Contains(strings.ToLower(out.String()), strings.ToLower(words)) {
			t.Errorf("printed without %q:\n%s", words, out.String())
		}
	}
	// With its record damaged a site is still listed and its history told.
	inv := r.Heads["windmill--stake-3"]
	verifytest.Flip(t, r.Path(1, "windmill--stake-3/"+inv.Content[inv.State(3)[manifest.RecordPath]][0]))
	sites, err = history.Sites(ctx, r.Copies[1].Root)
	if err != nil || len(sites) != 1 || sites[0].Site != "Stake 3" {
		t.Fatalf("%+v, %v", sites, err)
	}
	h, err = history.Of(ctx, r.Copies[1].Root, sites[0])
	if err != nil || !slices.Equal(h.Unread, []int{3}) || len(h.Visits) < 3 {
		t.Errorf("%+v, %v", h, err)
	}
}

func TestPrint(t *testing.T) {
	rep := verify.Report{Archive: "saltbush-draw", Copies: []verify.CopyReport{
		{Copy: "working", Files: 9, Bytes: 9000, ReadBack: verify.Share{Files: 9, Bytes: 9000}},
		{Copy: "shelf-drive", Files: 9, Bytes: 9000, ReadBack: verify.Share{Files: 9, Bytes: 9000}},
		{Copy: "bucket", Files: 9, Bytes: 9000, ReadBack: verify.Share{Files: 2, Bytes: 2000}, Confirmed: verify.Share{Files: 7, Bytes: 7000}},
		{Copy: "second", Away: true, Error: "not plugged in for 3 days"},
	}, Judged: true, Years: []verify.Year{{Site: "Stake 3", Year: 2019, State: verify.Whole}}}
	var out strings.Builder
	text.Print(&out, rep)
	if rep.Wants() {
		t.Error("all is well, and it wants a person")
	}
	if n := strings.Count(out.String(), "\n"); n != 5 {
		t.Errorf("all is well, in %d lines:\n%s", n, out.String())
	}
	rep.Copies[1].Damage = []verify.Damage{{Site: "Stake 3", Path: "Windmill/Stake 3/2019/plot\x1b[2J.jpg", Kind: verify.Altered, Detail: "x"}}
	rep.Years = append(rep.Years, verify.Year{Site: "Stake 3", Pasture: "Windmill", Year: 2020, State: verify.Skipped}, verify.Year{Site: "Stake 3", Pasture: "Windmill", Year: 2021, State: verify.Skipped})
	out.Reset()
	text.Print(&out, rep)
	if !rep.Wants() || strings.Contains(out.String(), "\x1b") {
		t.Errorf("wants %v, printed %q", rep.Wants(), out.String())
	}
	for _, words := range []string{"linecamp mend", "Windmill / Stake 3  2020-2021", "7 only confirmed by the service", "DAMAGE"} {
		if !strings.Contains(out.String(), words) {
			t.Errorf("printed without %q:\n%s", words, out.String())
		}
	}
}
