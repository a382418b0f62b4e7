package pool

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"linecamp/daemon/config"
)

func TestRead(t *testing.T) {
	for name, c := range map[string]struct {
		text   string
		slots  int
		memory int64
		rate   int64
		faults []string // line, key and a word of each
		slip   string   // what is told of an archive's instead
	}{
		"no file":                           {"-", usualSlots, usualMemory, 0, nil, ""},
		"empty":                             {"", usualSlots, usualMemory, 0, nil, ""},
		"all":                               {"[pool]\nslots = 3\nmemory = \"300 MiB\"\nrate = \"8 Mbit/s\"\n", 3, 300 << 20, 1e6, nil, ""},
		"misspelt":                          {"[pool]\nslots = 3\nslot = 4\n", usualSlots, usualMemory, 0, []string{":3: pool.slot: there is no such setting"}, ""},
		"another part":                      {"[pond]\nslots = 3\n", usualSlots, usualMemory, 0, []string{":1: pond: there is no such setting"}, ""},
		"none at all":                       {"[pool]\nslots = 0\n", usualSlots, usualMemory, 0, []string{":2: pool.slots: 0 cannot be"}, ""},
		"too little":                        {"[pool]\nmemory = \"1 MB\"\nrate = \"1 mile/s\"\n", usualSlots, usualMemory, 0, []string{":2: pool.memory: this is less", ":3: pool.rate: this is not a speed"}, ""},
		"no TOML":                           {"slots 3\n", usualSlots, usualMemory, 0, []string{":1: "}, ""},
		"an archive's":                      {"archive = \"linecamp\"\n[pond]\n", usualSlots, usualMemory, 0, nil, ""},
		"an archive's, with a slip":         {"archive = \"saltbush-draw\"\nfolder = /srv/monitoring\n", usualSlots, usualMemory, 0, nil, ":2: "},
		"an archive's, and its name is one": {"\ufeffarchive \"saltbush-draw\"\r\nfolder = \"/srv/monitoring\"\r\n", usualSlots, usualMemory, 0, nil, ":1: "},
		"an archive's without its name":     {"folder = \"/srv/monitoring\"\n", usualSlots, usualMemory, 0, nil, ":1: archive: "},
		"copies without a name":             {" [[copy]\nname = \"shelf\"\n", usualSlots, usualMemory, 0, nil, ":2: "},
		"whole machine's":                   {"\ufeff[pool]\r\nslots = 2\r\n", 2, usualMemory, 0, nil, ""},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			file := filepath.Join(dir, config.MachineFile)
			if c.text != "-" {
				if err := os.WriteFile(file, []byte(c.text), 0o600); err != nil {
					t.Fatal(err)
				}
			}
			beside := filepath.Join(dir, "saltbush-draw.toml")
			if err := os.WriteFile(beside, nil, 0o600); err != nil {
				t.Fatal(err)
			}
			for _, place := range []string{dir, beside} {
				s := Read(place)
				if s.Slots != c.slots || s.Memory != c.memory || s.Rate.Bytes != c.rate || (s.Fault == nil) != (c.faults == nil) {
					t.Fatalf("from %s: %+v", place, s)
				}
				for _, want := range c.faults {
					if !strings.Contains(s.Fault.Error(), file+want) {
						t.Errorf("the fault is %q, which lacks %q", s.Fault, want)
					}
				}
			}
			archives, faults := config.Load(dir)
			if isMachines := c.faults != nil || strings.HasSuffix(name, "machine's"); isMachines && len(faults) != 1 { // the one beside is empty
				t.Errorf("of the archives: %v, %v", archives, faults)
			}
			if told := errors.Join(faults...).Error(); c.slip != "" && (len(archives) > 0 || len(faults) != 2 || !strings.Contains(told, file+c.slip)) {
				t.Errorf("of the archives: %v, %v", archives, faults)
			}
		})
	}
}

func TestNoneBeginsWhileMemoryIsShortButOne(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := New(Settings{Slots: 4, Memory: 100})
		used := int64(100)
		p.inUse = func() int64 { return used }
		if err := p.Enter(t.Context()); err != nil {
			t.Fatal(err)
		}
		in := make(chan error)
		go func() { in <- p.Enter(t.Context()) }()
		time.Sleep(9 * time.Minute)
		synctest.Wait()
		select {
		case <-in:
			t.Fatal("a second began")
		default:
		}
		p.mu.Lock()
		used = 99
		p.mu.Unlock()
		time.Sleep(look)
		if err := <-in; err != nil {
			t.Fatal(err)
		}
		p.Leave()
		p.Leave()
	})
}

// One that hangs while memory is short keeps the others waiting for a while, and not for
// as long as it hangs: they go one at a time beside it.
func TestOneThatHangsWhileMemoryIsShortStopsNobody(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := New(Settings{Slots: 4, Memory: 100})
		p.inUse = func() int64 { return 100 }
		ctx, stop := context.WithTimeout(t.Context(), 3*time.Hour)
		defer stop()
		if err := p.Enter(ctx); err != nil { // the one that hangs
			t.Fatal(err)
		}
		began := time.Now()
		done := make(chan error, 50)
		for range cap(done) {
			go func() {
				err := p.Enter(ctx)
				if err == nil {
					if free := p.Free(); free != 2 {
						t.Errorf("with the one that hangs, %d of 4 places are free", free)
					}
					time.Sleep(time.Minute)
					p.Leave()
				}
				done <- err
			}()
		}
		for range cap(done) {
			if err := <-done; err != nil {
				t.Fatal(err)
			}
		}
		if took := time.Since(began); took < 50*time.Minute {
			t.Errorf("50 rounds of a minute each, one at a time, took %v", took)
		}
		p.Leave()
	})
}

// Fewer slots push nobody out, more let those in who wait, and whoever stops waiting
// leaves no place taken.
func TestLimitsChangeWhileRoundsRun(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := New(Settings{Slots: 3})
		p.inUse = func() int64 { return 0 }
		for range 3 {
			if err := p.Enter(t.Context()); err != nil {
				t.Fatal(err)
			}
		}
		p.Limit(Settings{Slots: 1})
		ctx, stop := context.WithCancel(t.Context())
		in := make(chan error, 2)
		for range 2 {
			go func() { in <- p.Enter(ctx) }()
		}
		p.Leave()
		p.Leave()
		synctest.Wait()
		if len(in) > 0 {
			t.Fatal("one more came in than there is place for")
		}
		p.Limit(Settings{Slots: 2})
		if err := <-in; err != nil {
			t.Fatal(err)
		}
		stop()
		if err := <-in; !errors.Is(err, context.Canceled) {
			t.Fatal(err)
		}
		p.Leave()
		p.Leave()
		if p.work.inside != 0 || len(p.work.line) != 0 {
			t.Errorf("%d inside, %d in line", p.work.inside, len(p.work.line))
		}
	})
}
