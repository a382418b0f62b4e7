package setup_test

import (
	"errors"
	"io"
	"strings"
	"testing"

	"linecamp/daemon/setup"
)

func TestAsk(t *testing.T) {
	t.Setenv("AWS_ACCESS_KEY_ID", "")
	dir := t.TempDir()
	hidden := func() (string, error) { return "hush", nil }
	for _, c := range []struct {
		name    string
		answers string
		have    setup.Options
		want    setup.Options
		asks    int
		err     error
	}{
		{"all six", "saltbush-draw\n" + dir + "\n/media/shelf\nhttps://s3.example.net/m/saltbush\nKEY\n", setup.Options{},
			setup.Options{Archive: "saltbush-draw", Folder: dir, Access: "KEY", Secret: "hush",
				Drives: []setup.NamedDir{{Name: "drive", Dir: "/media/shelf"}}, S3s: []setup.NamedURL{{Name: "bucket", URL: "https://s3.example.net/m/saltbush"}}}, 6, nil},
		{"a drive only", "saltbush-draw\n" + dir + "\n/media/shelf\n\n", setup.Options{},
			setup.Options{Archive: "saltbush-draw", Folder: dir, Drives: []setup.NamedDir{{Name: "drive", Dir: "/media/shelf"}}}, 4, nil},
		{"what is known is not asked", "", setup.Options{Archive: "a", Folder: dir, Drives: []setup.NamedDir{{Name: "x", Dir: "/y"}}},
			setup.Options{Archive: "a", Folder: dir, Drives: []setup.NamedDir{{Name: "x", Dir: "/y"}}}, 0, nil},
		{"a wrong name, then a right one", "salt/bush\nsaltbush\n\n/media/shelf\n\n", setup.Options{},
			setup.Options{Archive: "saltbush", Drives: []setup.NamedDir{{Name: "drive", Dir: "/media/shelf"}}}, 4, nil},
		{"an address that is none, then a right one", "a\n\n\nthe bucket\nhttps://s3.example.net/m\nKEY\n", setup.Options{},
			setup.Options{Archive: "a", Access: "KEY", Secret: "hush", S3s: []setup.NamedURL{{Name: "bucket", URL: "https://s3.example.net/m"}}}, 6, nil},
		{"no copy at all", "saltbush\n\n\n\n\n\n", setup.Options{}, setup.Options{}, 4, io.EOF},
		{"the answers end", "saltbush\n", setup.Options{}, setup.Options{}, 2, setup.ErrNoAnswer},
	} {
		t.Run(c.name, func(t *testing.T) {
			var out strings.Builder
			got, err := setup.Ask(strings.NewReader(c.answers), &out, hidden, c.have)
			if n := strings.Count(out.String(), "?"); n != c.asks {
				t.Errorf("%d questions were put, want %d:\n%s", n, c.asks, out.String())
			}
			if c.err != nil {
				if err == nil || c.err != io.EOF && !errors.Is(err, c.err) {
					t.Errorf("it ended with %v", err)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			if got.Archive != c.want.Archive || got.Folder != c.want.Folder || got.Access != c.want.Access || got.Secret != c.want.Secret ||
				len(got.Drives) != len(c.want.Drives) || len(got.S3s) != len(c.want.S3s) {
				t.Errorf("the answers are %+v, want %+v", got, c.want)
			}
			for i := range got.Drives {
				if got.Drives[i] != c.want.Drives[i] {
					t.Errorf("the drive is %+v", got.Drives[i])
				}
			}
			if strings.Contains(out.String(), "hush") {
				t.Error("the secret key was shown")
			}
		})
	}
}
