package tally

// Layout understands paths.
type Layout struct{}

// NewLayout makes a Layout from a pattern; see the comment in this file.
func NewLayout(pattern string, views map[string][]string) (*Layout, error) { panic("to come") }

// Place is what one path says by itself.
type Place struct {
	Pasture, Site, Base string
	Date                string // a day, "2019-06-21"; "" if the path tells none
	Year                int    // 0 if the path tells none
	From, To            int    // a range of years
	Season              string
	View                string // "untold" if nothing tells
	Unfiled             bool   // the path alone tells no site
}

// Understand says what path tells by itself.
func (l *Layout) Understand(path string) Place { panic("to come") }
