package text

import (
	"fmt"
	"io"

	"linecamp/daemon/setup"
	"linecamp/daemon/show/screen"
)

func newKeys(w io.Writer, c setup.ChangeReport) {
	fmt.Fprintf(w, "%s is used with the new keys from now on. They were tried: they read and write there.\n", c.Copy)
	switch k := c.Key; {
	case k.Same:
		fmt.Fprintln(w, "The id of the key is the same as before.")
	case k.Revoke != "":
		fmt.Fprintf(w, "Now revoke the old key, whose id is %s, at the provider. Its file, if it has one, was left as it is.\n", shown(k.Revoke))
	default:
		fmt.Fprintln(w, "Now revoke the old key at the provider. Its id is not known here.")
	}
	fmt.Fprintf(w, "To bring it up to date: %s\n", screen.LineOf(w).Run("mirror"))
}
