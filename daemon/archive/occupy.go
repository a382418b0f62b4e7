package archive

import (
	"context"
	"maps"
	"slices"
	"sync"

	"linecamp/daemon/reach"
)

// Occupied are the turns and locks a round has on copies.
type Occupied struct {
	mu   sync.Mutex
	free map[string]func() // by copy id
}

// Leave gives one copy back.
func (o *Occupied) Leave(id string) {
	o.mu.Lock()
	free := o.free[id]
	delete(o.free, id)
	o.mu.Unlock()
	if free != nil {
		free()
	}
}

func (o *Occupied) LeaveAll() {
	o.mu.Lock()
	ids := slices.Collect(maps.Keys(o.free))
	o.mu.Unlock()
	for _, id := range ids {
		o.Leave(id)
	}
}

// Occupy takes the turn on each open copy, and its lock against other
// machines and users. A copy that cannot be had is taken out, with the reason.
func (a *Archive) Occupy(ctx context.Context, copies []*reach.Copy) (*Occupied, error) {
	o := &Occupied{free: map[string]func(){}}
	for _, h := range copies { // always in the config's order, so that no two rounds wait for each other
		if h.Root == nil {
			continue
		}
		leave, err := a.Turns.ToWrite(ctx, h.Name, h.ID)
		if err == nil {
			var unlock func()
			if unlock, err = h.Root.Lock(ctx); err == nil {
				o.free[h.ID] = func() { unlock(); leave() }
				continue
			}
			leave()
		}
		if ctx.Err() != nil {
			o.LeaveAll()
			return nil, ctx.Err()
		}
		h.Root.Close()
		h.Root, h.Err = nil, err
	}
	return o, nil
}
