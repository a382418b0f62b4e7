// Package paper draws what goes on paper: PDF files that need nothing beside
// them, with the font inside, so that they print the same anywhere and their
// text can be searched and copied.
//
// Each sheet is a plain struct and a function that draws it; begin with
// [Recovery]. The same struct gives the same bytes.
package paper

import (
	"fmt"
	"io"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/gomono"
	"golang.org/x/image/font/gofont/goregular"

	"linecamp/manifest/store/fault"
)

// Size is a size of paper.
type Size string

// The sizes that offices print on.
const (
	Letter Size = "Letter" // 8.5 by 11 inches
	A4     Size = "A4"     // 210 by 297 mm
)

// Fonts and lengths. All lengths are points, 72 to the inch.
const (
	plain, strong, typed = "plain", "strong", "typed"

	margin = 54.0
	body   = 10.0 // height of letters
	small  = 8.5
	lead   = 1.35 // line to line, in heights of letters
)

// page is one sheet being drawn, from the top down.
type page struct {
	*fpdf.Fpdf
	left, width float64
}

func newPage(size Size, title string, day time.Time) *page {
	p := &page{Fpdf: fpdf.New("P", "pt", string(size), "")}
	p.SetCompression(true)
	p.SetCatalogSort(true) // the same sheet is the same bytes
	p.SetCreationDate(day)
	p.SetModificationDate(day)
	p.SetTitle(title, true)
	p.SetProducer("linecamp", true)
	p.AddUTF8FontFromBytes(plain, "", goregular.TTF)
	p.AddUTF8FontFromBytes(strong, "", gobold.TTF)
	p.AddUTF8FontFromBytes(typed, "", gomono.TTF)
	p.SetMargins(margin, margin, margin)
	p.SetAutoPageBreak(false, 0)
	p.AddPage()
	wide, _ := p.GetPageSize()
	p.left, p.width = margin, wide-2*margin
	return p
}

// text writes a paragraph from x on, and goes below it.
func (p *page) text(x float64, font string, size float64, format string, a ...any) {
	p.SetFont(font, "", size)
	p.SetX(x)
	p.MultiCell(p.left+p.width-x, size*lead, fmt.Sprintf(format, a...), "", "L", false)
}

// line writes a label and a rule to write on.
func (p *page) line(x float64, label string) {
	p.SetFont(plain, "", body)
	p.SetX(x)
	w := p.GetStringWidth(label) + 6
	p.CellFormat(w, body*1.9, label, "", 0, "LB", false, 0, "")
	y := p.GetY() + body*1.9 - 2
	p.Line(x+w, y, p.left+p.width, y)
	p.Ln(body * 2)
}

// gap leaves some room.
func (p *page) gap(points float64) { p.SetY(p.GetY() + points) }

// write ends the sheet. It must have stayed on its one page.
func (p *page) write(w io.Writer) error {
	if _, high := p.GetPageSize(); p.GetY() > high-margin/2 {
		return fault.Say(ErrTooLong, "the sheet needs %.0f points, and the page has %.0f", p.GetY(), high)
	}
	return p.Output(w)
}
