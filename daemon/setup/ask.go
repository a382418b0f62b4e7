package setup

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"unicode"

	"linecamp/daemon/config"
	"linecamp/manifest"
)

// ErrNoAnswer: the answers ended before the questions did.
var ErrNoAnswer = errors.New("nothing was written; run the command again, or give the answers as options with --yes")

// tries is how often a question is put before setup gives up.
const tries = 3

// Ask puts at most six questions (name, folder, drive, bucket, and a bucket's
// two keys) and returns have with what was missing filled in. What is answered
// in have is not asked. secret reads a line without showing it; nil reads it
// from in.
func Ask(in io.Reader, out io.Writer, secret func() (string, error), have Options) (Options, error) {
	if have.Client {
		return AskClient(in, out, secret, have)
	}
	q := NewQuestions(in, out, secret)
	o := have
	fmt.Fprintln(out, "linecamp keeps copies of a folder of monitoring photos and notes. It only reads the folder.")
	fmt.Fprintf(out, "The settings will be written to %s; nothing is written before the last answer.\n", config.New(o.Config))
	if o.Archive == "" {
		o.Archive = q.Ask("What is the archive to be called, in one word?", "for example saltbush-draw", archiveName)
	}
	if o.Folder == "" {
		o.Folder = q.Ask("Which folder holds the photos and notes?", "leave empty if this computer only keeps copies", isFolder)
	}
	o = q.places(o, "Which folder on another drive is the second copy to go to?", "Which S3 bucket is the third copy to go to, as https://host/bucket/prefix?")
	if len(o.S3s) > 0 && o.Credentials == "" && o.Access == "" && os.Getenv("AWS_ACCESS_KEY_ID") == "" {
		o.Access = q.Ask("What is the bucket's access key id?", "it goes into a file only you can read", NotEmpty)
		o.Secret = q.AskSecret("And its secret key?", "not shown while you type")
	}
	return o, q.err
}

// places asks for a drive and a bucket, where none is named.
func (q *Questions) places(o Options, drive, bucket string) Options {
	if len(o.Drives)+len(o.S3s) == 0 {
		if dir := q.Ask(drive, "leave empty for none", nil); dir != "" {
			o.Drives = []NamedDir{{Name: "drive", Dir: dir}}
		}
		optional := "leave empty for none"
		if len(o.Drives) == 0 {
			optional = "one copy is needed"
		}
		isBucket := func(s string) error {
			switch {
			case s != "":
				_, err := config.BucketURL(s, "")
				return err
			}
			return nil
		}
		if url := q.Ask(bucket, optional, isBucket); url != "" {
			o.S3s = []NamedURL{{Name: "bucket", URL: url}}
		}
		if q.err == nil && len(o.Drives)+len(o.S3s) == 0 {
			q.err = fmt.Errorf("an archive needs one copy at least. Plug in a drive and name a folder on it, such as /media/office/line-camp, or have a bucket made by an S3 service and give its address; %w", ErrNoAnswer)
		}
	}
	return o
}

// better is a fault in an answer that comes with one that would do.
type better struct {
	error
	answer string
}

// archiveName checks a name, and offers one that is close to it.
func archiveName(s string) error {
	if manifest.ArchiveName(s) == nil {
		return nil
	}
	err := fmt.Errorf("%q cannot name an archive: up to 60 small letters and digits are used, with single hyphens between them", s)
	letters := strings.ContainsFunc(s, func(r rune) bool { return unicode.IsLetter(r) || unicode.IsDigit(r) })
	if near := manifest.Slug("", s, func(string) bool { return false }); letters && manifest.ArchiveName(near) == nil {
		return better{err, near}
	}
	return err
}

// NotEmpty refuses an empty answer.
func NotEmpty(s string) error {
	if s == "" {
		return errors.New("this cannot be left empty")
	}
	return nil
}

func isFolder(s string) error {
	if s == "" {
		return nil
	}
	abs, err := filepath.Abs(s)
	if err != nil {
		return err
	}
	info, err := os.Stat(abs)
	if err != nil || !info.IsDir() {
		return fmt.Errorf("there is no folder %s", abs)
	}
	return nil
}

// NewQuestions puts questions on out and reads the answers from in; secret reads a line
// without showing it, nil reads it from in.
func NewQuestions(in io.Reader, out io.Writer, secret func() (string, error)) *Questions {
	return &Questions{in: bufio.NewReader(in), out: out, secret: secret}
}

// Questions asks until something went wrong, and then no more.
type Questions struct {
	in     *bufio.Reader
	out    io.Writer
	secret func() (string, error)
	err    error
}

// Err is what went wrong, nil while all was answered.
func (q *Questions) Err() error { return q.err }

// Ask puts a question until check takes the answer; nil takes any.
func (q *Questions) Ask(question, hint string, check func(string) error) string {
	return q.put(question, hint, check, q.line)
}

// AskSecret is Ask without showing the answer.
func (q *Questions) AskSecret(question, hint string) string {
	read := q.line
	if q.secret != nil {
		read = q.secret
	}
	return q.put(question, hint, NotEmpty, read)
}

func (q *Questions) put(question, hint string, check func(string) error, read func() (string, error)) string {
	if q.err != nil {
		return ""
	}
	fmt.Fprintf(q.out, "\n%s\n(%s) ", question, hint)
	offered := ""
	for range tries {
		answer, err := read()
		if errors.Is(err, ErrNoAnswer) {
			err = fmt.Errorf("no answer came to %q; %w", question, err)
		}
		if err != nil {
			q.err = err
			return ""
		}
		answer = strings.TrimSpace(answer)
		if answer == "" && offered != "" {
			answer = offered
		}
		if check == nil {
			return answer
		}
		if q.err = check(answer); q.err == nil {
			return answer
		}
		var b better
		if errors.As(q.err, &b) {
			offered = b.answer
			fmt.Fprintf(q.out, "%v.\nFor %s press Enter, or give another name: ", q.err, offered)
			continue
		}
		fmt.Fprintf(q.out, "%v.\nOnce more: ", q.err)
	}
	q.err = fmt.Errorf("%w; %w", q.err, ErrNoAnswer)
	return ""
}

// line reads one line. A last one without its end counts; nothing at all does
// not.
func (q *Questions) line() (string, error) {
	s, err := q.in.ReadString('\n')
	if err == io.EOF && s != "" {
		return s, nil
	}
	if err == io.EOF {
		return "", ErrNoAnswer
	}
	return s, err
}
