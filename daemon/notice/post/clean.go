package post

import (
	"net/url"
	"os"
	"regexp"
	"strings"

	"linecamp/daemon/config"
	"linecamp/manifest/store/s3"
)

// leastSecret is how long a text must be to be taken for a secret.
const leastSecret = 4

// Secrets are all that an archive's settings name and nobody is told: passwords, keys,
// and what stands in the addresses of notices.
func Secrets(a config.Archive) (all []string) {
	add := func(texts ...string) {
		for _, s := range texts {
			if len(s) >= leastSecret {
				all = append(all, s)
			}
		}
	}
	if p, err := password(a.Notice.PasswordFile); err == nil {
		add(p)
	}
	for _, c := range a.Copies {
		if c.URL != "" {
			access, secret, session, err := s3.Credentials(c.Credentials)
			if err == nil {
				add(secret, session, access)
			}
		}
	}
	add(os.Getenv("AWS_SECRET_ACCESS_KEY"), os.Getenv("AWS_SESSION_TOKEN"), os.Getenv("AWS_ACCESS_KEY_ID"))
	for _, address := range []string{a.Notice.Webhook, a.Notice.Alive} {
		if u, err := url.Parse(address); err == nil {
			add(u.RequestURI()) // with its parts: a token is mostly one of them
			for part := range strings.SplitSeq(u.Path, "/") {
				if len(part) >= 8 {
					add(part)
				}
			}
			for _, values := range u.Query() {
				add(values...)
			}
		}
	}
	return all
}

var address = regexp.MustCompile(`[A-Za-z][A-Za-z0-9+.-]*://[^\s"'<>` + "`" + `]+`)

// Clean takes secrets out of a text, and from each address in it the user before the @
// and all behind the ?.
func Clean(text string, secrets []string) string {
	for _, s := range secrets {
		text = strings.ReplaceAll(text, s, "…")
	}
	return address.ReplaceAllStringFunc(text, func(s string) string {
		scheme, rest, _ := strings.Cut(s, "://")
		if i := strings.IndexAny(rest, "?#"); i >= 0 {
			rest = rest[:i]
		}
		host, path, slash := strings.Cut(rest, "/")
		host = host[strings.LastIndexByte(host, '@')+1:]
		if slash {
			host += "/"
		}
		return scheme + "://" + host + path
	})
}
