package ledger

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
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
//
// Where the system has an id of its own, ours is derived from it and from the
// user's, so that a machine that lost its state folder is still the author of
// its archives; what another machine recorded meanwhile it learns by reading
// every copy before it records anything. Elsewhere the id is random.
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
	b, err := json.MarshalIndent(machine{newID(), host}, "", "  ")
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

// KnownMachine is the id that Machine returns; where none is kept in the folder
// yet, the one that it would derive from the system's. Nothing is made. The
// error is fs.ErrNotExist where the id would be random.
func KnownMachine(stateBase string) (id string, err error) {
	id, _, err = readMachine(filepath.Join(stateBase, "machine.json"))
	if !errors.Is(err, fs.ErrNotExist) {
		return id, err
	}
	if id, ok := derivedID(); ok {
		return id, nil
	}
	return "", err
}

func newID() string {
	if id, ok := derivedID(); ok {
		return id
	}
	return uuid.NewString()
}

func derivedID() (id string, ok bool) {
	for _, path := range []string{"/etc/machine-id", "/var/lib/dbus/machine-id"} {
		b, err := readUpTo(path, 1<<10)
		secret := strings.TrimSpace(string(b))
		// 32 hex digits, never shown to anyone as they are: machine-id(5).
		if raw, herr := hex.DecodeString(secret); err == nil && herr == nil && len(raw) == 16 {
			return deriveID(raw, os.Getuid()), true
		}
	}
	return "", false
}

// deriveID makes a UUID of version 8, whose bits are ours to choose (RFC 9562,
// section 5.8).
func deriveID(machineID []byte, uid int) string {
	mac := hmac.New(sha256.New, machineID)
	fmt.Fprintf(mac, "linecamp author %d", uid)
	var id uuid.UUID
	copy(id[:], mac.Sum(nil))
	id[6] = id[6]&0x0f | 0x80
	id[8] = id[8]&0x3f | 0x80
	return id.String()
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
