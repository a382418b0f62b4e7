package text

import (
	"fmt"
	"io"

	"linecamp/daemon/attention"
	"linecamp/daemon/show/screen"
	"linecamp/manifest/words"
)

// Print writes each item with its next step.
func attentions(w io.Writer, l attention.List) {
	line := screen.LineOf(w)
	for _, i := range l.Attention {
		fmt.Fprintf(w, "Attention, since %s: %s\n", words.When(i.Since), line.Text(i.What))
		if i.Next != "" {
			fmt.Fprintf(w, "    Next: %s\n", line.Text(i.Next))
		}
	}
}
