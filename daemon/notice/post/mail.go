package post

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"net/textproto"
	"os"
	"runtime"
	"strconv"
	"strings"

	gomail "github.com/wneessen/go-mail"

	"linecamp/daemon/config"
	"linecamp/manifest"
)

// letter is a message to one address.
type letter struct {
	config.Notice
	to string
	Message
}

func (l letter) send(ctx context.Context) error {
	msg, err := l.write()
	if err != nil {
		return err
	}
	client, err := l.client(ctx)
	if err != nil {
		return err
	}
	server, err := client.DialToSMTPClientWithContext(ctx)
	if answer, ok := errors.AsType[*textproto.Error](err); ok {
		if answer.Code/10 == 53 { // RFC 4954, section 6
			return fmt.Errorf("the server does not take this user and password: %d %s", answer.Code, answer.Msg)
		}
		return fmt.Errorf("the server would not go on: %d %s", answer.Code, answer.Msg)
	}
	if err != nil {
		return err
	}
	// Once the server has taken the letter, how it says goodbye is no matter.
	defer client.CloseWithSMTPClient(server)
	if err := client.SendWithSMTPClient(server, msg); err != nil && !msg.IsDelivered() {
		return refusal(err)
	}
	return nil
}

// write makes the letter of RFC 5322. Whatever stands in it, a header stays one line:
// text from outside is made printable first, and the library encodes it.
func (l letter) write() (*gomail.Msg, error) {
	m := gomail.NewMsg(gomail.WithNoDefaultUserAgent(), gomail.WithEncoding(gomail.EncodingQP))
	if err := errors.Join(m.From(l.From), m.To(l.to)); err != nil {
		return nil, fmt.Errorf("an address in the settings cannot be used: %w", err)
	}
	m.Subject(manifest.Printable(l.Subject))
	m.SetDateWithValue(l.At)
	m.SetMessageIDWithValue(l.ID + "@" + domain(l.From))
	m.SetGenHeader("Auto-Submitted", "auto-generated") // RFC 3834, section 5: nobody's vacation answers it
	m.SetBodyString(gomail.TypeTextPlain, l.Text)
	return m, nil
}

// domain is what stands behind the @ of an address.
func domain(address string) string {
	return strings.Trim(address[strings.LastIndexByte(address, '@')+1:], "> ")
}

// client knows how to reach the server. The library sets a connection's deadlines
// itself, so what ends one with the context closes it.
func (l letter) client(ctx context.Context) (*gomail.Client, error) {
	host, port, err := net.SplitHostPort(l.SMTP)
	if err != nil {
		return nil, err
	}
	number, err := strconv.Atoi(port)
	if err != nil {
		return nil, err
	}
	tlsConfig, err := private(l.Notice, host)
	if err != nil {
		return nil, err
	}
	options := []gomail.Option{
		gomail.WithPort(number), gomail.WithTLSConfig(tlsConfig), gomail.WithTimeout(patience), gomail.WithoutNoop(),
		gomail.WithDialContextFunc(func(_ context.Context, network, address string) (net.Conn, error) {
			conn, err := new(net.Dialer).DialContext(ctx, network, address)
			if err != nil {
				return nil, err
			}
			context.AfterFunc(ctx, func() { conn.Close() })
			if l.TLS != config.TLSAtOnce {
				return conn, nil
			}
			secure := tls.Client(conn, tlsConfig)
			if err := secure.HandshakeContext(ctx); err != nil {
				conn.Close()
				return nil, err
			}
			return secure, nil
		}),
	}
	policy := gomail.NoTLS
	if l.TLS == config.TLSStart {
		policy = gomail.TLSMandatory
	}
	options = append(options, gomail.WithTLSPolicy(policy))
	if l.User != "" {
		password, err := password(l.PasswordFile)
		if err != nil {
			return nil, err
		}
		options = append(options, gomail.WithUsername(l.User), gomail.WithPassword(password), gomail.WithOpportunisticSMTPAuth(
			gomail.SMTPAuthSCRAMSHA256, gomail.SMTPAuthSCRAMSHA1, gomail.SMTPAuthPlain, gomail.SMTPAuthLogin, gomail.SMTPAuthCramMD5))
	}
	return gomail.NewClient(host, options...)
}

// refusal is what a server answered, without the library's own words around it.
func refusal(err error) error {
	var s *gomail.SendError
	if !errors.As(err, &s) || s.ErrorCode() == 0 {
		return err
	}
	_, said, _ := strings.Cut(s.Error(), ": ")
	said, _, _ = strings.Cut(said, ", affected ")
	// The standard library quotes what a server says.
	if before, quoted, ok := strings.Cut(said, `"`); ok {
		if q, err := strconv.QuotedPrefix(`"` + quoted); err == nil {
			plain, _ := strconv.Unquote(q)
			said = before + plain
		}
	}
	return fmt.Errorf("the server refused the letter: %s", said)
}

// mostPassword is more than any password.
const mostPassword = 4096

// password reads the one line of a file that only its owner can read.
func password(file string) (string, error) {
	info, err := os.Stat(file)
	if err != nil {
		return "", fmt.Errorf("the password_file cannot be read: %w", err)
	}
	switch {
	case !info.Mode().IsRegular() || info.Size() > mostPassword:
		return "", fmt.Errorf("%s is no password_file: it holds the password, and nothing else", file)
	case runtime.GOOS != "windows" && info.Mode().Perm()&0o077 != 0:
		return "", fmt.Errorf("%s can be read by others than its owner. Run: chmod 600 %s", file, file)
	}
	b, err := os.ReadFile(file)
	if err != nil {
		return "", fmt.Errorf("the password_file cannot be read: %w", err)
	}
	line := strings.TrimRight(strings.TrimPrefix(string(b), "\ufeff"), "\r\n")
	if line == "" || strings.ContainsAny(line, "\r\n") {
		return "", fmt.Errorf("%s is no password_file: it holds the password on one line, and nothing else", file)
	}
	return line, nil
}
