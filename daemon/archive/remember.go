package archive

import (
	"encoding/json"
	"fmt"
)

// Remember keeps a value in the ledger, and recall reads it. One that cannot be
// read, or was never kept, is empty.
func (a *Archive) Remember(key string, v any) error {
	b, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("%s: %w", key, err)
	}
	return a.Ledger.SetValue(key, string(b))
}

func (a *Archive) Recall(key string, v any) error {
	text, ok, err := a.Ledger.Value(key)
	if err != nil || !ok {
		return err
	}
	if json.Unmarshal([]byte(text), v) != nil {
		return nil // damaged: unknown
	}
	return nil
}
