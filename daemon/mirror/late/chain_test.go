package late

import (
	"context"
	"errors"
	"testing"

	"linecamp/daemon/authority"
	"linecamp/daemon/mirror/source"
	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
)

// pulled is a drive that was pulled out.
type pulled struct{ store.Root }

func (pulled) Can() store.Abilities { return store.Abilities{Local: true} }

func (pulled) Stat(context.Context, string) (store.Info, error) {
	return store.Info{}, fault.New("it is not there", fault.Away)
}

// Where the copy with the chain goes out of reach in the middle, its bytes have to wait:
// nobody may say that no copy has them, and have the version be made without.
func TestBytesOfACopyThatWentAway(t *testing.T) {
	chain := grow(t, nil, map[string]string{"a": "A"}, "theirs").Inv
	away := authority.Copy{ID: "shelf", Name: "shelf", Root: pulled{}, CanRead: func() bool { return false }}
	c := Chain{Slug: "stake-1", Inv: chain, From: 1, On: away}
	d := manifest.Sum([]byte("A"))
	_, err := source.Bring(t.Context(), nil, d, c.Bytes(d, []authority.Copy{away}), func(int64) {})
	if !errors.Is(err, source.ErrNotNow) {
		t.Errorf("%v, want that it cannot be read in this round", err)
	}
}
