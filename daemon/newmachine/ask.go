package newmachine

import (
	"errors"
	"fmt"
	"os"
	"strings"

	"linecamp/daemon/config"
	"linecamp/daemon/setup"
)

// ErrNo: a person did not say yes.
var ErrNo = errors.New("nothing was changed, since the answer was not yes")

// Ask asks for what the options leave open: which copy, its keys, and where to. What is
// typed in as keys stays in this process until the settings are written.
func Ask(q *setup.Questions, o Options) (Options, error) {
	if o.From.Root == "" {
		o.From.Root = q.Ask("Which copy is there? Give the folder of a drive, or the https address of a bucket.", "for example /media/office/line-camp; the recovery sheet says where each copy is", setup.NotEmpty)
	}
	if strings.Contains(o.From.Root, "://") && o.From.Credentials == "" && o.Keys == (Keys{}) && os.Getenv("AWS_ACCESS_KEY_ID") == "" {
		o.Keys = typed(q, "the bucket")
		if q.Err() == nil {
			if err := errors.Join(os.Setenv("AWS_ACCESS_KEY_ID", o.Keys.Access), os.Setenv("AWS_SECRET_ACCESS_KEY", o.Keys.Secret)); err != nil {
				return o, err
			}
		}
	}
	if o.Into == "" {
		o.Into = q.Ask("Which folder are the photos and notes to go to?", "an empty folder, or one that is not there yet", setup.NotEmpty)
	}
	return o, q.Err()
}

// GoOn asks whether what Look found is to be brought back.
func GoOn(q *setup.Questions) error {
	switch answer := q.Ask("Is this the archive, and is it to be brought back?", "yes or no", isYesOrNo); {
	case q.Err() != nil:
		return q.Err()
	case !yes(answer):
		return ErrNo
	}
	return nil
}

// ConfirmBy asks a person for each bucket that only the copy's settings name.
func ConfirmBy(q *setup.Questions) Confirm {
	return func(c config.Copy) (Keys, error) {
		answer := q.Ask(fmt.Sprintf("The settings on this copy name another bucket, %s, at %s. Is that address yours, as on the recovery sheet, so that its key may be sent there?", c.Name, c.URL), "yes or no", isYesOrNo)
		if q.Err() != nil || !yes(answer) {
			return Keys{}, q.Err()
		}
		k := typed(q, c.Name)
		return k, q.Err()
	}
}

// ConfirmNamed says yes to the addresses that a person named, with the keys he named.
func ConfirmNamed(addresses []string, credentials string) Confirm {
	return func(c config.Copy) (Keys, error) {
		for _, a := range addresses {
			if strings.TrimRight(a, "/") == strings.TrimRight(c.URL, "/") {
				if credentials == "" {
					credentials = "env"
				}
				return Keys{Credentials: credentials}, nil
			}
		}
		return Keys{}, nil
	}
}

func typed(q *setup.Questions, of string) Keys {
	access := q.Ask(fmt.Sprintf("What is the access key id of %s?", of), "it goes into a file only you can read", setup.NotEmpty)
	return Keys{Access: access, Secret: q.AskSecret("And its secret key?", "not shown while you type")}
}

func isYesOrNo(s string) error {
	if !yes(s) && !strings.EqualFold(s, "no") && !strings.EqualFold(s, "n") {
		return errors.New("please write yes or no")
	}
	return nil
}

func yes(s string) bool { return strings.EqualFold(s, "yes") || strings.EqualFold(s, "y") }
