package intake

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/words"
	"linecamp/verify"
)

// A file's answer, when a card is to be wiped.
const (
	Safe    = "safe"    // on two devices beside the working folder, read back from one at least
	NotYet  = "not-yet" // an archive has it, but not safely enough
	Nowhere = "nowhere" // no archive keeps it
)

// Holding is one copy that is known to hold a file.
type Holding struct {
	Copy      string    `json:"copy"`
	Archive   string    `json:"archive"`
	ReadBack  time.Time `json:"read_back,omitzero"` // when its bytes were last read from there and matched
	Confirmed time.Time `json:"confirmed,omitzero"` // when the service last vouched for them
	// Device tells devices apart; two with the same one die together. It is
	// "" where it must not be counted on, and Why says why.
	Device string `json:"-"`
	Why    string `json:"why,omitempty"`
}

// counts reports whether the holding may be relied on.
func (h *Holding) counts() bool {
	return h.Device != "" && !(h.ReadBack.IsZero() && h.Confirmed.IsZero())
}

// Keeper answers what archives know of a content.
type Keeper interface {
	// Holdings are the copies known to hold it.
	Holdings(manifest.Digest) []Holding
	// Advice says what is to be done about a file that an archive has but that
	// is not safe yet, given what holds it; ok is false if no archive has the
	// content.
	Advice(d manifest.Digest, held []Holding) (todo Todo, ok bool)
}

// Todo is what makes a file safe.
type Todo struct {
	// First is what a person has to do before, in words: "plug in far"; "" for
	// nothing.
	First string `json:"first,omitempty"`
	// Run are command lines, to be run one after the other.
	Run []string `json:"run,omitempty"`
}

func (t Todo) same(o Todo) bool { return t.First == o.First && slices.Equal(t.Run, o.Run) }

// Wipe is the answer to whether a card may be wiped.
type Wipe struct {
	Card    string `json:"card"`
	MayWipe bool   `json:"may_wipe"`
	Safe    Share  `json:"safe"`
	NotYet  Share  `json:"not_yet"`
	Nowhere Share  `json:"nowhere"`
	Moved   bool   `json:"others_moved"` // a person said that the files kept nowhere are moved
	Files   []Held `json:"files"`
	Unread  []Left `json:"unread"` // nothing can be said of them
	Passed  []Left `json:"passed"` // links and special files: kept nowhere
	Litter  int    `json:"litter"` // what systems and cameras leave about, not asked after
}

// Held is one file with its answer.
type Held struct {
	Path   string    `json:"path"`
	Bytes  int64     `json:"bytes"`
	State  string    `json:"state"`
	Copies []Holding `json:"copies,omitempty"`
	Todo             // where it is not safe yet
	photo  bool
}

// Judge says of each file of a card, as its bytes are now, whether it is safe.
// moved is a person's word that what is kept nowhere was moved elsewhere; it
// says nothing of files that are filed and not yet safe, or that could not be
// read.
func Judge(c *Card, k Keeper, moved bool) *Wipe {
	w := &Wipe{Card: c.Folder, Moved: moved, Files: []Held{}, Unread: []Left{}, Passed: []Left{}, Litter: c.Litter}
	for _, f := range c.Files {
		h := Held{Path: shown(f.Path), Bytes: f.Size, Copies: k.Holdings(f.SHA256), photo: f.Kind == manifest.KindPhoto}
		var share *Share
		switch todo, ok := k.Advice(f.SHA256, h.Copies); {
		case enough(h.Copies):
			h.State, share = Safe, &w.Safe
		case ok:
			h.State, h.Todo, share = NotYet, todo, &w.NotYet
		default:
			h.State, share = Nowhere, &w.Nowhere
		}
		share.Files++
		share.Bytes += f.Size
		w.Files = append(w.Files, h)
	}
	for _, u := range c.Unread {
		w.Unread = append(w.Unread, Left{shown(u.Path), 0, u.Reason})
	}
	for _, p := range c.Passed {
		w.Passed = append(w.Passed, Left{shown(p.Path), 0, p.Reason})
	}
	others := w.Nowhere.Files + len(w.Passed)
	w.MayWipe = w.NotYet.Files == 0 && len(w.Unread) == 0 && (others == 0 || moved)
	return w
}

// enough: two devices hold it, and from one of them it was read back.
func enough(held []Holding) bool {
	var devices []string
	read := false
	for _, h := range held {
		if !h.counts() {
			continue
		}
		if !slices.Contains(devices, h.Device) {
			devices = append(devices, h.Device)
		}
		read = read || !h.ReadBack.IsZero()
	}
	return len(devices) >= 2 && read
}

// Wants reports whether something is left to do before the card is wiped.
func (w *Wipe) Wants() bool { return !w.MayWipe }

// Print writes the answer for a person.
func (w *Wipe) Print(out io.Writer) {
	if w.MayWipe {
		fmt.Fprintf(out, "%s may be wiped.\n", verify.Shown(w.Card))
	} else {
		fmt.Fprintf(out, "%s may NOT be wiped yet.\n", verify.Shown(w.Card))
	}
	if len(w.Files)+len(w.Unread)+len(w.Passed) == 0 {
		fmt.Fprintln(out, "There is nothing on it that anybody made.")
	}
	if w.Safe.Files > 0 {
		fmt.Fprintf(out, "\nSafe: %s, %s.\n", files(w.Safe.Files), verify.Size(w.Safe.Bytes))
		byWhere(out, w.Files)
	}
	for _, todo := range w.todos() {
		var n int
		var list []Left
		var why []string
		for _, f := range w.Files {
			if f.State == NotYet && f.Todo.same(todo) {
				n++
				list = append(list, Left{f.Path, f.Bytes, where(f.Copies)})
				for _, h := range f.Copies {
					if h.Why != "" && !slices.Contains(why, h.Copy+" "+h.Why) {
						why = append(why, h.Copy+" "+h.Why)
					}
				}
			}
		}
		fmt.Fprintf(out, "\nFiled, but not yet safe: %s.\n", files(n))
		for _, y := range why {
			fmt.Fprintf(out, "  Not counted: %s.\n", verify.Shown(y))
		}
		if todo.First != "" {
			fmt.Fprintf(out, "  First: %s.\n", verify.Shown(todo.First))
		}
		for _, run := range todo.Run {
			fmt.Fprintf(out, "  To do: %s\n", run)
		}
		lines(out, list)
	}
	if n := w.Nowhere.Files + len(w.Passed); n > 0 {
		said := "move these first"
		if w.Moved {
			said = "you say they are moved"
		}
		fmt.Fprintf(out, "\nKept nowhere by linecamp, %s: %s.\n", said, files(n))
		var list []Left
		photos := 0
		for _, f := range w.Files {
			if f.State == Nowhere {
				list = append(list, Left{f.Path, f.Bytes, verify.Size(f.Bytes)})
				if f.photo {
					photos++
				}
			}
		}
		lines(out, append(list, w.Passed...))
		if photos > 0 && !w.Moved {
			fmt.Fprintf(out, "  Photos among them: %d. Those of sites are filed by: %s\n", photos, words.Of(out).Run("intake", w.Card))
		}
		if !w.Moved {
			fmt.Fprintf(out, "  When all of them are somewhere else, or not wanted: %s\n", words.Of(out).Run("may-wipe", w.Card, "--others-moved"))
		}
	}
	if len(w.Unread) > 0 {
		list(out, "\nCould not be read, so nothing can be said of them:", w.Unread)
	}
}

// todos are the things to be done, each once, in order of the files.
func (w *Wipe) todos() []Todo {
	var todos []Todo
	for _, f := range w.Files {
		if f.State == NotYet && !slices.ContainsFunc(todos, f.Todo.same) {
			todos = append(todos, f.Todo)
		}
	}
	return todos
}

// byWhere counts safe files by what makes them safe.
func byWhere(out io.Writer, all []Held) {
	var kinds []string
	counts := map[string]int{}
	for _, f := range all {
		if f.State == Safe {
			k := where(f.Copies)
			if counts[k] == 0 {
				kinds = append(kinds, k)
			}
			counts[k]++
		}
	}
	for _, k := range kinds {
		fmt.Fprintf(out, "  %s: %s\n", files(counts[k]), verify.Shown(k))
	}
}

// where says in words which copies hold a file, and how that is known.
func where(held []Holding) string {
	var words []string
	for _, h := range held {
		w := h.Copy + " (not checked yet)"
		switch {
		case !h.ReadBack.IsZero():
			w = h.Copy + " (read back " + h.ReadBack.Local().Format(time.DateOnly) + ")"
		case !h.Confirmed.IsZero():
			w = h.Copy + " (confirmed " + h.Confirmed.Local().Format(time.DateOnly) + ")"
		}
		if h.Why != "" {
			w += ", not counted"
		}
		words = append(words, w)
	}
	if len(words) == 0 {
		return "on no copy yet"
	}
	return strings.Join(words, "; ")
}

func lines(w io.Writer, all []Left) {
	for i, l := range all {
		if i == mostListed {
			fmt.Fprintf(w, "  … and %d more; --json lists all\n", len(all)-mostListed)
			return
		}
		fmt.Fprintf(w, "  %s  %s\n", verify.Shown(l.Path), verify.Shown(l.Reason))
	}
}
