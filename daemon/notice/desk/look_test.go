package desk_test

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"linecamp/daemon/attention"
	"linecamp/daemon/config"
	"linecamp/daemon/notice"
	"linecamp/daemon/notice/desk"
	"linecamp/daemon/notice/post"
	"linecamp/daemon/show/text/letter"
)

// Whatever an error or a name held, no password, no key and no address's secret part
// is in a notice, in its words or in its JSON.
func TestNoNoticeHoldsASecret(t *testing.T) {
	t.Setenv("AWS_ACCESS_KEY_ID", "AKIAENVIRONMENT")
	t.Setenv("AWS_SECRET_ACCESS_KEY", "env-secret-key")
	dir := t.TempDir()
	file := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	cfg := config.Archive{Name: "saltbush-draw",
		Copies: []config.Copy{{Name: "bucket", Kind: config.KindS3, URL: "https://s3.example/b", Credentials: file("keys.toml", "access = \"FILEACCESSKEY\"\nsecret = \"file-secret-key\"\n")}},
		Notice: config.Notice{PasswordFile: file("mail.key", "d3ep water\n"), Webhook: "https://hook.example/T0/hook-token", Alive: "https://alive.example/p?id=alive-token"}}
	secrets := []string{"AKIAENVIRONMENT", "env-secret-key", "FILEACCESSKEY", "file-secret-key", "d3ep water", "hook-token", "alive-token", "user:pw", "X-Amz-Signature"}
	evil := "it said " + strings.Join(secrets[:7], ", ") + " at https://user:pw@s3.example/b/k?X-Amz-Signature=abc"
	i := attention.Item{Kind: attention.CopyFailed, What: evil, Next: evil, Path: evil, Copy: evil}
	at := time.Date(2026, 11, 2, 12, 0, 0, 0, time.UTC)
	m := write(t, notice.Notice{Kind: notice.Wants, At: at, New: []attention.Item{i}, Standing: []attention.Item{i}, Ended: []notice.Ended{{Item: i}},
		Damage: []notice.Damage{{Copy: evil, Files: 1, Paths: []string{evil}}}, State: &notice.State{Copies: []notice.Copy{{Copy: evil, State: evil}}}}, cfg)
	for _, s := range secrets {
		for what, text := range map[string]string{"subject": m.Subject, "text": m.Text, "JSON": string(m.JSON)} {
			if strings.Contains(text, s) {
				t.Errorf("%q is in the %s", s, what)
			}
		}
	}
	if !strings.Contains(m.Text, "https://s3.example/b/k") {
		t.Errorf("nothing is left of the address:\n%s", m.Text)
	}
	again := write(t, notice.Notice{Kind: notice.Wants, At: at.Add(time.Hour), New: []attention.Item{i}}, cfg)
	third := write(t, notice.Notice{Kind: notice.Wants, At: at.Add(2 * time.Hour), New: []attention.Item{i}}, cfg)
	if again.ID != third.ID || again.ID == m.ID {
		t.Errorf("ids %s, %s, %s: the same notice has one id, and another another", m.ID, again.ID, third.ID)
	}
}

// A secret that is like a part of a time, a kind or a count breaks no notice.
func TestAShortSecretBreaksNoNotice(t *testing.T) {
	at := time.Date(2026, 11, 2, 12, 0, 0, 0, time.UTC)
	for _, secret := range []string{"2026", "want", "-11-", "12:0", "file-waits", "true"} {
		file := filepath.Join(t.TempDir(), "mail.key")
		if err := os.WriteFile(file, []byte(secret+"\n"), 0o600); err != nil {
			t.Fatal(err)
		}
		n := notice.Notice{Kind: notice.Wants, At: at, New: []attention.Item{{Kind: attention.FileWaits, What: "it is " + secret, Since: at}}, Unsent: &at,
			Ended: []notice.Ended{{Item: attention.Item{Kind: attention.FileWaits, What: "was"}, Until: at, Told: true}}, State: &notice.State{Years: map[string]int{"whole": 2026}}}
		m := write(t, n, config.Archive{Name: "saltbush-draw", Notice: config.Notice{PasswordFile: file}})
		var back notice.Notice
		if err := json.Unmarshal(m.JSON, &back); err != nil {
			t.Fatalf("%q: %v", secret, err)
		}
		if back.Kind != n.Kind || !back.At.Equal(at) || !back.Unsent.Equal(at) || !back.Ended[0].Until.Equal(at) || back.New[0].Kind != attention.FileWaits || back.State.Years["whole"] != 2026 {
			t.Errorf("%q made it %+v", secret, back)
		}
		if strings.Contains(back.New[0].What, secret) || strings.Contains(n.New[0].What, "…") {
			t.Errorf("%q: %q, and the one kept says %q", secret, back.New[0].What, n.New[0].What)
		}
	}
}

func write(t *testing.T, n notice.Notice, cfg config.Archive) post.Message {
	t.Helper()
	m, err := desk.Message(n, cfg, desk.Options{Words: letter.Write}, 1, "webhook", 3)
	if err != nil {
		t.Fatal(err)
	}
	return m
}
