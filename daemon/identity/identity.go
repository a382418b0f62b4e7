// Package identity says who a state folder is. Call [Open]; [Anew] gives a folder
// another id.
//
// An archive is recorded by one author, and an author is one state folder, not
// one computer or one user: what makes two recorders write two histories is
// that each remembers its own, and what is remembered lies in the state folder.
// So every state folder has an id of its own, made by chance and kept in it.
//
// A state folder may be copied, with the id in it. It therefore also keeps its
// place: which computer it lies on, and in which folder. Where that changed,
// nobody can tell from the inside whether the one it was copied from goes on:
//
//   - On another computer, it is a copy. It gets a new id, and records once a
//     person made it the author (`linecamp setup --take-over`). A restored
//     backup on a new computer needs that one word too: only a person knows that
//     the old computer is gone.
//   - In another folder of the same computer, it was moved, and stays who it
//     was, unless the folder it came from still has it.
//   - Where nothing changed, it stays who it was: a computer restored from a
//     backup, a system disk put into another case.
//
// A whole disk that was cloned, the system's own id included, looks the same in
// every respect. That is left to package mirror, where a bucket names the round
// that records.
package identity

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/google/uuid"

	"linecamp/manifest/wholefile"
)

// State is who a state folder is.
type State struct {
	Author  string // under which it records, a UUID
	Machine string // the computer's name, for people
	// Copied is the author whose state folder this one is a copy of, "" for none.
	Copied string
}

// file is machine.json in a state folder.
type file struct {
	Author  string `json:"author"`
	Machine string `json:"machine"`
	Copied  string `json:"copied,omitempty"`
	Place   *place `json:"place,omitempty"` // absent in those of earlier programs
}

type place struct {
	Computer string `json:"computer,omitempty"` // "" where the system has no id
	Folder   string `json:"folder"`
}

const name = "machine.json"

// Earlier stands for the author of a folder in which an earlier program recorded
// once: it noted the author only in its second round.
const Earlier = "earlier"

// Open returns who the state folder is, and makes that the first time. A damaged
// file is an error: a new id would make the folder a stranger to its own archive.
//
// Earlier programs had one id for all state folders of a user, kept in the
// folder base or made from the system's id. A folder that recorded under it goes
// on under it; recorded is the author that its ledger last knew, "" for none, and
// Earlier where it recorded and did not note as whom.
func Open(folder, base string, recorded func() (string, error)) (State, error) {
	folder, err := filepath.Abs(folder)
	if err != nil {
		return State{}, err
	}
	here := place{Computer: computer(), Folder: folder}
	is, err := read(folder)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return first(folder, base, here, recorded, false)
	case err == nil && is.Place == nil:
		return first(folder, base, here, recorded, true)
	case err != nil:
		return State{}, err
	case *is.Place == here:
		return is.state(), nil
	}
	elsewhere := is.Place.Computer != "" && here.Computer != "" && is.Place.Computer != here.Computer
	if !elsewhere && is.Place.Folder != here.Folder {
		there, err := read(is.Place.Folder)
		elsewhere = err == nil && there.Author == is.Author
	}
	if elsewhere {
		is.Copied, is.Author, is.Machine = is.Author, uuid.NewString(), hostname()
	}
	is.Place = &here
	return is.state(), replace(folder, is)
}

// Known is the author that the state folder is; fs.ErrNotExist where it is none
// yet, or may become another.
func Known(folder string) (string, error) {
	is, err := read(folder)
	if err == nil && is.Place == nil {
		err = fs.ErrNotExist
	}
	return is.Author, err
}

// Anew gives a state folder another id, where another bears the one it has.
func Anew(folder string) (State, error) {
	is, err := read(folder)
	if err != nil {
		return State{}, err
	}
	is.Copied, is.Author = is.Author, uuid.NewString()
	return is.state(), replace(folder, is)
}

// first gives a folder its id; earlier tells that an earlier program's file is there.
func first(folder, base string, here place, recorded func() (string, error), earlier bool) (State, error) {
	is := file{Author: uuid.NewString(), Machine: hostname(), Place: &here}
	before, err := read(base)
	switch {
	case err == nil:
		is.Machine = before.Machine
	case !errors.Is(err, fs.ErrNotExist):
		return State{}, err
	default:
		before.Author, _ = derived()
	}
	author, err := recorded()
	if err != nil {
		return State{}, err
	}
	if author != "" && (author == before.Author || author == Earlier && before.Author != "") {
		is.Author = before.Author
	}
	if earlier {
		return is.state(), replace(folder, is)
	}
	// Whoever is first makes the id, even if two processes begin at once.
	if err := write(folder, is, wholefile.Create); err != nil && !errors.Is(err, fs.ErrExist) {
		return State{}, err
	}
	is, err = read(folder)
	return is.state(), err
}

func (f file) state() State { return State{Author: f.Author, Machine: f.Machine, Copied: f.Copied} }

func read(folder string) (file, error) {
	path := filepath.Join(folder, name)
	b, err := upTo(path, 64<<10)
	if err != nil {
		return file{}, err
	}
	var is file
	if err := json.Unmarshal(b, &is); err != nil || is.Machine == "" || uuid.Validate(is.Author) != nil {
		return file{}, fmt.Errorf("%s, which holds this computer's id, is damaged; put it back from a backup, or remove it and then make this computer the recording computer again with `linecamp setup --take-over`", path)
	}
	return is, nil
}

func replace(folder string, is file) error { return write(folder, is, wholefile.Replace) }

// write puts the file in place, for its owner only.
func write(folder string, is file, put func(path string, mode fs.FileMode, b []byte) error) error {
	b, err := json.MarshalIndent(is, "", "  ")
	if err != nil {
		return fmt.Errorf("this computer's id cannot be made: %w", err)
	}
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return fmt.Errorf("a folder for state cannot be made: %w", err)
	}
	if err := put(filepath.Join(folder, name), 0o600, append(b, '\n')); err != nil {
		return fmt.Errorf("this computer's id cannot be kept: %w", err)
	}
	return nil
}

func hostname() string {
	host, err := os.Hostname()
	if host = strings.ToValidUTF8(strings.TrimSpace(host), "?"); err != nil || host == "" {
		return "unnamed"
	}
	return host
}

// systemID is the id the system has of its own, where it has one.
var systemID = func() []byte {
	for _, path := range []string{"/etc/machine-id", "/var/lib/dbus/machine-id"} {
		b, err := upTo(path, 1<<10)
		// 32 hex digits, never shown to anyone as they are: machine-id(5).
		if raw, herr := hex.DecodeString(strings.TrimSpace(string(b))); err == nil && herr == nil && len(raw) == 16 {
			return raw
		}
	}
	return nil
}

// computer tells one computer from another, "" where the system does not.
func computer() string {
	id := systemID()
	if id == nil {
		return ""
	}
	mac := hmac.New(sha256.New, id)
	fmt.Fprint(mac, "linecamp computer")
	return hex.EncodeToString(mac.Sum(nil)[:16])
}

// derived is the id that earlier programs made for this user from the system's:
// a UUID of version 8, whose bits are ours to choose (RFC 9562, section 5.8).
func derived() (string, bool) {
	id := systemID()
	if id == nil {
		return "", false
	}
	mac := hmac.New(sha256.New, id)
	fmt.Fprintf(mac, "linecamp author %d", os.Getuid())
	var u uuid.UUID
	copy(u[:], mac.Sum(nil))
	u[6] = u[6]&0x0f | 0x80
	u[8] = u[8]&0x3f | 0x80
	return u.String(), true
}

// upTo reads a small file.
func upTo(path string, most int64) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, most))
}
