package setup

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"linecamp/daemon/config"
	"linecamp/manifest"
	"linecamp/manifest/store/fault"
	"linecamp/manifest/store/s3"
	"linecamp/manifest/wholefile"
)

// A client is somebody whose archive this machine looks after, one of many. Its name is
// as people write it, its bucket has keys of its own, and it gets a text to take home.

// TakeHome is what that text tells.
type TakeHome struct {
	Archive string
	Name    string // as people write it
	Machine string
	Day     time.Time
	Folder  bool // the client's photos lie on this machine
	Copies  []CopyReport
	Keys    map[string]string // the id of each bucket's key, by copy
}

// ClientReport tells of a client that was added.
type ClientReport struct {
	Name     string `json:"name"`
	TakeHome string `json:"take_home"` // the file of the text for the client
}

// AskClient puts four questions: the client's name, the folder, a drive, a bucket with
// its keys. It returns have with what was missing.
func AskClient(in io.Reader, out io.Writer, secret func() (string, error), have Options) (Options, error) {
	q := NewQuestions(in, out, secret)
	o := have
	fmt.Fprintf(out, "The settings of the client will be written to %s; nothing is written before the last answer.\n", config.New(o.Config))
	if o.Title == "" {
		o.Title = q.Ask("What is the client called, as people write it?", "for example Hackberry Flat Ranch", func(s string) error {
			_, err := nameOfClient(s)
			return err
		})
	}
	if o.Folder == "" {
		o.Folder = q.Ask("Which folder holds the client's photos and notes?", "leave empty if this computer only keeps copies", isFolder)
	}
	o = q.places(o, "Which folder on a drive of the client's is a copy to go to?", "Which S3 bucket, with the client's own prefix, is a copy to go to, as https://host/bucket/prefix?")
	if len(o.S3s) > 0 && o.Credentials == "" && o.Access == "" {
		o.Access = q.Ask("What is the access key id of the client's bucket?", "it goes into a file of its own, which only you can read", NotEmpty)
		o.Secret = q.AskSecret("And its secret key?", "not shown while you type")
	}
	return o, q.err
}

// nameOfClient is the archive's name that a client's gives.
func nameOfClient(title string) (string, error) {
	name := manifest.Slug("", title, func(string) bool { return false })
	if strings.TrimSpace(title) == "" {
		return "", NotEmpty("")
	}
	if err := manifest.ArchiveName(name); err != nil {
		return "", fmt.Errorf("no short name can be made of %q (%w); name one with --archive", title, err)
	}
	return name, nil
}

// asClient completes the answers for a client. Keys that are in a file are taken over
// into one of the client's own.
func (o Options) asClient() (Options, error) {
	if o.Title == "" {
		return o, fault.Say(ErrAnswers, "the client has no name; give one with --name \"Hackberry Flat Ranch\"")
	}
	if o.Archive == "" {
		var err error
		if o.Archive, err = nameOfClient(o.Title); err != nil {
			return o, fault.Say(ErrAnswers, "%v", err)
		}
	}
	if len(o.S3s) == 0 || o.Access != "" {
		return o, nil
	}
	if o.Credentials == "" || o.Credentials == "env" {
		return o, fault.Say(ErrAnswers, "a client's bucket has keys of its own; give the file that holds them with --credentials FILE")
	}
	access, secret, session, err := s3.Credentials(o.Credentials)
	if err != nil {
		return o, err
	}
	if session != "" {
		return o, fault.Say(ErrAnswers, "the keys in %s are for a short time only; give the client keys that last", o.Credentials)
	}
	o.Access, o.Secret = access, secret
	return o, nil
}

// takeHome writes the text for the client beside the settings, and tells where.
func (o Options) takeHome(cfg config.Archive, r *Report) {
	h := TakeHome{Archive: cfg.Name, Name: o.Title, Day: o.Now(), Folder: cfg.Folder != "", Copies: r.Copies, Keys: map[string]string{}}
	h.Machine, _ = os.Hostname()
	for _, c := range cfg.Copies {
		if id, has := c.KeyID(); has && id != "" {
			h.Keys[c.Name] = id
		}
	}
	file := strings.TrimSuffix(r.Config, filepath.Ext(r.Config)) + "-take-home.txt"
	if err := wholefile.Create(file, 0o600, []byte(o.Words(h))); err != nil {
		r.Notes = append(r.Notes, fmt.Sprintf("the text for the client to take home could not be written: %v", err))
		file = ""
	}
	r.Client = &ClientReport{Name: o.Title, TakeHome: file}
}
