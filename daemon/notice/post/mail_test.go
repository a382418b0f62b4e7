package post

import (
	"bytes"
	"context"
	"errors"
	"io"
	"mime"
	"mime/quotedprintable"
	"net"
	"net/mail"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"linecamp/daemon/config"
	"linecamp/daemon/notice/mailtest"
)

// serve runs a mail server and returns the settings that reach it.
func serve(t *testing.T, s *mailtest.Server, how string, names ...string) config.Notice {
	t.Helper()
	address, ca, stop, err := s.Start(t.TempDir(), how, names...)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(stop)
	return config.Notice{To: []string{"<office@ranch.example>"}, From: `"The camp" <linecamp@ranch.example>`, SMTP: address, TLS: how, CAFile: ca}
}

// with names a user, and a file with the password.
func with(t *testing.T, n config.Notice, user, secret string) config.Notice {
	t.Helper()
	n.User, n.PasswordFile = user, filepath.Join(t.TempDir(), "mail.key")
	if err := os.WriteFile(n.PasswordFile, []byte(secret+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	return n
}

var at = time.Date(2026, 11, 2, 12, 0, 0, 0, time.UTC)

func send(ctx context.Context, n config.Notice, m Message) error { return Ways(n)[0].Send(ctx, m) }

// The header fields are read back by net/mail, as RFC 5322 has them.
func TestLetterArrives(t *testing.T) {
	for _, how := range []string{config.TLSAtOnce, config.TLSStart, config.TLSNone} {
		t.Run(how, func(t *testing.T) {
			s := &mailtest.Server{}
			if how != config.TLSNone {
				s.User, s.Secret = "linecamp", "d3ep water"
			}
			n := serve(t, s, how, "127.0.0.1")
			if s.User != "" {
				n = with(t, n, s.User, s.Secret)
			}
			text := "A line.\n.\nÄ stake — “Windmill” " + strings.Repeat("long ", 300) + "\nThe end.\n"
			if err := send(t.Context(), n, Message{ID: "abc", Subject: "Saltbush Draw: ø stake", Text: text, At: at}); err != nil {
				t.Fatal(err)
			}
			if len(s.Letters()) != 1 || s.To()[0] != "office@ranch.example" {
				t.Fatalf("%d letters to %v", len(s.Letters()), s.To())
			}
			m, err := mail.ReadMessage(bytes.NewReader(s.Letters()[0]))
			if err != nil {
				t.Fatal(err)
			}
			subject, err := new(mime.WordDecoder).DecodeHeader(m.Header.Get("Subject"))
			if err != nil || subject != "Saltbush Draw: ø stake" {
				t.Errorf("the subject is %q, %v", subject, err)
			}
			if when, err := m.Header.Date(); err != nil || !when.Equal(at) {
				t.Errorf("the date is %v, %v", when, err)
			}
			if from, err := m.Header.AddressList("From"); err != nil || from[0].Address != "linecamp@ranch.example" {
				t.Errorf("it is from %v, %v", from, err)
			}
			if m.Header.Get("Message-ID") != "<abc@ranch.example>" || m.Header.Get("Auto-Submitted") != "auto-generated" {
				t.Errorf("the header is %v", m.Header)
			}
			body, err := io.ReadAll(quotedprintable.NewReader(m.Body))
			if err != nil || strings.TrimSpace(strings.ReplaceAll(string(body), "\r\n", "\n")) != strings.TrimSpace(text) {
				t.Errorf("the text is %q, %v", body, err)
			}
			for line := range strings.SplitSeq(string(s.Letters()[0]), "\r\n") { // RFC 5322, section 2.1.1
				if len(line) > 998 {
					t.Errorf("a line of %d characters", len(line))
				}
			}
		})
	}
}

func TestHeadersCannotBeInjected(t *testing.T) {
	s := &mailtest.Server{}
	n := serve(t, s, config.TLSNone, "127.0.0.1")
	for _, evil := range []string{"a\r\nBcc: thief@evil.example\r\n\r\nhello", "a\nBcc: x@evil.example", "a\rBcc: x@evil.example", "=?utf-8?q?a=0D=0ABcc:_x@evil.example?=", "a\u2028Bcc: x@evil.example", "a\x00b"} {
		if err := send(t.Context(), n, Message{ID: "abc", Subject: evil, Text: evil, At: at}); err != nil {
			t.Fatal(err)
		}
		m, err := mail.ReadMessage(bytes.NewReader(s.Letters()[len(s.Letters())-1]))
		if err != nil {
			t.Fatal(err)
		}
		for name := range m.Header {
			switch name {
			case "Auto-Submitted", "Content-Transfer-Encoding", "Content-Type", "Date", "From", "Message-Id", "Mime-Version", "Subject", "To", "Received":
			default:
				t.Errorf("%q brought in a header %s", evil, name)
			}
		}
		if len(s.To()) != len(s.Letters()) {
			t.Errorf("%q brought in a recipient: %v", evil, s.To())
		}
	}
}

func TestServersThatFailAreTold(t *testing.T) {
	for name, tt := range map[string]struct {
		how     string
		names   []string
		change  func(*mailtest.Server, *config.Notice)
		says    string
		nothing bool // not even a password came near it
	}{
		"a certificate for another name": {how: config.TLSAtOnce, names: []string{"other.example"}, says: "a certificate that this computer does not trust", nothing: true},
		"the same, after STARTTLS":       {how: config.TLSStart, names: []string{"other.example"}, says: "a certificate that this computer does not trust", nothing: true},
		"an unknown authority":           {how: config.TLSAtOnce, change: func(_ *mailtest.Server, n *config.Notice) { n.CAFile = "" }, says: "a certificate that this computer does not trust", nothing: true},
		"no STARTTLS":                    {how: config.TLSNone, change: func(_ *mailtest.Server, n *config.Notice) { n.TLS = config.TLSStart }, says: "STARTTLS"},
		"no TLS at that port":            {how: config.TLSNone, change: func(_ *mailtest.Server, n *config.Notice) { n.TLS = config.TLSAtOnce }, says: "does not speak TLS there"},
		"the wrong password":             {how: config.TLSStart, change: func(s *mailtest.Server, n *config.Notice) { s.Secret = "another" }, says: "535 5.7.8 Who are you?"},
		"a refused recipient": {how: config.TLSStart, change: func(s *mailtest.Server, _ *config.Notice) {
			s.Refuses = mailtest.Refusal(550, "No such user\x1b[2J here")
		}, says: `550 5.1.1 No such user`},
		"nobody there":               {how: config.TLSStart, change: func(_ *mailtest.Server, n *config.Notice) { n.SMTP = "127.0.0.1:1" }, says: "nothing answers at 127.0.0.1:1"},
		"a password others may read": {how: config.TLSStart, change: func(_ *mailtest.Server, n *config.Notice) { os.Chmod(n.PasswordFile, 0o644) }, says: "can be read by others"},
	} {
		t.Run(name, func(t *testing.T) {
			names := tt.names
			if names == nil {
				names = []string{"127.0.0.1"}
			}
			s := &mailtest.Server{User: "linecamp", Secret: "d3ep water"}
			n := with(t, serve(t, s, tt.how, names...), "linecamp", "d3ep water")
			if tt.change != nil {
				tt.change(s, &n)
			}
			err := send(t.Context(), n, Message{ID: "abc", Subject: "s", Text: "t", At: at})
			if err == nil || !strings.Contains(err.Error(), tt.says) {
				t.Errorf("it says %v", err)
			}
			if err != nil && (strings.Contains(err.Error(), "d3ep water") || strings.Contains(err.Error(), "\x1b")) {
				t.Errorf("it says what it must not: %q", err)
			}
			if len(s.Letters()) > 0 {
				t.Error("the letter was taken")
			}
		})
	}
}

// One that takes the letter and never says so is left within a second.
func TestSlowServerIsLeftWithTheContext(t *testing.T) {
	s := &mailtest.Server{Hangs: make(chan struct{})}
	defer close(s.Hangs)
	for _, how := range []string{config.TLSAtOnce, config.TLSStart} {
		n := serve(t, s, how, "127.0.0.1")
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error, 1)
		go func() { done <- send(ctx, n, Message{ID: "abc", Subject: "s", Text: "t", At: at}) }()
		cancel()
		if err := <-done; !errors.Is(err, context.Canceled) {
			t.Errorf("%s: it ended with %v", how, err)
		}
	}
	// One that does not even greet.
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	greeted := make(chan net.Conn, 1)
	go func() {
		if c, err := l.Accept(); err == nil {
			greeted <- c
		}
	}()
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() {
		done <- send(ctx, config.Notice{To: []string{"<a@b.example>"}, From: "<c@d.example>", SMTP: l.Addr().String(), TLS: config.TLSStart}, Message{ID: "abc", At: at})
	}()
	defer (<-greeted).Close()
	cancel()
	if err := <-done; !errors.Is(err, context.Canceled) {
		t.Errorf("it ended with %v", err)
	}
}
