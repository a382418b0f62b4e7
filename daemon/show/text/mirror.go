package text

import (
	"cmp"
	"fmt"
	"io"
	"slices"

	"linecamp/daemon/mirror/gone"
	"linecamp/daemon/mirror/report"
	"linecamp/daemon/show/screen"
	"linecamp/daemon/show/text/letter"
	"linecamp/manifest/words"
)

// Print writes the report in words.
func mirrored(w io.Writer, r report.Report) {
	switch {
	case r.Made > 0:
		fmt.Fprintf(w, "%s recorded.\n", words.Count(r.Made, "new version"))
	case len(r.Waiting) > 0:
		fmt.Fprintln(w, "Nothing new was recorded.")
	default:
		fmt.Fprintln(w, "Nothing new to record.")
	}
	line := screen.LineOf(w)
	width := 0
	for _, c := range r.Copies {
		width = max(width, len(c.Copy))
	}
	for _, c := range r.Copies {
		fmt.Fprintf(w, "  %-*s  %s", width, c.Copy, letter.CopyState(c.State))
		switch {
		case c.Versions > 0 && c.Files == 0 && r.Left > 0:
			fmt.Fprintf(w, "; %s left your folder and %s still kept here", words.Count(r.Left, "file"), words.Noun(r.Left, "is", "are"))
		case c.Versions > 0 && c.Files == 0:
			fmt.Fprint(w, "; it had every file already")
		case c.Versions > 0:
			fmt.Fprintf(w, ", received %s (%s)", words.Count(c.Files, "file"), words.Size(c.Bytes))
		}
		if said := cmp.Or(c.Error, c.Note); said != "" {
			fmt.Fprintf(w, ": %s", line.Text(said))
		}
		if c.Link != nil {
			fmt.Fprintf(w, "; %s", letter.ToGo(*c.ToGo, c.Link))
		}
		fmt.Fprintln(w)
		if c.Kept != "" && c.Error == "" {
			fmt.Fprintf(w, "    %s\n", words.Sentence(line.Text(c.Kept)))
		}
		few(w, "    nobody has the bytes of ", c.Missing)
		few(w, "    it cannot hold ", c.TooLarge)
		mirrorGone(w, c.Gone)
	}
	for _, g := range r.GivenUp {
		fmt.Fprintf(w, "%s is given up: linecamp does not use it any more, and its name is free. What it holds is left as it is.\n", g.Copy)
		if g.Here {
			fmt.Fprintf(w, "    It is within reach now. If it goes away and turns up again, linecamp asks whether to use it.\n")
		}
		alones(w, g)
	}
	mirrorEdits(w, r.Edits)
	mirrorWaiting(w, r.Waiting)
	for _, q := range r.Asks {
		fmt.Fprintf(w, "Look at this: %s.\n", line.Text(string(q)))
	}
}

func mirrorEdits(w io.Writer, edits []report.Edit) {
	if len(edits) == 0 {
		return
	}
	fmt.Fprintf(w, "%s kept too:\n", words.Count(len(edits), "photo of a past year was changed. The earlier picture is", "photos of past years were changed. The earlier pictures are"))
	const most = 8
	line := screen.LineOf(w)
	for i, e := range edits {
		if i == most {
			fmt.Fprintf(w, "    and %d more (--json lists all)\n", len(edits)-most)
			break
		}
		fmt.Fprintf(w, "    %s\n", shown(e.Path))
		if i+1 == min(len(edits), most) || edits[i+1].Site != e.Site || edits[i+1].Visit[:4] != e.Visit[:4] {
			fmt.Fprintf(w, "      To bring the earlier one back, beside the newer: %s\n", line.Run("restore", e.Site, "--year", e.Visit[:4], "--every-version", "--into", "FOLDER"))
		}
	}
}

func mirrorWaiting(w io.Writer, all []report.Waiting) {
	var reasons []string
	paths := map[string][]string{}
	for _, x := range all {
		if _, ok := paths[x.Reason]; !ok {
			reasons = append(reasons, x.Reason)
		}
		paths[x.Reason] = append(paths[x.Reason], x.Path)
	}
	for _, reason := range reasons {
		p := slices.DeleteFunc(paths[reason], func(s string) bool { return s == "" })
		if len(p) == 0 {
			fmt.Fprintf(w, "Waiting: %s.\n", screen.LineOf(w).Text(reason))
			continue
		}
		fmt.Fprintf(w, "Waiting, %s: %s.\n", words.Count(len(p), "file"), screen.LineOf(w).Text(reason))
		few(w, "    ", p)
	}
}

// few prints up to eight of the paths and counts the rest.
func few(w io.Writer, lead string, paths []string) {
	const most = 8
	for i, p := range paths {
		if i == most {
			fmt.Fprintf(w, "%sand %d more (--json lists all)\n", lead, len(paths)-most)
			return
		}
		fmt.Fprintf(w, "%s%s\n", lead, shown(p))
	}
}

func mirrorGone(w io.Writer, all []gone.Gone) {
	var sent, not []string
	mend := false
	for _, g := range all {
		line := fmt.Sprintf("%s (%s)", g.Site, words.Count(g.Files, "file"))
		if g.Again {
			sent = append(sent, line)
			continue
		}
		not = append(not, line)
		mend = mend || g.To == 0
	}
	few(w, "    was gone from there, and was sent again: ", sent)
	few(w, "    is gone from there: ", not)
	if mend {
		fmt.Fprintf(w, "    To send it again: %s\n", screen.LineOf(w).Run("mend"))
	}
}
