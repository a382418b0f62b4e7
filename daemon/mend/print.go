package mend

import (
	"fmt"
	"io"
	"slices"

	"linecamp/manifest/words"
	"linecamp/verify"
)

const mostLines = 15

// Print writes the report for a person; what nobody has comes first.
func (r Report) Print(w io.Writer) {
	line := words.Of(w)
	var nowhere, other []Unmended
	for _, u := range r.Unmended {
		if u.Nowhere {
			nowhere = append(nowhere, u)
		} else {
			other = append(other, u)
		}
	}
	list(w, "LOST as far as linecamp can reach: no good bytes anywhere", len(nowhere), func(i int) string {
		return fmt.Sprintf("%s: %s  %s", verify.Shown(nowhere[i].Copy), verify.Shown(nowhere[i].Path), verify.Shown(line.Text(nowhere[i].Reason)))
	})
	list(w, "Not mended", len(other), func(i int) string {
		return fmt.Sprintf("%s: %s  %s", verify.Shown(other[i].Copy), verify.Shown(other[i].Path), verify.Shown(line.Text(other[i].Reason)))
	})
	mended := slices.DeleteFunc(slices.Clone(r.Mended), func(m Mended) bool { return m.Already })
	list(w, "Mended, and read back", len(mended), func(i int) string {
		return fmt.Sprintf("%s: %s  from %s", verify.Shown(mended[i].Copy), verify.Shown(mended[i].Path), verify.Shown(mended[i].From))
	})
	if n := len(r.Mended) - len(mended); n > 0 {
		fmt.Fprintf(w, "%d found good when looked at again.\n", n)
	}
	list(w, "Left alone, because linecamp did not put it there. Look at it, and move it off the copy", len(r.Left), func(i int) string {
		return fmt.Sprintf("%s: %s  %s", verify.Shown(r.Left[i].Copy), verify.Shown(r.Left[i].Path), r.Left[i].Detail)
	})
	if len(r.Left) > 0 {
		fmt.Fprintf(w, "Once that is done, so that it is known: %s\n", line.Run("verify", "--quick"))
	}
	list(w, "Out of reach, so nothing was looked at there", len(r.Unreached), func(i int) string {
		return fmt.Sprintf("%s: %s", verify.Shown(r.Unreached[i].Copy), verify.Shown(line.Text(r.Unreached[i].Reason)))
	})
	if len(r.Unreached) > 0 {
		fmt.Fprintf(w, "When it is back: %s\n", line.Run("mend"))
	}
	if len(r.Mended)+len(r.Unmended)+len(r.Left)+len(r.Unreached) == 0 {
		fmt.Fprintln(w, "Nothing to mend.")
	}
}

func list(w io.Writer, heading string, n int, line func(int) string) {
	if n == 0 {
		return
	}
	fmt.Fprintf(w, "%s (%d):\n", heading, n)
	for i := range n {
		if i == mostLines && n > mostLines+1 {
			fmt.Fprintf(w, "  … and %d more (--json lists all)\n", n-mostLines)
			break
		}
		fmt.Fprintf(w, "  %s\n", line(i))
	}
}
