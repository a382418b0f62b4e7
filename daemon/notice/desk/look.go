package desk

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"time"

	"linecamp/daemon/archive"
	"linecamp/daemon/attention"
	"linecamp/daemon/config"
	"linecamp/daemon/notice"
	"linecamp/daemon/notice/post"
	"linecamp/daemon/status"
	"linecamp/verify"
)

// patience is how long a look may take: a drive that hangs keeps no notice back.
const patience = 2 * time.Minute

// look says what wants a person, and how the archive stands.
func look(ctx context.Context, cfg config.Archive, o Options, among int) ([]attention.Item, *notice.State, error) {
	ctx, stop := context.WithTimeout(ctx, patience)
	defer stop()
	a, err := archive.Open(cfg, archive.Options{Log: o.Log, Now: o.Now, Line: o.line(cfg.Name, among), Among: among})
	if err != nil {
		return nil, nil, err
	}
	defer a.Close()
	s, err := status.Of(ctx, a)
	if err != nil {
		return nil, nil, err
	}
	state := &notice.State{Copies: []notice.Copy{}, Years: map[string]int{}}
	for _, c := range s.Copies {
		state.Copies = append(state.Copies, notice.Copy{Copy: c.Copy, State: c.State, Files: c.Files, Bytes: c.Bytes, ReadBack: c.ReadBack.Files, Oldest: c.ReadBack.Oldest})
	}
	for name, n := range map[string]int{verify.Whole: s.Years.Whole, verify.Short: s.Years.Short, verify.Skipped: s.Years.Skipped, verify.Recoverable: s.Years.Recoverable,
		verify.Lost: s.Years.Lost, verify.Due: s.Years.Due, verify.Explained: s.Years.Explained} {
		if n > 0 {
			state.Years[name] = n
		}
	}
	switch seal, err := a.Cache.Seal(); {
	case err == nil && seal.Len() > 0:
		state.Seal = seal.Printed().String()
	case err != nil && !errors.Is(err, fs.ErrNotExist):
		return nil, nil, err
	}
	return s.Attention, state, nil
}

// message puts a notice into words, and takes out whatever is secret.
func message(n notice.Notice, cfg config.Archive, o Options, among int, way string, number int) (post.Message, error) {
	n.Archive, n.Name = cfg.Name, cfg.Title
	n.Machine, _ = os.Hostname()
	n, err := cleaned(n, post.Secrets(cfg))
	if err != nil {
		return post.Message{}, err
	}
	m := post.Message{At: n.At}
	m.Subject, m.Text = o.Words(n, o.line(cfg.Name, among))
	// What is tried again unchanged has the same id: who got it after all knows it.
	told, err := json.Marshal([]any{n.Machine, cfg.Name, way, number, n.New, n.Ended, n.Damage})
	if err != nil {
		return post.Message{}, err
	}
	sum := sha256.Sum256(told)
	m.ID = hex.EncodeToString(sum[:12])
	m.JSON, err = json.Marshal(struct {
		ID      string `json:"id"`
		Subject string `json:"subject"`
		Text    string `json:"text"`
		notice.Notice
	}{m.ID, m.Subject, m.Text, n})
	return m, err
}

// cleaned takes secrets out of every text of a notice, whatever its fields are.
func cleaned(n notice.Notice, secrets []string) (clean notice.Notice, err error) {
	b, err := json.Marshal(n)
	if err != nil {
		return clean, err
	}
	var all any
	if err := json.Unmarshal(b, &all); err != nil {
		return clean, err
	}
	var walk func(any) any
	walk = func(v any) any {
		switch v := v.(type) {
		case string:
			return post.Clean(v, secrets)
		case []any:
			for i := range v {
				v[i] = walk(v[i])
			}
		case map[string]any:
			for k := range v {
				v[k] = walk(v[k])
			}
		}
		return v
	}
	if b, err = json.Marshal(walk(all)); err != nil {
		return clean, err
	}
	return clean, json.Unmarshal(b, &clean)
}
