package ledger

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/google/uuid"
)

// machine is machine.json.
type machine struct {
	Author  string `json:"author"`
	Machine string `json:"machine"`
}

// Machine returns the id under which this machine authors versions, and its
// name. They are made the first time and kept in the folder stateBase, for all
// archives and for its owner only. A damaged file is an error: a new id would
// make this machine a stranger to its own archives.
func Machine(stateBase string) (id, name string, err error) {
	path := filepath.Join(stateBase, "machine.json")
	id, name, err = readMachine(path)
	if !errors.Is(err, fs.ErrNotExist) {
		return id, name, err
	}
	host, err := os.Hostname()
	if host = strings.ToValidUTF8(strings.TrimSpace(host), "?"); err != nil || host == "" {
		host = "unnamed"
	}
	b, err := json.MarshalIndent(machine{uuid.NewString(), host}, "", "  ")
	if err != nil {
		return "", "", fmt.Errorf("this machine's id cannot be made: %w", err)
	}
	temp, err := writeTemp(path, append(b, '\n'))
	if err != nil {
		return "", "", err
	}
	defer os.Remove(temp)
	// Whoever is first makes the id, even if two processes begin at once.
	if err := os.Link(temp, path); err != nil && !errors.Is(err, fs.ErrExist) {
		if err := os.Rename(temp, path); err != nil { // a file system without links
			return "", "", fmt.Errorf("this machine's id cannot be kept: %w", err)
		}
	}
	syncDir(stateBase)
	return readMachine(path)
}

func readMachine(path string) (id, name string, err error) {
	b, err := readUpTo(path, 64<<10)
	if err != nil {
		return "", "", err
	}
	var m machine
	if err := json.Unmarshal(b, &m); err != nil || m.Machine == "" || uuid.Validate(m.Author) != nil {
		return "", "", fmt.Errorf("%s, which holds this machine's id, is damaged; put it back from a backup, or remove it and then make this machine the author again with `linecamp setup --take-over`", path)
	}
	return m.Author, m.Machine, nil
}
