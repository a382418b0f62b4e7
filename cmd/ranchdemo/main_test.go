package main

import (
	"bufio"
	"bytes"
	"context"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"linecamp/cmd/ranchdemo/ranch"
	"linecamp/verify"
)

// The whole job, as a person on a fresh machine runs it, and then the service
// again for the config it left.
func TestTheWholeJobAndItsServiceAgain(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "practice ranch")
	var out, errs bytes.Buffer
	if status := run(t.Context(), []string{"-odd", "-dir", dir}, &out, &errs); status != 0 {
		t.Fatalf("status %d\n%s\n%s", status, errs.String(), out.String())
	}
	text := out.String()
	for _, want := range []string{
		"$ linecamp tally", "$ linecamp mirror", "$ linecamp verify", "$ linecamp mend", "$ linecamp status",
		"Damage on shelf-drive", "Playa Stake 5/2015-08-16/plot.jpg", "$ linecamp restore 'Windmill Stake 1' --year 2012 --into $DIR/ranch", // what was broken
		"16 findings: each was put there, and nothing else was found: true", // one of each oddity
		"All are as they should be", "Look at the pictures: " + filepath.Join(dir, "ranch"),
		"hazard to stock, tires and feet", "buried lines", "lightning", "alone", "landowner", "licensed practice",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the story does not tell %q:\n%s", want, text)
		}
	}
	for _, not := range []string{"NOT SO", "practice-ranch"} { // the second is the service's secret
		if strings.Contains(text, not) {
			t.Errorf("the story tells %q:\n%s", not, text)
		}
	}
	if begin, _, ok := strings.Cut(text, "One oddity of each kind"); !ok || strings.Count(begin, "\n") > 75 {
		t.Errorf("the story is %d lines long before its oddities:\n%s", strings.Count(begin, "\n"), begin)
	}

	// a second run in the same folder leaves everything alone
	if status := run(t.Context(), []string{"-dir", dir}, io.Discard, &errs); status != 1 || !strings.Contains(errs.String(), "-serve") {
		t.Errorf("a second run: status %d, %q", status, errs.String())
	}

	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	r, w := io.Pipe()
	ended := make(chan int, 1)
	go func() {
		ended <- run(ctx, []string{"-serve", "-dir", dir}, w, w)
		w.Close()
	}()
	lines := bufio.NewScanner(r)
	url := ""
	for url == "" && lines.Scan() {
		if _, after, ok := strings.Cut(lines.Text(), "up again at "); ok {
			url = strings.TrimSuffix(strings.Fields(after)[0], ",")
		}
	}
	go io.Copy(io.Discard, r)
	resp, err := http.Get(url + "/monitoring/" + archiveName + "/0=ocfl_1.1")
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	if b, err := io.ReadAll(resp.Body); err != nil || resp.StatusCode != 200 || string(b) != "ocfl_1.1\n" {
		t.Errorf("the service again: status %d, %q, %v", resp.StatusCode, b, err)
	}
	stop()
	if status := <-ended; status != 0 {
		t.Errorf("stopped with status %d", status)
	}
}

func TestUsage(t *testing.T) {
	full := t.TempDir()
	if err := os.WriteFile(filepath.Join(full, "mine.txt"), []byte("mine"), 0o666); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args   []string
		status int
		says   string
	}{
		{[]string{"-h"}, 0, "practice ranch"},
		{[]string{"-nonsense"}, 2, "nonsense"},
		{[]string{"stray"}, 2, "-dir"},
		{[]string{"-dir", full}, 1, "not empty"},
		{[]string{"-dir", filepath.Join(full, "mine.txt")}, 1, "mine.txt"},
	} {
		var errs bytes.Buffer
		if status := run(t.Context(), c.args, io.Discard, &errs); status != c.status || !strings.Contains(errs.String(), c.says) {
			t.Errorf("%q: status %d, %q; want %d and %q", c.args, status, errs.String(), c.status, c.says)
		}
	}
	if left, _ := os.ReadDir(full); len(left) != 1 {
		t.Errorf("left %v behind", left)
	}
}

func TestInterruptedAtOnce(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	stop()
	var errs bytes.Buffer
	if status := run(ctx, []string{"-dir", t.TempDir()}, io.Discard, &errs); status != 1 || !strings.Contains(errs.String(), "Interrupted") {
		t.Errorf("status %d, %q", status, errs.String())
	}
}

// What linecamp finds is held against what was drawn both ways.
func TestYearsAreComparedHonestly(t *testing.T) {
	flaws := ranch.Flaws{
		Skipped: []ranch.SiteYear{{Pasture: "P", Site: "A", Year: 2014}},
		NoNote:  []ranch.SiteYear{{Pasture: "P", Site: "B", Year: 2021}},
	}
	right := []verify.Year{
		{Pasture: "P", Site: "A", Year: 2013, State: verify.Whole},
		{Pasture: "P", Site: "A", Year: 2014, State: verify.Skipped},
		{Pasture: "P", Site: "B", Year: 2021, State: verify.Short, Lacks: []string{"note"}},
		{Pasture: "P", Site: "B", Year: 2026, State: verify.Due},
	}
	for name, c := range map[string]struct {
		change func([]verify.Year) []verify.Year
		told   string // "" if all is right
	}{
		"right":        {func(y []verify.Year) []verify.Year { return y }, ""},
		"one missed":   {func(y []verify.Year) []verify.Year { return y[:2] }, "B 2021: no note. It was drawn"},
		"one too many": {func(y []verify.Year) []verify.Year { y[0].State = verify.Lost; return y }, "A 2013: lost. It was reported"},
		"wrong lack":   {func(y []verify.Year) []verify.Year { y[2].Lacks = []string{"plot"}; return y }, "B 2021: no plot. It was reported"},
		"wrong site":   {func(y []verify.Year) []verify.Year { y[1].Site = "C"; return y }, "C 2014: nobody came. It was reported"},
	} {
		t.Run(name, func(t *testing.T) {
			var out bytes.Buffer
			s := &story{out: &out, ranch: &ranch.Ranch{}}
			years := append([]verify.Year(nil), right...)
			s.checkYears(c.change(years), flawsOf(flaws))
			if s.differs != (c.told != "") || !strings.Contains(out.String(), c.told) {
				t.Errorf("differs %v, told\n%s", s.differs, out.String())
			}
		})
	}
}

func TestCopiesAreComparedHonestly(t *testing.T) {
	for _, damaged := range []int{0, 1, 2} {
		var out bytes.Buffer
		s := &story{out: &out}
		s.checkCopies([]toldCopy{{CopyReport: verify.CopyReport{Copy: driveName, Files: damaged, Damage: make([]verify.Damage, damaged)}}}, map[string]int{driveName: 1})
		if s.differs != (damaged != 1) {
			t.Errorf("%d damaged, 1 expected: differs %v\n%s", damaged, s.differs, out.String())
		}
	}
}

func TestFlipChangesOneBitAndNothingElse(t *testing.T) {
	name := filepath.Join(t.TempDir(), "f")
	good := bytes.Repeat([]byte("saltbush "), 50)
	if err := os.WriteFile(name, good, 0o444); err != nil {
		t.Fatal(err)
	}
	was, err := os.Stat(name)
	if err != nil {
		t.Fatal(err)
	}
	if err := flip(name); err != nil {
		t.Fatal(err)
	}
	is, err := os.Stat(name)
	if err != nil {
		t.Fatal(err)
	}
	if is.Size() != was.Size() || !is.ModTime().Equal(was.ModTime()) || is.Mode() != was.Mode() {
		t.Errorf("it shows: %v %v %v", is.Size(), is.ModTime(), is.Mode())
	}
	b, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	bits := 0
	for i := range b {
		for x := b[i] ^ good[i]; x != 0; x &= x - 1 {
			bits++
		}
	}
	if bits != 1 {
		t.Errorf("%d bits changed, want 1", bits)
	}
}

func TestDifferencesAreAllTold(t *testing.T) {
	at := ranchTime(t)
	want := map[string]file{"a": {[]byte("a"), at}, "b": {[]byte("b"), at}, "c": {[]byte("c"), at}, "same": {[]byte("s"), at}}
	got := map[string]file{"b": {[]byte("B"), at}, "c": {[]byte("c"), at.Add(1)}, "d": {nil, at}, "same": {[]byte("s"), at}}
	if wrong := differences(want, got); len(wrong) != 4 {
		t.Errorf("want 4 differences, got %q", wrong)
	}
	if wrong := differences(want, want); len(wrong) != 0 {
		t.Errorf("no difference, but %q", wrong)
	}
}

func ranchTime(t *testing.T) time.Time {
	t.Helper()
	return time.Date(2019, time.June, 24, 15, 30, 0, 0, time.UTC)
}
