package status

import (
	"cmp"
	"fmt"
	"slices"

	"linecamp/daemon/archive"

	"linecamp/daemon/attention"
	"linecamp/daemon/event"
	"linecamp/daemon/reach"
)

// keyTold is where the ledger keeps what the rounds told last.
const keyTold = "told in events"

// told is how things stood when the rounds last told of them.
type told struct {
	Copies    map[string]string // state by copy id
	Attention []attention.Item
}

// TellChanges tells what is another way than the rounds told last.
func TellChanges(a *archive.Archive, o Outlook) error {
	was, is := told{}, told{Copies: map[string]string{}, Attention: o.Attention}
	if err := a.Recall(keyTold, &was); err != nil {
		return fmt.Errorf("the ledger: %w", err)
	}
	for _, s := range o.standings {
		before := was.Copies[s.id]
		is.Copies[s.id] = s.state
		switch {
		case s.state == before:
		case !isReached(s.state):
			a.Events.Tell(event.CopyWentAway{Copy: s.name, State: s.state, Error: cmp.Or(s.err, s.note)})
		case before != "" && !isReached(before):
			a.Events.Tell(event.CopyCameBack{Copy: s.name})
		}
		if s.state == reach.Current && before != reach.Current {
			a.Events.Tell(event.CopyBecameCurrent{Copy: s.name})
		}
	}
	has := func(all []attention.Item, i attention.Item) bool {
		return slices.ContainsFunc(all, func(x attention.Item) bool { return x.Key() == i.Key() })
	}
	for _, i := range is.Attention {
		if !has(was.Attention, i) {
			a.Events.Tell(event.AttentionArose{Item: i})
		}
	}
	for _, i := range was.Attention {
		if !has(is.Attention, i) {
			a.Events.Tell(event.AttentionEnded{Item: i})
		}
	}
	return a.Remember(keyTold, is)
}

func isReached(state string) bool { return state == reach.Current || state == reach.Behind }
