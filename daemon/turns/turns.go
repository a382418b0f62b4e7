// Package turns decides who works on what. Begin with [Turns.Author], which lets one
// round at a time make versions, and [Turns.ToWrite] and [Turns.Visit], which share
// a copy among the rounds that write to it and the checks that read it. A mirror
// round gives each copy back as soon as it is through with it, so that a bucket on a
// slow line keeps neither the drives from their check nor new photos from the drives.
package turns

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/google/uuid"
	"github.com/rogpeppe/go-internal/lockedfile"
)

// Turns decides who works on what, among the rounds of this process and of
// every other linecamp that uses the same state folder:
//
//   - Authoring is one lock per archive.
//   - Each copy has a lock and, before it, a gate. Whoever wants the copy
//     passes the gate first, and keeps it until the copy is his. A
//     verification gives the copy back every second; if a mirror round came
//     meanwhile it stands in the gate, so it is next.
//
// The locks are locks of the operating system on files, so that a crash or a
// power cut never leaves one behind. They order linecamp's own rounds; that
// two machines, or two users, do not write to one drive or bucket at once is
// seen to by the root itself (store.Root.Lock, author.json).
type Turns struct {
	dir      string // the archive's state folder
	log      *slog.Logger
	patience time.Duration // how long a wait may last before it is told, or given up
}

// Author takes the right to make versions.
func (t Turns) Author(ctx context.Context) (release func(), err error) {
	return t.take(ctx, "authoring.lock", "another round is at work on this archive; waiting for it to finish")
}

// File takes the right to file pictures into the working folder.
func (t Turns) File(ctx context.Context) (release func(), err error) {
	return t.take(ctx, "intake.lock", "another intake is filing into this archive; waiting for it to finish")
}

// ErrCatchingUp: another round is at work on the copy, and may be for hours.
var ErrCatchingUp = errors.New("another round is still bringing it up to date")

// ToWrite takes a copy for as long as a round brings something to it, and leaves
// a mark for a verification that was in the middle of it. It waits for a
// verification, which makes room soon; a round that writes may take days over
// a slow line, so after a moment it is ErrCatchingUp.
func (t Turns) ToWrite(ctx context.Context, name, id string) (release func(), err error) {
	waiting, giveUp := context.WithCancelCause(ctx)
	defer giveUp(nil)
	look := time.AfterFunc(t.patience, func() {
		if strings.HasPrefix(t.marked(id), writing) {
			giveUp(ErrCatchingUp)
		}
	})
	defer look.Stop()
	free, err := t.copy(waiting, name, id)
	if err != nil {
		if ctx.Err() == nil && context.Cause(waiting) == ErrCatchingUp {
			return nil, ErrCatchingUp
		}
		return nil, err
	}
	if err := t.setMark(id, writing); err != nil {
		free()
		return nil, err
	}
	return sync.OnceFunc(func() {
		if err := t.setMark(id, "left"); err != nil {
			t.log.Warn(err.Error())
		}
		free()
	}), nil
}

// Busy reports whether a round is at work on a copy just now. A crash may leave
// its mark, but not the lock.
func (t Turns) Busy(ctx context.Context, id string) bool {
	if !strings.HasPrefix(t.marked(id), writing) {
		return false
	}
	ctx, stop := context.WithTimeout(ctx, 200*time.Millisecond)
	defer stop()
	free, err := t.take(ctx, "copy-"+id+".lock", "")
	if err != nil {
		return errors.Is(err, context.DeadlineExceeded)
	}
	free()
	return false
}

// writing begins the mark of a round at work. Behind it stands what makes each
// mark another one. A crash may leave it, but then the copy is free.
const writing = "writing"

func (t Turns) setMark(id, what string) error {
	if err := os.WriteFile(t.mark(id), []byte(what+" "+uuid.NewString()), 0o600); err != nil {
		return fmt.Errorf("the state folder %s cannot be written to: %w", t.dir, err)
	}
	return nil
}

func (t Turns) mark(id string) string { return filepath.Join(t.dir, "copy-"+id+".mark") }

// marked is what the last round that wrote left; "" if none did.
func (t Turns) marked(id string) string {
	b, _ := os.ReadFile(t.mark(id))
	return string(b)
}

// Visit is a verification's stay at a copy.
type Visit struct {
	t        Turns
	name, id string
	every    time.Duration // how long it keeps the copy before it lets others in
	release  func()
	mark     string
	since    time.Time
}

// visitTime is how long a verification keeps a copy at a time.
const visitTime = time.Second

func (t Turns) Visit(ctx context.Context, name, id string) (*Visit, error) {
	v := &Visit{t: t, name: name, id: id, every: visitTime}
	return v, v.enter(ctx)
}

func (v *Visit) enter(ctx context.Context) (err error) {
	v.release, err = v.t.copy(ctx, v.name, v.id)
	if err != nil {
		v.release = func() {}
		return err
	}
	v.mark, v.since = v.t.marked(v.id), time.Now()
	return nil
}

// Yield lets a round that waits go first. changed says that one wrote.
func (v *Visit) Yield(ctx context.Context) (changed bool, err error) {
	if time.Since(v.since) < v.every {
		return false, nil
	}
	mark := v.mark
	v.release()
	if err := v.enter(ctx); err != nil {
		return false, err
	}
	return v.mark != mark, nil
}

func (v *Visit) Leave() { v.release() }

// copy takes a copy, by its id.
func (t Turns) copy(ctx context.Context, name, id string) (release func(), err error) {
	pass, err := t.take(ctx, "copy-"+id+".gate", "waiting for another round to leave "+name)
	if err != nil {
		return nil, err
	}
	defer pass()
	return t.take(ctx, "copy-"+id+".lock", "waiting for another round to leave "+name)
}

// In are the turns of the archive with that state folder.
func In(dir string, log *slog.Logger) Turns { return Turns{dir, log, usualPatience} }

const usualPatience = 3 * time.Second

func (t Turns) take(ctx context.Context, file, waiting string) (func(), error) {
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
	told := time.NewTimer(t.patience)
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
