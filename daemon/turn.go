package daemon

import (
	"context"
	"fmt"
	"log/slog"
	"path/filepath"
	"time"

	"github.com/rogpeppe/go-internal/lockedfile"
)

// turns decides who works on what, among the rounds of this process and of
// every other linecamp that uses the same state folder:
//
//   - Authoring is one lock per archive.
//   - Each copy has a lock and, before it, a gate. Whoever wants the copy
//     passes the gate first, and keeps it until the copy is his. A
//     verification gives the copy back after each object; if a mirror round
//     came meanwhile it stands in the gate, so it is next.
//
// The locks are locks of the operating system on files, so that a crash or a
// power cut never leaves one behind. They order linecamp's own rounds; that
// two machines, or two users, do not write to one drive or bucket at once is
// seen to by the root itself (store.Root.Lock, author.json).
type turns struct {
	dir string // the archive's state folder
	log *slog.Logger
}

// author takes the right to make versions.
func (t turns) author(ctx context.Context) (release func(), err error) {
	return t.take(ctx, "authoring.lock", "another round is at work on this archive; waiting for it to finish")
}

// copy takes a copy, by its id. The right is to be given back soon by a
// verification, and may be kept long by a mirror round.
func (t turns) copy(ctx context.Context, name, id string) (release func(), err error) {
	pass, err := t.take(ctx, "copy-"+id+".gate", "waiting for another round to leave "+name)
	if err != nil {
		return nil, err
	}
	defer pass()
	return t.take(ctx, "copy-"+id+".lock", "waiting for another round to leave "+name)
}

// patience is how long a wait may last before it is told.
const patience = 2 * time.Second

func (t turns) take(ctx context.Context, file, waiting string) (func(), error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	type result struct {
		release func()
		err     error
	}
	got := make(chan result, 1)
	go func() {
		release, err := lockedfile.MutexAt(filepath.Join(t.dir, file)).Lock()
		got <- result{release, err}
	}()
	told := time.NewTimer(patience)
	defer told.Stop()
	for {
		select {
		case r := <-got:
			if r.err != nil {
				return nil, fmt.Errorf("the state folder %s does not let linecamp take turns: %w", t.dir, r.err)
			}
			return r.release, nil
		case <-told.C:
			t.log.Info(waiting)
		case <-ctx.Done():
			go func() { // give it back once it comes
				if r := <-got; r.err == nil {
					r.release()
				}
			}()
			return nil, ctx.Err()
		}
	}
}
