package store

import (
	_ "embed"
	"fmt"

	"linecamp/manifest"
)

// ocfl_layout.json (OCFL 1.1 section 4.1): which extension maps object ids to
// folders.
const layoutJSON = `{
  "extension": "0006-flat-omit-prefix-storage-layout",
  "description": "One folder per site at the top of this root. Its name is what follows the last colon of the object's id."
}
`

// The parameters of that extension, from the OCFL community extension 0006.
const extensionJSON = `{
  "extensionName": "0006-flat-omit-prefix-storage-layout",
  "delimiter": ":"
}
`

// checkCommand is run inside an object's folder: it turns the inventory's lines
// of one digest and its path into what sha256sum reads. The inventory is
// written with one such line per content file so that this stays possible.
const checkCommand = `sed -n 's/^    "\([0-9a-f]\{64\}\)": \["\([^"]*\)".*/\1  \2/p' inventory.json | sha256sum -c`

// recoverScript brings everything back without linecamp. It stands at the end of
// README.txt, so that whoever has a copy has it too.
//
//go:embed recover.sh
var recoverScript string

// formatText is the storage format in plain words, for someone who has nothing
// but the drive.
func formatText() string { return manifest.Format }

func readme(id Identity) string {
	return fmt.Sprintf(`This is a copy of a photo monitoring archive, kept by linecamp.

  archive     %s
  archive id  %s
  copy id     %s
  begun       %s

Please do not change, rename or delete anything in here. To look at photos,
open them or copy them somewhere else first.


What is here

  windmill--stake-3/ ...  one folder for each photo point (site): pasture, two
                          hyphens, site. "unfiled" holds what has no site.
  SITE/v1, SITE/v2, ...   what was added to that site each time. Nothing is
                          stored twice, so the newest folder does not have all.
  SITE/inventory.json     the list: every file of every version, its name, and
                          the SHA-256 digest of its bytes. A text file.
  extensions/             which copy this is, and the seal: the list of all
                          versions ever made. Also what a new computer needs:
                          the settings, and on a drive the program itself, in
                          linecamp-program.
  linecamp.md             the whole format, in words.

The layout is the Oxford Common File Layout, version 1.1 (ocfl.io), a published
standard. No program is needed to read it.


Finding a photo

Go into the site's folder, then v1/content, v2/content and so on. The folders
below have the names and dates they had when they were stored. If a file's name
there is a long row of digits and letters, inventory.json tells its real name:
look up the digits under "manifest", and then the same digits under "state" in
the newest of the "versions".


Checking that nothing has changed

In a terminal, go into one site's folder and run:

  sha256sum -c inventory.json.sha256
  %s

Each line must end in OK. The first checks the list, the second every photo and
note in it. For the seal, go into extensions/linecamp-seal/log and run, with
the number N that was written down with the seal:

  cat *.txt | head -n N | sha256sum

The digits must be those that were written down. If they differ, the seal may be
of another history of this archive, which a second computer went on with for a
while. Then one line of this has them:

  for f in ../late/*.txt; do head -n N "$f" | sha256sum; done

On macOS, write "shasum -a 256" in place of "sha256sum" in the commands above; the
script below does that by itself. On Windows the commands work in any Linux
terminal, such as the one Windows itself offers (WSL).


Bringing everything back without linecamp

What follows, to the end of this file, is a script. It rebuilds the newest state
of every site and checks every byte. In the folder of this file:

  sed -n '/^#!/,$p' README.txt >/tmp/recover.sh
  sh /tmp/recover.sh . /where/the/photos/are/to/go

%s`, id.Archive, id.ArchiveID, id.CopyID, id.Created.UTC().Format("2006-01-02 15:04 UTC"), checkCommand, recoverScript)
}
