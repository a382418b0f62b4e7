package s3

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"

	"github.com/BurntSushi/toml"

	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
)

// Credentials reads the keys of a bucket. spec is "env", for the environment
// variables AWS_ACCESS_KEY_ID, AWS_SECRET_ACCESS_KEY and AWS_SESSION_TOKEN, or
// the path of a TOML file that only its owner can read:
//
//	access  = "…"
//	secret  = "…"
//	session = "…"   # only for temporary keys
//
// No error repeats anything from the file, or a key in the place of its name.
func Credentials(spec string) (access, secret, session string, err error) {
	if spec == "env" {
		access, secret, session = os.Getenv("AWS_ACCESS_KEY_ID"), os.Getenv("AWS_SECRET_ACCESS_KEY"), os.Getenv("AWS_SESSION_TOKEN")
		if access == "" || secret == "" {
			return "", "", "", fault.Say(store.ErrCredentials, "AWS_ACCESS_KEY_ID and AWS_SECRET_ACCESS_KEY are not both set in the environment; set both, or name a file that holds the keys")
		}
		return access, secret, session, nil
	}
	if spec == "" {
		return "", "", "", fault.Say(store.ErrCredentials, "the copy names no credentials; write \"env\" or the path of a file")
	}
	f, err := os.Open(spec)
	if err != nil {
		return "", "", "", fault.Say(fault.Because(store.ErrCredentials, err), "the credentials file %s cannot be read; give the name of a file with the keys, or \"env\" (%v)", called(spec), unnamed(err))
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return "", "", "", fault.Say(fault.Because(store.ErrCredentials, err), "the credentials file cannot be read (%v)", unnamed(err))
	}
	switch {
	case !info.Mode().IsRegular() || info.Size() > store.MaxSmall:
		return "", "", "", fault.Say(store.ErrCredentials, "%s is not a credentials file", spec)
	case runtime.GOOS != "windows" && info.Mode().Perm()&0o077 != 0:
		return "", "", "", fault.Say(store.ErrCredentials, "%s can be read by others than its owner. Run: chmod 600 %s", spec, spec)
	}
	b, err := io.ReadAll(io.LimitReader(f, store.MaxSmall))
	if err != nil {
		return "", "", "", fault.Say(fault.Because(store.ErrCredentials, err), "the credentials file cannot be read (%v)", unnamed(err))
	}
	access, secret, session, err = parseCredentials(string(b))
	if err != nil {
		return "", "", "", fault.Say(store.ErrCredentials, "%s: %v", spec, err)
	}
	return access, secret, session, nil
}

// called names a file that is not there. Somebody may have given a key in its place,
// which is not repeated: only what ends as such files do is surely a name.
func called(spec string) string {
	if name := filepath.Base(spec); ending.MatchString(name) {
		return name
	}
	return "that was named"
}

var ending = regexp.MustCompile(`^[A-Za-z0-9_-]{1,40}\.(toml|txt|keys?|ini|conf|cfg|json)$`)

// unnamed is an error of the system without the name of the file: somebody may
// have given a key in its place.
func unnamed(err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	return err
}

// parseCredentials reads the text of a credentials file. The errors of the TOML
// reader quote the text, so only their line is passed on.
func parseCredentials(text string) (access, secret, session string, err error) {
	var keys struct {
		Access  string `toml:"access"`
		Secret  string `toml:"secret"`
		Session string `toml:"session"`
	}
	meta, err := toml.Decode(strings.TrimPrefix(text, "\ufeff"), &keys)
	if err != nil {
		var pe toml.ParseError
		if errors.As(err, &pe) {
			return "", "", "", fmt.Errorf("line %d cannot be read; a line looks like access = \"…\"", pe.Position.Line)
		}
		return "", "", "", errors.New("access, secret and session must each be text in quotes")
	}
	if len(meta.Undecoded()) > 0 {
		return "", "", "", errors.New("it may hold access, secret and session, and nothing else")
	}
	if keys.Access == "" || keys.Secret == "" {
		return "", "", "", errors.New("it lacks access or secret; write two lines: access = \"…\" and secret = \"…\"")
	}
	for _, v := range []string{keys.Access, keys.Secret, keys.Session} {
		if strings.ContainsFunc(v, func(r rune) bool { return r <= ' ' || r == 0x7f }) {
			return "", "", "", errors.New("a key holds a space or a line break")
		}
	}
	return keys.Access, keys.Secret, keys.Session, nil
}
