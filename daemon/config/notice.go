package config

import (
	"net"
	"net/mail"
	"net/url"
	"strconv"
	"strings"
	"time"

	"linecamp/manifest/tomlline"
)

// Notice says who is told when something needs a person, and how. What is at fault
// in it is left out, and never keeps the archive from being kept.
type Notice struct {
	To           []string // addresses; none: nothing is sent by e-mail
	From         string
	SMTP         string // host:port
	TLS          string // TLSAtOnce, TLSStart or TLSNone
	User         string // "" for a server that asks for none
	PasswordFile string
	CAFile       string        // certificates to trust beside the system's; "" for none
	Webhook      string        // "" for none
	Alive        string        // called after each good round; "" for none
	Quiet        time.Duration // how long a client may write nothing, on a machine that only keeps; 0 for ever
	Fault        *Error        // every mistake in this part of the file; nil for none
}

// How the connection to a mail server is kept private.
const (
	TLSAtOnce = "tls"      // from its first byte
	TLSStart  = "starttls" // from the server's greeting on
	TLSNone   = "none"
)

// IsSet reports whether anybody is told anything.
func (n Notice) IsSet() bool { return len(n.To) > 0 || n.Webhook != "" || n.Alive != "" }

const (
	defaultQuiet = 30 * 24 * time.Hour
	mostTo       = 20
)

// notice takes the part [notice]. Its problems stay with it.
func (f *file) notice(top *table, archive string) (n Notice) {
	if _, ok := top.Left["notice"]; !ok {
		top.Known = append(top.Known, "notice")
		return n
	}
	had := len(f.Faults)
	t := top.Sub("notice")
	f.mail(t, &n)
	if len(f.Faults) > had {
		n.To = nil
	}
	n.CAFile = t.Folder("ca_file")
	n.Webhook, n.Alive = address(t, "webhook"), address(t, "alive")
	n.Quiet = defaultQuiet
	if s := t.Text("quiet"); s != "" {
		d, err := ParseAway(s)
		if err != nil {
			t.Fault("quiet", "%v; \"0\" is not at all", err)
		} else {
			n.Quiet = d
		}
	}
	t.Rest(nil)
	n.Fault = f.apart(had, archive)
	return n
}

// mail takes the settings of e-mail.
func (f *file) mail(t *table, n *Notice) {
	had := len(t.Faults)
	n.To = addressees(t)
	n.From, n.SMTP, n.TLS, n.User = t.Text("from"), t.Text("smtp"), t.Text("tls"), t.Text("user")
	n.PasswordFile = t.Folder("password_file")
	if len(t.Faults) > had || len(n.To) == 0 && n.From+n.SMTP+n.TLS+n.User+n.PasswordFile == "" {
		return
	}
	if len(n.To) == 0 {
		t.Fault("to", "this does not say to whom; add to = \"office@example.org\"")
	}
	if a, err := mail.ParseAddress(n.From); n.From == "" {
		t.Fault("from", "this does not say from which address; add from = \"linecamp@example.org\", one that the mail server sends for")
	} else if err != nil {
		t.Fault("from", "this is not an address; write one such as \"linecamp@example.org\"")
	} else {
		n.From = a.String()
	}
	host, port, err := net.SplitHostPort(n.SMTP)
	number, perr := strconv.Atoi(port)
	switch {
	case n.SMTP == "":
		t.Fault("smtp", "this does not say which server sends the mail; add smtp = \"mail.example.org:587\"")
	case err != nil || perr != nil || number < 1 || number > 65535 || host == "" || strings.ContainsAny(host, "/@ "):
		t.Fault("smtp", "write the mail server's name and port, as in \"mail.example.org:587\"")
	}
	switch n.TLS {
	case TLSAtOnce, TLSStart, TLSNone:
	case "":
		n.TLS = TLSStart
		if port == "465" { // RFC 8314, section 7.3
			n.TLS = TLSAtOnce
		}
	default:
		t.Fault("tls", "write \"tls\", \"starttls\" or \"none\": how the connection to the mail server is kept private")
	}
	switch ip := net.ParseIP(host); {
	case (n.User == "") != (n.PasswordFile == ""):
		t.Fault("user", "a user and a password_file go together; write both, or neither")
	case n.User != "" && n.TLS == TLSNone && host != "localhost" && (ip == nil || !ip.IsLoopback()):
		t.Fault("tls", "with \"none\", everybody on the way could read the password; write \"tls\" or \"starttls\"")
	}
}

// addressees takes the key to: one text, with commas between addresses, or a list.
func addressees(t *table) (to []string) {
	text := ""
	if _, isList := t.Left["to"].([]any); isList {
		text = strings.Join(t.Words("to"), ", ")
	} else {
		text = t.Text("to")
	}
	if text == "" {
		return nil
	}
	all, err := mail.ParseAddressList(text)
	switch {
	case err != nil:
		t.Fault("to", "one of these is not an address; write such as \"office@example.org\", with commas between several")
		return nil
	case len(all) > mostTo:
		t.Fault("to", "these are more than %d addresses; write the address of a list of people instead", mostTo)
		return nil
	}
	for _, a := range all {
		to = append(to, a.String())
	}
	return to
}

// address takes a key that is a web address. It may be a secret by itself, so no
// message repeats it.
func address(t *table, key string) string {
	s := t.Text(key)
	if s == "" {
		return ""
	}
	u, err := url.Parse(s)
	switch {
	case err != nil || u.Scheme != "https" && u.Scheme != "http" || u.Hostname() == "":
		t.Fault(key, "this is not a web address; write one that begins with https://")
	case u.User != nil:
		t.Fault(key, "this address holds a user or a password before the @; leave that out")
	case u.Fragment != "":
		t.Fault(key, "this address has a # in it, which no server is sent; leave it out")
	default:
		return s
	}
	return ""
}

// encode writes the part as notice reads it.
func (n Notice) encode(w *writer) {
	if !n.IsSet() && n.Quiet == 0 {
		return
	}
	w.line("")
	w.line("[notice]")
	for _, p := range [][2]string{
		{"to", strings.Join(n.To, ", ")}, {"from", n.From}, {"smtp", n.SMTP}, {"tls", n.TLS}, {"user", n.User},
		{"password_file", n.PasswordFile}, {"ca_file", n.CAFile}, {"webhook", n.Webhook}, {"alive", n.Alive},
	} {
		if p[1] != "" {
			w.pair(p[0], tomlline.Quote(p[1]), "")
		}
	}
	w.pair("quiet", tomlline.Quote(span(n.Quiet)), "how long a client may write nothing, where this computer only keeps its copy")
}
