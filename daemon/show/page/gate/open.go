package gate

import (
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
)

// Open has the browser open a private file that takes it through the gate. The
// key is on no command line, where other users of the machine could read it.
func (g *Gate) Open(errs io.Writer) (gone func(), err error) {
	dir, err := os.MkdirTemp("", "linecamp-page-") // for its owner only
	if err != nil {
		return nil, err
	}
	gone = func() { os.RemoveAll(dir) }
	name := filepath.Join(dir, "open-the-record.html")
	if err := os.WriteFile(name, g.KeyFile(), 0o600); err != nil {
		gone()
		return nil, err
	}
	fmt.Fprintf(errs, "The page is served at %s until you press Ctrl-C.\n", g.Home())
	command := map[string][]string{"windows": {"rundll32", "url.dll,FileProtocolHandler"}, "darwin": {"open"}}[runtime.GOOS]
	if command == nil {
		command = []string{"xdg-open"}
	}
	cmd := exec.Command(command[0], append(command[1:], name)...)
	if err := cmd.Start(); err != nil {
		fmt.Fprintf(errs, "No browser could be opened (%v). Open this file in one: %s\n", err, name)
		return gone, nil
	}
	go func() {
		if cmd.Wait() != nil {
			fmt.Fprintf(errs, "No browser was opened. Open this file in one: %s\n", name)
		}
	}()
	return gone, nil
}
