package setup

import (
	"path/filepath"
	"slices"
	"strings"

	"linecamp/manifest/store/fault"
)

// Name reads the copies to be: drives as NAME=FOLDER, buckets as NAME=ADDRESS.
func (o *Options) Name(drives, s3s []string) error {
	for _, d := range drives {
		name, dir, _ := strings.Cut(d, "=")
		if name == "" || dir == "" {
			return fault.Say(ErrAnswers, "--drive takes NAME=FOLDER, for example shelf-drive=/media/office/line-camp, not %q", d)
		}
		if slices.ContainsFunc(o.Drives, func(n NamedDir) bool { return filepath.Clean(n.Dir) == filepath.Clean(dir) }) {
			return fault.Say(ErrAnswers, "%s is named as two copies; give each a folder of its own. Drives that trade places are added one after the other, with --add-copy", dir)
		}
		o.Drives = append(o.Drives, NamedDir{name, dir})
	}
	for _, s := range s3s {
		name, url, _ := strings.Cut(s, "=")
		if name == "" || url == "" {
			return fault.Say(ErrAnswers, "--s3 takes NAME=ADDRESS, for example bucket=https://s3.example.net/monitoring, not %q", s)
		}
		o.S3s = append(o.S3s, NamedURL{name, url})
	}
	return nil
}

// Answered says which answer is missing where nobody can be asked.
func (o Options) Answered() error {
	if o.Archive == "" && !o.Client {
		return fault.Say(ErrAnswers, "setup --yes needs --archive NAME: a short name for the archive")
	}
	if len(o.Drives)+len(o.S3s) == 0 {
		return fault.Say(ErrAnswers, "setup --yes needs at least one copy: --drive NAME=FOLDER or --s3 NAME=ADDRESS")
	}
	return nil
}
