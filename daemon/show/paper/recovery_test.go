package paper

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

var sheet = Sheet{
	Archive: "saltbush-draw", Title: "Saltbush Draw Ranch", ID: "0b9d6c1e-4a52-4d53-9a37-0d8a4c1f1d01",
	Folder: "/srv/monitoring", Machine: "office", Size: Letter,
	Day:  time.Date(2026, 11, 28, 9, 30, 0, 0, time.FixedZone("", -7*3600)),
	Seal: "18 2026-11-28 4c68-d816-63f1-2072-c233-3da2-f79c-9de7",
	Places: []Place{
		{Name: "shelf-drive", Where: "top shelf of the tack room", Address: "/media/office/line-camp"},
		{Name: "bank-drive", Where: "the bank's box in Calico", Address: "/media/office/line-camp"},
		{Name: "bucket", Bucket: true, Address: "https://s3.example.net/monitoring/saltbush-draw", Region: "us-west-2", Key: "AKIAEXAMPLE0042"},
	},
}

func drawn(t *testing.T, s Sheet) (file string) {
	t.Helper()
	var b bytes.Buffer
	if err := Recovery(&b, s); err != nil {
		t.Fatal(err)
	}
	file = filepath.Join(t.TempDir(), "sheet.pdf")
	if err := os.WriteFile(file, b.Bytes(), 0o666); err != nil {
		t.Fatal(err)
	}
	return file
}

func run(t *testing.T, name string, args ...string) string {
	t.Helper()
	if _, err := exec.LookPath(name); err != nil {
		t.Skipf("%s is not here (Debian's poppler-utils, qpdf and zbar-tools)", name)
	}
	out, err := exec.Command(name, args...).Output()
	if err != nil {
		t.Fatalf("%s: %v\n%s", name, err, out)
	}
	return string(out)
}

// The sheet is one page with its fonts inside, its text can be taken out, and
// its code is read back from the page as it prints. Checked by programs that are
// not ours: poppler's pdfinfo, pdffonts, pdftotext and pdftoppm, qpdf, zbarimg.
func TestRecoverySheet(t *testing.T) {
	for _, size := range []Size{Letter, A4} {
		s := sheet
		s.Size = size
		file := drawn(t, s)
		run(t, "qpdf", "--check", file)
		info := run(t, "pdfinfo", file)
		want := map[Size]string{Letter: "612 x 792 pts (letter)", A4: "595.28 x 841.89 pts (A4)"}[size]
		if !strings.Contains(info, want) || !strings.Contains(info, "Pages:           1\n") {
			t.Errorf("not one page of %s:\n%s", want, info)
		}
		for line := range strings.Lines(run(t, "pdffonts", file)) {
			if f := strings.Fields(line); strings.HasSuffix(f[0], "Font") || strings.HasPrefix(line, "---") || f[0] == "name" {
				continue
			} else if len(f) < 5 || !strings.Contains(line, " yes ") {
				t.Errorf("a font that is not embedded: %s", line)
			}
		}
		text := strings.Join(strings.Fields(run(t, "pdftotext", "-layout", file, "-")), " ")
		for _, want := range []string{
			"If the computer is lost", "Saltbush Draw Ranch", "November 28, 2026",
			"1. If the computer was stolen, first revoke the key of the bucket", "Key AKIAEXAMPLE0042, at s3.example.net",
			"shelf-drive (drive): top shelf of the tack room", "the bank's box in Calico", "The secret key is kept", "It is also to be had from",
			`linecamp new-machine --region us-west-2 \ --from https://s3.example.net/monitoring/saltbush-draw`,
			byHand, s.Seal, "On the computer office they were in /srv/monitoring.",
		} {
			if !strings.Contains(text, strings.Join(strings.Fields(want), " ")) {
				t.Errorf("the text does not say %q:\n%s", want, text)
			}
		}
		picture := filepath.Join(t.TempDir(), "page")
		run(t, "pdftoppm", "-r", "150", "-png", file, picture)
		names, _ := filepath.Glob(picture + "*.png")
		if len(names) != 1 {
			t.Fatalf("%d pages drawn", len(names))
		}
		code := run(t, "zbarimg", "-q", "--raw", names[0])
		if want := fmt.Sprintf("address %s\narchive %s %s\nseal %s\n", s.Places[2].Address, s.Archive, s.ID, s.Seal); strings.TrimSpace(code) != strings.TrimSpace(want) {
			t.Errorf("the code reads %q, not %q", code, want)
		}
	}
}

// The same sheet is the same bytes, so that what was printed is known again.
func TestRecoverySheetIsTheSameAgain(t *testing.T) {
	var a, b bytes.Buffer
	if err := errors.Join(Recovery(&a, sheet), Recovery(&b, sheet)); err != nil || !bytes.Equal(a.Bytes(), b.Bytes()) {
		t.Errorf("two drawings differ, %v", err)
	}
}

// Archives with drives only, with nothing recorded yet, with names in other
// scripts, and with as many copies as one page takes.
func TestOtherSheets(t *testing.T) {
	s := sheet
	s.Seal, s.Places = "", sheet.Places[:1]
	text := run(t, "pdftotext", "-layout", drawn(t, s), "-")
	if strings.Contains(text, "stolen") || strings.Contains(text, "AWS_") || !strings.Contains(text, "1. Find a copy") && !strings.Contains(text, "1.  Find a copy") {
		t.Errorf("a sheet without a bucket:\n%s", text)
	}
	s = sheet
	s.Title, s.Places = "Cañon Gate – Żółty", nil
	for range 6 {
		s.Places = append(s.Places, sheet.Places[2], sheet.Places[0])
	}
	if text := run(t, "pdftotext", "-layout", drawn(t, withPlaces(sheet, 4)), "-"); strings.Count(text, "(drive)")+strings.Count(text, "(bucket)") != 4 {
		t.Errorf("a sheet of four copies:\n%s", text)
	}
	var b bytes.Buffer
	if err := Recovery(&b, s); !errors.Is(err, ErrTooLong) {
		t.Errorf("twelve copies on one page: %v", err)
	}
}

func withPlaces(s Sheet, n int) Sheet {
	s.Places = nil
	for i := range n {
		s.Places = append(s.Places, sheet.Places[i%3])
	}
	return s
}

// What was printed is known by the file, and only what would send somebody astray
// makes a sheet an older one.
func TestFacts(t *testing.T) {
	var b bytes.Buffer
	if err := Recovery(&b, sheet); err != nil {
		t.Fatal(err)
	}
	if got, err := ReadFacts(b.Bytes()); err != nil || got != sheet.Facts() {
		t.Errorf("the facts read back are %q, %v", got, err)
	}
	later := sheet
	later.Seal, later.Day = "99", sheet.Day.AddDate(1, 0, 0)
	if later.Facts() != sheet.Facts() {
		t.Error("a later day makes an older sheet misleading")
	}
	moved := withPlaces(sheet, 3)
	moved.Places[1].Where = "the barn"
	if moved.Facts() == sheet.Facts() {
		t.Error("a drive that was moved leaves the sheet as good as it was")
	}
	for _, pdf := range []string{"", "%PDF-1.3", "(" + mark, "(" + mark + strings.Repeat("x", 64) + ")"} {
		if _, err := ReadFacts([]byte(pdf)); !errors.Is(err, ErrNoSheet) {
			t.Errorf("%q: %v", pdf, err)
		}
	}
}
