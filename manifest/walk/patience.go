package walk

import "time"

// A file that changed within the last minute may still be being written, and
// waits for a later tally. It waits for a day at most, counted from when it
// was first seen waiting: then it is taken as it is, so that a file that
// something touches for ever is not left out for ever. What was taken that way
// is not remembered, but read anew each time until it is left alone.
const (
	quiet   = time.Minute
	longest = 24 * time.Hour
)

const (
	reasonFresh    = "changed less than a minute ago, and may still be being written; the next round looks again"
	reasonChanging = "changed while linecamp was reading; the next round looks again"
	reasonVanished = "vanished before linecamp came to read; whether deleted or moved shows in the next round"
)

// Passes reports whether w is over by itself soon. What could not be read waits
// for a person.
func (w Waiting) Passes() bool {
	return w.Reason == reasonFresh || w.Reason == reasonChanging || w.Reason == reasonVanished
}

// Vanished reports whether nothing of that name was there any more.
func (w Waiting) Vanished() bool { return w.Reason == reasonVanished }

// Fresh reports whether a file that was modified then may still be being written. A time in the
// future is a clock set wrong, here or where the file came from; within a day
// it is treated like now, beyond that as settled.
func Fresh(modified, now time.Time) bool {
	age := now.Sub(modified)
	return age < quiet && age > -longest
}

// hasPatience reports whether a file may wait on.
func hasPatience(c Cache, path string, now time.Time) bool {
	if c == nil {
		return true
	}
	first, err := c.FirstSeen(path, now)
	return err != nil || now.Sub(first) < longest
}
