package desk

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"reflect"
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
	n = cleaned(n, post.Secrets(cfg))
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

// cleaned takes secrets out of every text of a notice that may come from outside,
// whatever its fields are. Times, numbers, and words that have a type of their own, such
// as its kind, are ours: a short secret that is like a part of one breaks none of them.
func cleaned(n notice.Notice, secrets []string) notice.Notice {
	return clean(reflect.ValueOf(n), secrets).Interface().(notice.Notice)
}

func clean(v reflect.Value, secrets []string) reflect.Value {
	is := reflect.New(v.Type()).Elem()
	is.Set(v)
	switch v.Kind() {
	case reflect.String:
		if v.Type() == reflect.TypeFor[string]() {
			is.SetString(post.Clean(v.String(), secrets))
		}
	case reflect.Pointer:
		if !v.IsNil() {
			is.Set(reflect.New(v.Type().Elem()))
			is.Elem().Set(clean(v.Elem(), secrets))
		}
	case reflect.Slice:
		if !v.IsNil() {
			is.Set(reflect.MakeSlice(v.Type(), v.Len(), v.Len()))
		}
		for i := range v.Len() {
			is.Index(i).Set(clean(v.Index(i), secrets))
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				is.Field(i).Set(clean(v.Field(i), secrets))
			}
		}
	}
	return is
}
