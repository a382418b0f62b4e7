package standard

import (
	"fmt"
	"io"

	"linecamp/manifest"
	"linecamp/manifest/words"
	"linecamp/verify/bag"
)

// Bag says whether a bag is complete and valid, and every fault.
func Bag(w io.Writer, r bag.Report) {
	switch {
	case r.Valid:
		fmt.Fprintf(w, "%s is a complete and valid bag: %s, %s, every digest matches.\n", manifest.Printable(r.Bag), words.Count(r.Files, "payload file"), words.Count(r.Bytes, "byte"))
	case r.Complete:
		fmt.Fprintf(w, "%s is complete, and not valid: bytes have changed.\n", manifest.Printable(r.Bag))
	default:
		fmt.Fprintf(w, "%s is not a complete bag.\n", manifest.Printable(r.Bag))
	}
	faults(w, "What is wrong, with the section of RFC 8493", r.Errors)
	faults(w, "Worth knowing, and no fault", r.Advice)
	for _, l := range r.Unchecked {
		fmt.Fprintf(w, "\n%s was not checked: linecamp does not compute its algorithm.\n", manifest.Printable(l))
	}
}

func faults(w io.Writer, title string, all []bag.Fault) {
	if len(all) == 0 {
		return
	}
	fmt.Fprintf(w, "\n%s:\n", title)
	for _, f := range all {
		if f.Path == "" {
			fmt.Fprintf(w, "  %s  %s\n", f.Rule, manifest.Printable(f.Detail))
		} else {
			fmt.Fprintf(w, "  %s  %s: %s\n", f.Rule, manifest.Printable(f.Path), manifest.Printable(f.Detail))
		}
	}
}
