package plan

import (
	"fmt"
	"strings"

	"linecamp/manifest"
	"linecamp/manifest/tally"
	"linecamp/manifest/words"
)

// Counts sums up what a version does, for its message.
type Counts struct {
	photos, notes, others int
	Known, Gone           int
	Said                  int
	Remade                bool   // the record of the version before is lost
	Unknown               int    // files of which the new one cannot say more than the size
	oldest, newest        string // visits among the new files
}

func (c *Counts) Add(f tally.File) {
	switch f.Kind {
	case manifest.KindPhoto:
		c.photos++
	case manifest.KindNote:
		c.notes++
	default:
		c.others++
	}
	if f.Visit != "" {
		if c.oldest == "" || f.Visit < c.oldest {
			c.oldest = f.Visit
		}
		c.newest = max(c.newest, f.Visit)
	}
}

// String says it in words: "2 photos, 1 note of 2019-06-21; 1 file gone from the folder".
func (c Counts) String() string {
	var parts []string
	list := func(n int, one, many string) {
		if n > 0 {
			parts = append(parts, words.Count(n, one, many))
		}
	}
	list(c.photos, "photo", "photos")
	list(c.notes, "note", "notes")
	list(c.others, "other file", "other files")
	text := strings.Join(parts, ", ")
	switch {
	case text == "" || c.newest == "":
	case c.oldest == c.newest:
		text += " of " + c.newest
	default:
		text += fmt.Sprintf(" of %s to %s", c.oldest, c.newest)
	}
	var rest []string
	if text != "" {
		rest = append(rest, text)
	}
	if c.Known > 0 {
		rest = append(rest, words.Count(c.Known, "file whose bytes were kept already", "files whose bytes were kept already"))
	}
	if c.Gone > 0 {
		rest = append(rest, words.Count(c.Gone, "file gone from the folder", "files gone from the folder"))
	}
	if c.Said > 0 {
		rest = append(rest, words.Count(c.Said, "decision", "decisions"))
	}
	if c.Remade {
		lost := "the record before was lost on every copy, with what may have been put on file in it alone, and is made anew"
		if c.Unknown > 0 {
			lost += fmt.Sprintf(", with nothing but the size of %s", words.Count(c.Unknown, "file", "files"))
		}
		rest = append(rest, lost)
	}
	if len(rest) == 0 {
		return "the site's names or folder changed"
	}
	return strings.Join(rest, "; ")
}
