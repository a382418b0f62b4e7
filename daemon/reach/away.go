package reach

import (
	"fmt"
	"time"

	"linecamp/manifest/store/fault"
	"linecamp/manifest/words"
)

// seen notes that a copy was met, or since when it was not, and settles
// whether a drive that is not plugged in may be away. How the last round left the
// copy stays as it is: only a round can say better, and the service goes by it.
func (o Opener) seen(h *Copy) error {
	s, err := o.Ledger.Seen(h.ID)
	if err != nil {
		return err
	}
	now := o.Now()
	if h.Root != nil {
		s.LastReachable, s.AwaySince = now, time.Time{}
	} else {
		if s.AwaySince.IsZero() {
			s.AwaySince = now
		}
		since := s.AwaySince
		if !s.LastReachable.IsZero() {
			since = s.LastReachable
		}
		away := fault.Of(h.Err) == fault.Away
		h.Away = away && now.Sub(since) < h.Copy.Away
		if away && !h.Away && h.Copy.Away > 0 {
			h.Err = fmt.Errorf("%w (it may be unplugged for %s, and was last seen %s)", h.Err, words.Days(h.Copy.Away), words.Ago(now.Sub(since)))
		}
	}
	h.Seen = s
	return o.Ledger.SetSeen(h.ID, s)
}
