package event

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"os"
	"path/filepath"
	"reflect"
	"time"
)

// FileName is the file in the state folder that keeps the newest events, one JSON
// object on each line.
const FileName = "events.jsonl"

// mostFile is how large the file grows, in bytes. Then it is kept beside, in the place of
// the one before, and begun anew.
const mostFile = 1 << 20

// onFile is a line of the file.
type onFile struct {
	At      time.Time       `json:"at"`
	Archive string          `json:"archive"`
	Event   string          `json:"event"`
	What    json.RawMessage `json:"what"`
}

// File keeps the events in a state folder. Events that cannot be written are lost:
// that is no reason to stop keeping photos.
func File(dir string) Sink {
	name := filepath.Join(dir, FileName)
	return func(t Told) {
		what, err := json.Marshal(t.Event)
		if err != nil {
			return
		}
		b, err := json.Marshal(onFile{t.At, t.Archive, t.Event.name(), what})
		if err != nil {
			return
		}
		if info, err := os.Stat(name); err == nil && info.Size() > mostFile {
			_ = os.Rename(name, name+".before")
		}
		f, err := os.OpenFile(name, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
		if err != nil {
			return
		}
		_, _ = f.Write(append(b, '\n')) // in one write: rounds of other processes add here too
		_ = f.Close()
	}
}

// types are the events that a file may hold, by name.
var types = map[string]reflect.Type{}

func init() {
	for _, e := range []Event{RoundBegan{}, RoundEnded{}, DamageFound{}, DamageGone{}, CopyWentAway{}, CopyCameBack{}, CopyBecameCurrent{}, AttentionArose{}, AttentionEnded{}, Waits{}, Missed{}} {
		types[e.name()] = reflect.TypeOf(e)
	}
}

// ErrLine marks a line that is no event: a power cut may leave one.
var ErrLine = errors.New("this line is no event")

// Read yields the events that a state folder keeps, oldest first. After an error
// that is not ErrLine it ends.
func Read(dir string) iter.Seq2[Told, error] {
	return func(yield func(Told, error) bool) {
		for _, name := range []string{FileName + ".before", FileName} {
			f, err := os.Open(filepath.Join(dir, name))
			if errors.Is(err, fs.ErrNotExist) {
				continue
			}
			if err != nil {
				yield(Told{}, err)
				return
			}
			goOn := readLines(f, yield)
			f.Close()
			if !goOn {
				return
			}
		}
	}
}

func readLines(r io.Reader, yield func(Told, error) bool) bool {
	lines := bufio.NewScanner(r)
	lines.Buffer(nil, mostFile)
	for lines.Scan() {
		if !yield(decode(lines.Bytes())) {
			return false
		}
	}
	return lines.Err() == nil || yield(Told{}, lines.Err())
}

func decode(b []byte) (Told, error) {
	var l onFile
	if err := json.Unmarshal(b, &l); err != nil {
		return Told{}, fmt.Errorf("%w: %w", ErrLine, err)
	}
	of, ok := types[l.Event]
	if !ok {
		return Told{}, fmt.Errorf("%w: it is called %q", ErrLine, l.Event)
	}
	what := reflect.New(of)
	if err := json.Unmarshal(l.What, what.Interface()); err != nil {
		return Told{}, fmt.Errorf("%w: %w", ErrLine, err)
	}
	return Told{l.At, l.Archive, what.Elem().Interface().(Event)}, nil
}
