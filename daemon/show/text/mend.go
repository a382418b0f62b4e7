package text

import (
	"fmt"
	"io"
	"slices"

	"linecamp/daemon/mend"
	"linecamp/daemon/show/screen"
)

const mostMended = 15

// Print writes the report for a person; what nobody has comes first.
func mended(w io.Writer, r mend.Report) {
	line := screen.LineOf(w)
	var nowhere, other []mend.Unmended
	for _, u := range r.Unmended {
		if u.Nowhere {
			nowhere = append(nowhere, u)
		} else {
			other = append(other, u)
		}
	}
	mendList(w, "LOST as far as linecamp can reach: no good bytes anywhere", len(nowhere), func(i int) string {
		return fmt.Sprintf("%s: %s  %s", copyName(nowhere[i].Copy), damagedPath(nowhere[i].Path, nowhere[i].Site), shown(line.Text(nowhere[i].Reason)))
	})
	mendList(w, "Not mended", len(other), func(i int) string {
		return fmt.Sprintf("%s: %s  %s", copyName(other[i].Copy), damagedPath(other[i].Path, other[i].Site), shown(line.Text(other[i].Reason)))
	})
	fresh := slices.DeleteFunc(slices.Clone(r.Mended), func(m mend.Mended) bool { return m.Already })
	mendList(w, "Mended, and read back", len(fresh), func(i int) string {
		from := "from " + copyName(fresh[i].From)
		if fresh[i].From == mend.FromRecord {
			from = "made again from what is on record"
		}
		return fmt.Sprintf("%s: %s  %s", copyName(fresh[i].Copy), damagedPath(fresh[i].Path, fresh[i].Site), from)
	})
	if n := len(r.Mended) - len(fresh); n > 0 {
		fmt.Fprintf(w, "%d found good when looked at again.\n", n)
	}
	mendList(w, "Left alone, because linecamp did not put it there. Look at it, and move it off the copy", len(r.Left), func(i int) string {
		return fmt.Sprintf("%s: %s  %s", shown(r.Left[i].Copy), shown(r.Left[i].Path), r.Left[i].Detail)
	})
	if len(r.Left) > 0 {
		fmt.Fprintf(w, "When you have moved it, let linecamp know: %s\n", line.Run("verify", "--quick"))
	}
	mendList(w, "Out of reach, so nothing was looked at there", len(r.Unreached), func(i int) string {
		return fmt.Sprintf("%s: %s", shown(r.Unreached[i].Copy), shown(line.Text(r.Unreached[i].Reason)))
	})
	if len(r.Unreached) > 0 {
		fmt.Fprintf(w, "When it is back: %s\n", line.Run("mend"))
	}
	if len(r.Mended)+len(r.Unmended)+len(r.Left)+len(r.Unreached) == 0 {
		fmt.Fprintln(w, "Nothing to mend.")
	}
}

func mendList(w io.Writer, heading string, n int, line func(int) string) {
	if n == 0 {
		return
	}
	fmt.Fprintf(w, "%s (%d):\n", heading, n)
	for i := range n {
		if i == mostMended && n > mostMended+1 {
			fmt.Fprintf(w, "  … and %d more (--json lists all)\n", n-mostMended)
			break
		}
		fmt.Fprintf(w, "  %s\n", line(i))
	}
}
