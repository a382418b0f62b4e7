package late

import (
	"context"
	"errors"
	"fmt"
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
	_, err := source.Bring(t.Context(), nil, d, c.Bytes([]authority.Copy{away})(d), func(int64) {})
	if !errors.Is(err, source.ErrNotNow) {
		t.Errorf("%v, want that it cannot be read in this round", err)
	}
}

// The chain's manifest is written out once, and not once for each of its files.
func TestBytesAreLookedUpCheaply(t *testing.T) {
	texts := map[string]string{}
	for i := range 500 {
		texts[fmt.Sprint(i)] = fmt.Sprint("photo ", i)
	}
	c := Chain{Slug: "stake-1", Inv: grow(t, nil, texts, "theirs").Inv, From: 1, On: authority.Copy{ID: "shelf"}}
	find, d := c.Bytes(nil), manifest.Sum([]byte("photo 1"))
	if n := testing.AllocsPerRun(20, func() { find(d) }); n > 5 {
		t.Errorf("to look up one file it allocates %v times", n)
	}
	if len(find(manifest.Sum(c.Inv.Encode()))) != 1 {
		t.Error("the manifest itself is nowhere")
	}
}
