package setup

import (
	"errors"
	"fmt"
	"io/fs"
	"linecamp/manifest/store/fault"
	"linecamp/manifest/wholefile"
	"os"
	"path/filepath"
	"strconv"
)

// keepSecret writes keys that were typed in to a file only its owner can read,
// and makes it the credentials of the new copies. forget removes it again, for
// a setup that came to nothing.
func (o *Options) keepSecret(path string) (forget func(), err error) {
	forget = func() {}
	if o.Access == "" && o.Secret == "" {
		return forget, nil
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return forget, fmt.Errorf("the folder for the bucket's keys cannot be made: %w", err)
	}
	text := fmt.Appendf(nil, "# The keys of the bucket. Only the owner of this file may read it.\naccess = %s\nsecret = %s\n", quoted(o.Access), quoted(o.Secret))
	err = wholefile.Create(path, 0o600, text)
	if errors.Is(err, fs.ErrExist) {
		return forget, fault.Say(ErrConfigExists, "%s is already there and is left as it is; give it with --credentials, or move it away", path)
	}
	if err != nil {
		return forget, fmt.Errorf("the bucket's keys cannot be kept: %w", err)
	}
	o.Credentials, o.Access, o.Secret = path, "", ""
	return func() { os.Remove(path) }, nil
}

// quoted writes a TOML basic string; keys are plain ASCII, and anything else
// is escaped the way both TOML and Go do.
func quoted(s string) string { return strconv.QuoteToASCII(s) }
