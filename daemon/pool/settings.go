package pool

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"linecamp/daemon/config"
)

// Settings are what the file linecamp.toml says of the whole machine, in its part
// [pool]. A zero value is as usual.
type Settings struct {
	Slots  int         // archives at work at once
	Memory int64       // bytes in use, above which no further archive begins
	Rate   config.Rate // of all buckets' links together; the zero value is no limit
	// Fault is every mistake in the file. With one, all is as usual; nil for none.
	Fault *config.Error
}

// What holds where the settings say nothing.
const (
	usualSlots  = 8
	usualMemory = 512 << 20
	mostSlots   = 64
	leastMemory = 64 << 20
)

func (s Settings) filled() Settings {
	if s.Slots == 0 {
		s.Slots = usualSlots
	}
	if s.Memory == 0 {
		s.Memory = usualMemory
	}
	return s
}

// open is how many archives may have their state open: those at work, and a few that
// are asked something in between. A ledger takes about a dozen descriptors.
func (s Settings) open() int { return s.Slots + max(4, s.Slots/2) }

// Read reads the settings of the machine beside those of the archives, which are in a
// file or a folder. A mistake stops nothing: it is in Fault.
func Read(archives string) Settings {
	dir := archives
	if info, err := os.Stat(archives); err == nil && !info.IsDir() {
		dir = filepath.Dir(archives)
	}
	path := filepath.Join(dir, config.MachineFile)
	b, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) || err == nil && config.IsArchive(b) {
		return Settings{}.filled()
	}
	if err != nil {
		why := &config.Error{File: path, Problems: []config.Problem{{Text: fmt.Sprintf("this cannot be read (%v), so the computer's limits are the usual ones", config.Plainly(err))}}, Err: err}
		return Settings{Fault: why}.filled()
	}
	s, err := parse(path, b)
	if err != nil {
		var why *config.Error
		if !errors.As(err, &why) {
			why = &config.Error{File: path, Problems: []config.Problem{{Text: err.Error()}}}
		}
		return Settings{Fault: why}.filled()
	}
	return s.filled()
}

func parse(path string, b []byte) (s Settings, err error) {
	f, top, err := config.Decode(path, b)
	if err != nil {
		return s, err
	}
	t := top.Sub("pool")
	s.Slots = int(t.Number("slots", 1, mostSlots, true, "archives that are at work at once"))
	if text := t.Text("memory"); text != "" {
		n, err := config.ParseSize(text)
		switch {
		case err != nil:
			t.Fault("memory", "%v", err)
		case n < leastMemory:
			t.Fault("memory", "this is less than one archive takes; write \"64 MiB\" or more")
		default:
			s.Memory = n
		}
	}
	if text := t.Text("rate"); text != "" {
		if s.Rate, err = config.ParseRate(text); err != nil {
			t.Fault("rate", "%v", err)
		}
	}
	t.Rest(nil)
	top.Rest(nil)
	if len(f.Faults) > 0 {
		return Settings{}, &config.Error{File: path, Problems: slices.Clone(f.Faults)}
	}
	return s, nil
}
