package text

import (
	"fmt"
	"io"

	"linecamp/daemon/autostart"
	"linecamp/daemon/show/screen"
)

// starts says how the service stands with the computer's service manager.
func starts(w io.Writer, r autostart.Report) {
	line := screen.LineOf(w)
	switch {
	case r.Did == autostart.Removed:
		fmt.Fprintf(w, "The service was stopped and taken from %s. Settings, what is remembered and every copy stay.\n", r.Manager)
		return
	case r.Running:
		fmt.Fprintf(w, "The service runs, and %s starts it by itself.\n", r.Manager)
	case r.Installed:
		fmt.Fprintln(w, "The service is installed, and does not run.")
		if r.Manager == "systemd" {
			fmt.Fprintln(w, "To read what it said last: journalctl --user -u linecamp")
		}
	default:
		fmt.Fprintf(w, "No service is installed. To have %s start it by itself: %s\n", r.Manager, line.Run("service", "install"))
	}
	if r.File != "" && r.Installed {
		fmt.Fprintf(w, "It is described in %s\n", shown(r.File))
	}
	if r.Installed && !r.Lingers && r.Manager == "systemd" {
		fmt.Fprintln(w, "It runs while you are logged in. To have it run without that, too: loginctl enable-linger")
	}
	if r.Installed {
		fmt.Fprintf(w, "How the copies stand: %s\n", line.Run("status"))
	}
}
