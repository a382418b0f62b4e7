package link

import (
	"errors"
	"slices"
	"strings"
)

// Page is how many sites, and how many keys, a round looks for that has nothing to do with
// them, where the link is limited: about 3 kB of listings. A check lists them all.
const Page = 10

// AtOnce is how many files go over the link side by side, so that its latency is hidden
// by several. Where it breaks off, what was sent of each is lost: over a narrow one they
// are few.
func (l *Link) AtOnce() int {
	const narrow, wide = 250_000, 1_000_000 // bytes a second
	switch {
	case l == nil || l.link.Rate.Bytes == 0 || l.link.Rate.Bytes > wide:
		return 4
	case l.link.Rate.Bytes > narrow:
		return 2
	}
	return 1
}

// Upload, SetUpload and Uploads keep in the ledger how far uploads in parts are: a process
// that was killed goes on with them, whatever address the machine has then.

func (l *Link) Upload(key string) (string, error) {
	text, _, err := l.ledger.Value(l.uploadKey(key))
	return text, err
}

func (l *Link) SetUpload(key, text string) error {
	l.writing.Lock()
	defer l.writing.Unlock()
	keys, err := l.Uploads()
	if err != nil {
		return err
	}
	i := slices.Index(keys, key)
	switch {
	case text != "" && i < 0:
		keys = append(keys, key)
	case text == "" && i >= 0:
		keys = slices.Delete(keys, i, i+1)
	default:
		return l.ledger.SetValue(l.uploadKey(key), text)
	}
	return errors.Join(l.ledger.SetValue(l.uploadsKey(), strings.Join(keys, "\n")), l.ledger.SetValue(l.uploadKey(key), text))
}

func (l *Link) Uploads() ([]string, error) {
	text, _, err := l.ledger.Value(l.uploadsKey())
	if err != nil || text == "" {
		return nil, err
	}
	return strings.Split(text, "\n"), nil
}

func (l *Link) uploadKey(key string) string { return "upload to " + l.id + " of " + key }

func (l *Link) uploadsKey() string { return "uploads to " + l.id }
