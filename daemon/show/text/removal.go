package text

import (
	"fmt"
	"io"
	"path/filepath"

	"linecamp/daemon/config"
	"linecamp/daemon/setup"
	"linecamp/daemon/show/screen"
	"linecamp/daemon/show/text/letter"
	"linecamp/manifest/words"
)

// removal says what stays where, once an archive's settings are set aside, or before.
func removal(w io.Writer, r setup.Removal) {
	line := screen.LineOf(w)
	if r.Aside == "" {
		fmt.Fprintf(w, "This computer will no longer look after %s. Nothing is deleted; this stays:\n\n", r.Archive)
	} else {
		fmt.Fprintf(w, "%s is no longer looked after by this computer. Nothing was deleted; this stays:\n\n", r.Archive)
	}
	settings := shown(r.Settings) + ", which gets another name"
	if r.Aside != "" {
		settings = shown(r.Aside)
	}
	rows := [][2]string{}
	if r.Folder != "" {
		rows = append(rows, [2]string{"your folder", shown(r.Folder) + ", with every photo and note in it"})
	}
	for _, c := range r.Copies {
		rows = append(rows, [2]string{shown(c.Copy), fmt.Sprintf("%s; %s; %s (%s) known to be there", shown(c.At), letter.CopyState(c.State), words.Count(c.Files, "file"), words.Size(c.Bytes))})
	}
	rows = append(rows, [2]string{"what linecamp remembers", shown(r.State)}, [2]string{"the settings", settings})
	for _, row := range rows {
		fmt.Fprintf(w, "  %-23s  %s\n", row[0], row[1])
	}
	for _, l := range r.Lacks {
		fmt.Fprintf(w, "\nBut look: %s\n", line.Text(l))
	}
	fmt.Fprintln(w)
	if r.Served {
		fmt.Fprintf(w, "The service looks after it until it reads the settings again or is started again.\n")
	}
	if r.Aside != "" {
		fmt.Fprintf(w, "To look after it again, give the settings their old name, %s.\n", filepath.Base(r.Settings))
	}
	if len(r.Copies) > 0 {
		c := r.Copies[0]
		from := []string{"restore", "--everything", "--into", "FOLDER", "--from", c.At}
		if !config.Kinds[c.Kind].Can.Local {
			from = append(from, "--credentials", "env")
		}
		fmt.Fprintf(w, "To bring all of it back from a copy, without settings: %s\n", words.Line{}.Run(from...))
	}
}
