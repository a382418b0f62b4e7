package paper

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"rsc.io/qr"

	"linecamp/manifest/store/fault"
)

// Sheet is what the recovery sheet says: all that somebody needs who stands at a
// new computer with one copy and this paper. No secret is on it.
type Sheet struct {
	Archive string    // its name in commands
	Title   string    // its name as people write it
	ID      string    // the archive's uuid
	Folder  string    // the working folder on the computer that was lost
	Machine string    // that computer's name
	Places  []Place   // the copies, in the order of the settings
	Seal    string    // as printed; "" while nothing is recorded
	Day     time.Time // when the sheet was made, in the office's time
	Size    Size
}

// Place is one copy.
type Place struct {
	Name    string
	Bucket  bool   // in S3-compatible storage, else a drive
	Where   string // in the office's own words; "" leaves a line to write on
	Address string // the folder, or https://host/bucket/prefix
	Region  string // "" where the service tells
	Key     string // the id of the key, which is no secret; "" where it is not known here
}

// mark comes before the digest of what a sheet says of the copies, in the PDF's
// subject (ISO 32000-1 section 14.3.3).
const mark = "linecamp recovery sheet "

// Facts is a digest of what would send somebody astray who holds an older sheet:
// the archive, and where each copy is. The day and the seal may be older. The
// keys' ids are left out, for not every user of the computer can see them.
func (s Sheet) Facts() string {
	h := sha256.New()
	fmt.Fprintf(h, "%q %q", s.Archive, s.ID)
	for _, c := range s.Places {
		fmt.Fprintf(h, " %q %v %q %q %q", c.Name, c.Bucket, c.Where, c.Address, c.Region)
	}
	return hex.EncodeToString(h.Sum(nil))
}

// ReadFacts returns the Facts of the sheet that a PDF file is; ErrNoSheet where
// it is none.
func ReadFacts(pdf []byte) (string, error) {
	_, rest, ok := bytes.Cut(pdf, []byte("("+mark))
	if len(rest) < 64 || !ok {
		return "", ErrNoSheet
	}
	facts := string(rest[:64])
	if _, err := hex.DecodeString(facts); err != nil {
		return "", ErrNoSheet
	}
	return facts, nil
}

// ErrNoSheet marks a file that is not a recovery sheet as Recovery draws it.
var ErrNoSheet = errors.New("is not a recovery sheet of linecamp")

// ErrTooLong marks a sheet with more copies than one page has room for.
var ErrTooLong = errors.New("this does not fit on one page")

// Recovery draws the recovery sheet: one page.
func Recovery(w io.Writer, s Sheet) error {
	p := newPage(s.Size, "Recovery sheet of "+s.Archive, s.Day)
	p.SetSubject(mark+s.Facts(), false)
	in := p.left + 18

	p.text(p.left, strong, 19, "If the computer is lost")
	p.text(p.left, plain, body, "The photo-monitoring record of %s. Sheet of %s. Keep one sheet away from the office, and print a new one when a copy or a key changes.",
		s.Title, s.Day.Format("January 2, 2006"))
	p.gap(8)

	step := 0
	head := func(format string, a ...any) {
		step++
		p.gap(5)
		p.text(p.left, strong, 11.5, "%d.  %s", step, fmt.Sprintf(format, a...))
		p.gap(1)
	}
	if keys := s.keys(); len(keys) > 0 {
		head("If the computer was stolen, first revoke the key of the bucket")
		for _, k := range keys {
			p.text(in, plain, body, "%s", k)
		}
		p.text(in, plain, small, "Whoever has the computer may have the key. Ask the storage service to revoke it, and to make a new one that may list, read and write, and may not delete.")
	}
	head("Find a copy")
	for _, c := range s.Places {
		kind := "drive"
		if c.Bucket {
			kind = "bucket"
		}
		where := c.Where
		if where == "" {
			where = "______________________________"
		}
		p.text(in, strong, body, "%s (%s): %s", c.Name, kind, where)
		p.text(in+12, typed, small, "%s", c.address())
	}
	p.gap(3)
	p.line(in, "The secret key is kept (the place, not the key):")

	head("Get linecamp")
	p.text(in, plain, body, "linecamp is one program without further parts. A drive may hold it, in extensions/linecamp-program: copy it to the computer. Else keep it beside this sheet, on a USB drive.")
	p.line(in, "It is also to be had from:")

	head("Bring everything back")
	for _, c := range s.commands() {
		p.text(in, typed, small, "%s", c)
	}
	p.text(in, plain, small, "Any one copy is enough. Every byte is checked on the way. A command that was stopped carries on when it is run again.%s", s.was())

	head("Without linecamp")
	p.text(in, plain, body, "Open the copy: each site is a folder, and its photos lie below v1/content, v2/content and so on, under their own names. README.txt beside them says more. To check a site's photos, in its folder:")
	p.text(in, typed, 7, "%s", byHand)

	head("Is it the same record?")
	if s.Seal == "" {
		p.text(in, plain, body, "Nothing was recorded when this sheet was made.")
	} else {
		p.text(in, plain, body, "The seal of that day. linecamp verify --seal \"…\" says whether what was recorded until then is unchanged.")
		p.text(in, typed, body, "%s", s.Seal)
	}
	if err := s.code(p); err != nil {
		return err
	}
	return p.write(w)
}

// byHand checks one object of a copy with sed and coreutils, as README.txt on
// every copy has it.
const byHand = `sed -n 's/^    "\([0-9a-f]\{64\}\)": \["\([^"]*\)".*/\1  \2/p' inventory.json | sha256sum -c`

// keys says which key to revoke, for each bucket.
func (s Sheet) keys() (all []string) {
	for _, c := range s.Places {
		if !c.Bucket {
			continue
		}
		key := c.Key
		if key == "" {
			key = "____________________"
		}
		all = append(all, fmt.Sprintf("Key %s, at %s", key, host(c.Address)))
	}
	return all
}

func host(address string) string {
	_, rest, ok := strings.Cut(address, "://")
	if !ok {
		return address
	}
	h, _, _ := strings.Cut(rest, "/")
	return h
}

func (c Place) address() string {
	if c.Region != "" {
		return c.Address + "  (region " + c.Region + ")"
	}
	return c.Address
}

// commands are the ones that bring everything back, from a drive and from a
// bucket.
func (s Sheet) commands() (all []string) {
	drive, bucket := false, false
	for _, c := range s.Places {
		switch {
		case c.Bucket && !bucket:
			bucket = true
			region := ""
			if c.Region != "" {
				region = " --region " + c.Region
			}
			all = append(all, `linecamp new-machine`+region+` \`, "    --from "+c.Address,
				"    (it asks for the key, and where the photos are to go)")
		case !c.Bucket && !drive:
			drive = true
			all = append(all, "linecamp new-machine --from THE-FOLDER-ON-THE-DRIVE")
		}
	}
	return all
}

// was says where the photos were.
func (s Sheet) was() string {
	if s.Folder == "" {
		return ""
	}
	return fmt.Sprintf(" On the computer %s they were in %s.", s.Machine, s.Folder)
}

// code draws the QR code at the foot of the page: address, archive and seal, for
// a phone to read what is tedious to type.
func (s Sheet) code(p *page) error {
	var text strings.Builder
	for _, c := range s.Places {
		if c.Bucket {
			fmt.Fprintf(&text, "address %s\n", c.Address)
		}
	}
	fmt.Fprintf(&text, "archive %s %s\n", s.Archive, s.ID)
	if s.Seal != "" {
		fmt.Fprintf(&text, "seal %s\n", s.Seal)
	}
	code, err := qr.Encode(text.String(), qr.M)
	if err != nil {
		return fmt.Errorf("the QR code: %w", err)
	}
	_, high := p.GetPageSize()
	const wide = 112.0
	left, top, dot := p.left+p.width-wide, high-margin-wide+18, wide/float64(code.Size)
	if p.GetY() > top-2*body {
		return fault.Say(ErrTooLong, "%d copies leave no room for the code", len(s.Places))
	}
	p.SetXY(p.left, high-margin+18-small*lead)
	p.SetFont(plain, "", small)
	p.CellFormat(p.width-wide-10, small*lead, "For a phone to read: the address, the archive and the seal", "", 0, "R", false, 0, "")
	p.SetFillColor(0, 0, 0)
	for y := range code.Size {
		for x := 0; x < code.Size; x++ {
			run := 0
			for code.Black(x+run, y) {
				run++
			}
			if run > 0 {
				p.Rect(left+float64(x)*dot, top+float64(y)*dot, float64(run)*dot, dot, "F")
				x += run
			}
		}
	}
	return nil
}
