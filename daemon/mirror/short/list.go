package short

import (
	"slices"
	"sync"

	"linecamp/daemon/ledger"
)

// List is what one copy is short of during a round.
type List struct {
	Ledger *ledger.Ledger
	CopyID string
	FAT    bool // the copy's files end below 4 GiB

	mu  sync.Mutex
	all []File
}

// Load reads what the copy was short of before this round.
func (l *List) Load() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.all, _ = Of(l.Ledger, l.CopyID) // a ledger that cannot be read stops the round elsewhere
}

// Add notes that versions were committed there without some files.
func (l *List) Add(added ...File) error {
	if len(added) == 0 {
		return nil
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, s := range added {
		s.FAT = s.TooLarge && l.FAT
		l.all = slices.DeleteFunc(l.all, func(x File) bool { return x.Object == s.Object && x.Content == s.Content })
		l.all = append(l.all, s)
	}
	return note(l.Ledger, l.CopyID, l.all)
}

// TooLarge are the people's paths that the copy's file system cannot hold, and what
// to say of them.
func (l *List) TooLarge() (paths []string, text string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	large := slices.DeleteFunc(slices.Clone(l.all), func(s File) bool { return !s.TooLarge })
	for _, s := range large {
		paths = append(paths, s.Path)
	}
	slices.Sort(paths)
	return paths, Text(large)
}
