package text

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"linecamp/daemon/intake"
	"linecamp/daemon/intake/maywipe"
	"linecamp/daemon/show/screen"
	"linecamp/manifest/words"
)

// Print writes the answer for a person.
func wipe(out io.Writer, w *maywipe.Answer) {
	if w.MayWipe {
		fmt.Fprintf(out, "%s may be wiped.\n", shown(w.Card))
	} else {
		fmt.Fprintf(out, "%s may NOT be wiped yet.\n", shown(w.Card))
	}
	if len(w.Files)+len(w.Unread)+len(w.Passed) == 0 {
		fmt.Fprintln(out, "There is nothing on it that anybody made.")
	}
	if w.Safe.Files > 0 {
		fmt.Fprintf(out, "\nSafe: %s, %s.\n", words.Count(w.Safe.Files, "file"), words.Size(w.Safe.Bytes))
		byWhere(out, w.Files)
	}
	for _, todo := range wipeTodos(w) {
		var n int
		var list []intake.Left
		var why []string
		for _, f := range w.Files {
			if f.State == maywipe.NotYet && f.Todo.Same(todo) {
				n++
				list = append(list, intake.Left{Path: f.Path, Bytes: f.Bytes, Reason: heldWhere(f.Copies)})
				for _, h := range f.Copies {
					if h.Why != "" && !slices.Contains(why, h.Copy+" "+h.Why) {
						why = append(why, h.Copy+" "+h.Why)
					}
				}
			}
		}
		fmt.Fprintf(out, "\nFiled, but not yet safe: %s.\n", words.Count(n, "file"))
		for _, y := range why {
			fmt.Fprintf(out, "  Not counted: %s.\n", shown(y))
		}
		if todo.First != "" {
			fmt.Fprintf(out, "  First: %s.\n", shown(todo.First))
		}
		for _, run := range todo.Run {
			fmt.Fprintf(out, "  To do: %s\n", run)
		}
		cardFiles(out, list)
	}
	if n := w.Nowhere.Files + len(w.Passed); n > 0 {
		said := "move these first"
		if w.Moved {
			said = "you say they are moved"
		}
		fmt.Fprintf(out, "\nKept nowhere by linecamp, %s: %s.\n", said, words.Count(n, "file"))
		var list []intake.Left
		photos := 0
		for _, f := range w.Files {
			if f.State == maywipe.Nowhere {
				list = append(list, intake.Left{Path: f.Path, Bytes: f.Bytes, Reason: words.Size(f.Bytes)})
				if f.Photo {
					photos++
				}
			}
		}
		cardFiles(out, append(list, w.Passed...))
		if photos > 0 && !w.Moved {
			fmt.Fprintf(out, "  Photos among them: %d. To file those that are of a site: %s\n", photos, screen.LineOf(out).Run("intake", w.Card))
		}
		if !w.Moved {
			fmt.Fprintf(out, "  When all of them are somewhere else, or not wanted: %s\n", screen.LineOf(out).Run("may-wipe", w.Card, "--others-moved"))
		}
	}
	if len(w.Unread) > 0 {
		cardList(out, "\nCould not be read, so nothing can be said of them:", w.Unread)
	}
}

// todos are the things to be done, each once, in order of the files.
func wipeTodos(w *maywipe.Answer) []maywipe.Todo {
	var todos []maywipe.Todo
	for _, f := range w.Files {
		if f.State == maywipe.NotYet && !slices.ContainsFunc(todos, f.Todo.Same) {
			todos = append(todos, f.Todo)
		}
	}
	return todos
}

// byWhere counts safe files by what makes them safe.
func byWhere(out io.Writer, all []maywipe.Held) {
	var kinds []string
	counts := map[string]int{}
	for _, f := range all {
		if f.State == maywipe.Safe {
			k := heldWhere(f.Copies)
			if counts[k] == 0 {
				kinds = append(kinds, k)
			}
			counts[k]++
		}
	}
	for _, k := range kinds {
		fmt.Fprintf(out, "  %s: %s\n", words.Count(counts[k], "file"), shown(k))
	}
}

// where says in words which copies hold a file, and how that is known.
func heldWhere(held []maywipe.Holding) string {
	var words []string
	for _, h := range held {
		w := h.Copy + " (not checked yet)"
		switch {
		case !h.ReadBack.IsZero():
			w = h.Copy + " (read back " + h.ReadBack.Local().Format(time.DateOnly) + ")"
		case !h.Confirmed.IsZero():
			w = h.Copy + " (only confirmed by the service, " + h.Confirmed.Local().Format(time.DateOnly) + ")"
		case h.Why != "":
			w = h.Copy + " (not checked now)" // the reason is told once, for all files
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

func cardFiles(w io.Writer, all []intake.Left) {
	for i, l := range all {
		if i == mostOnCard {
			fmt.Fprintf(w, "  … and %d more; --json lists all\n", len(all)-mostOnCard)
			return
		}
		fmt.Fprintf(w, "  %s  %s\n", shown(l.Path), shown(l.Reason))
	}
}
