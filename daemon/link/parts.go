package link

// Upload and SetUpload keep in the ledger how far uploads in parts are: a process that
// was killed goes on with them, whatever address the machine has then.

func (l *Link) Upload(key string) (string, error) {
	text, _, err := l.ledger.Value(l.uploadKey(key))
	return text, err
}

func (l *Link) SetUpload(key, text string) error { return l.ledger.SetValue(l.uploadKey(key), text) }

func (l *Link) uploadKey(key string) string { return "upload to " + l.id + " of " + key }
