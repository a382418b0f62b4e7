package attention

import (
	"fmt"

	"linecamp/manifest"
	"linecamp/manifest/words"
)

// drills tells of copies from which a recovery was practiced in vain, or not for
// long. A drive that is unplugged cannot be practiced with, which is said where it
// has been so for too long.
func (d *deriver) drills() {
	for _, c := range d.Copies {
		i := Item{Copy: c.Name, ID: c.ID, Next: fmt.Sprintf("run `linecamp drill --copy %s`", words.Quote(c.Name))}
		name := manifest.Printable(c.Name)
		switch {
		case d.Recorded == 0:
			continue
		case c.DrillDamaged:
			i.Kind, i.Since = DrillFailed, c.DrillTried
			i.What = fmt.Sprintf("The last practice recovery from %s did not find the right bytes: %s", name, words.Sentence(c.DrillFailure))
			i.Next = "to see what is wrong, run `linecamp verify`; once that is put right, " + i.Next
		case !c.Undrilled.IsZero():
			i.Kind, i.Since = DrillOverdue, c.Undrilled
			i.What = fmt.Sprintf("No practice recovery from %s has succeeded since %s.%s", name, c.Undrilled.Local().Format("January 2, 2006"), because(c.DrillFailure))
			if c.State == away {
				i.Next = "plug it in, then " + i.Next
			}
		default:
			continue
		}
		d.add(i)
	}
}
