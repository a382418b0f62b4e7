package text

import (
	"fmt"
	"io"

	"linecamp/verify/bag"
)

// Print says in plain words what Judge found.
func bagged(w io.Writer, r bag.Report) {
	switch {
	case r.Valid:
		fmt.Fprintf(w, "%s is a complete and valid bag: %d payload files, %d bytes, every digest matches.\n", r.Bag, r.Files, r.Bytes)
	case r.Complete:
		fmt.Fprintf(w, "%s is complete, and not valid: bytes have changed.\n", r.Bag)
	default:
		fmt.Fprintf(w, "%s is not a complete bag.\n", r.Bag)
	}
	faults(w, "What is wrong, with the section of RFC 8493", r.Errors)
	faults(w, "Worth knowing, and no fault", r.Advice)
	for _, l := range r.Unchecked {
		fmt.Fprintf(w, "\n%s was not checked: linecamp computes SHA-256 and SHA-512 only.\n", l)
	}
}

func faults(w io.Writer, title string, all []bag.Fault) {
	if len(all) == 0 {
		return
	}
	fmt.Fprintf(w, "\n%s:\n", title)
	for _, f := range all {
		if f.Path == "" {
			fmt.Fprintf(w, "  %s  %s\n", f.Rule, f.Detail)
		} else {
			fmt.Fprintf(w, "  %s  %s: %s\n", f.Rule, f.Path, f.Detail)
		}
	}
}
