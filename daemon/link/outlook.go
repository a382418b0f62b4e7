package link

import (
	"time"
)

// Outlook says how long what is still to go to a copy will take.
type Outlook struct {
	Days   int        `json:"days,omitempty"`   // about so many; 0 where nothing limits it, or nothing tells
	Nights bool       `json:"nights,omitempty"` // they are nights
	Done   *time.Time `json:"done,omitempty"`   // about when
	// Kept is why nothing is sent just now, "" where something may be.
	Kept string `json:"kept,omitempty"`
}

// Long reports that a person should look whether the limits fit what there is.
func (o *Outlook) Long() bool { return o != nil && o.Days > longest }

const longest = 366 // days

// version is about how much one version carries where there is much to go.
const version = 64 << 20

// Outlook is how long so many bytes will take; nil where the settings limit nothing.
func (l *Link) Outlook(bytes int64) (*Outlook, error) {
	if !l.IsLimited() {
		return nil, nil
	}
	o := &Outlook{Nights: l.link.Hours.Nightly()}
	if held := l.Start(min(bytes, version)); held != nil {
		o.Kept = held.Error()
	}
	left, err := l.Left()
	if err != nil || bytes <= 0 || l.link.Rate.Bytes == 0 && l.link.Allowance.Per == "" {
		return o, err
	}
	now := l.now().Local()
	at, todo := now, cost(bytes)
	for at.Sub(now) <= (longest+1)*24*time.Hour {
		if !l.link.Hours.Open(at) {
			at = l.link.Hours.Next(at)
			continue
		}
		until := l.link.Hours.Next(at)
		if until.IsZero() { // open at all times
			y, m, d := at.Date()
			until = time.Date(y, m, d+1, 0, 0, 0, 0, at.Location())
		}
		if edge := l.link.Allowance.Until(at); !edge.IsZero() && edge.Before(until) {
			until = edge
		}
		goes := min(todo, max(left, 0))
		if rate := l.link.Rate.Bytes; rate > 0 {
			goes = min(goes, int64(float64(rate)*until.Sub(at).Seconds()))
		}
		todo, left = todo-goes, left-goes
		if todo <= 0 {
			switch {
			case l.link.Rate.Bytes == 0:
				until = at
			default:
				until = at.Add(time.Duration(float64(goes) / float64(l.link.Rate.Bytes) * float64(time.Second)))
			}
			done := until.UTC().Truncate(time.Second)
			o.Days, o.Done = int(until.Sub(now).Hours()/24)+1, &done
			return o, nil
		}
		if edge := l.link.Allowance.Until(at); until.Equal(edge) {
			left = l.whole()
		}
		at = until
	}
	o.Days = longest + 1
	return o, nil
}
