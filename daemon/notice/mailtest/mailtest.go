// Package mailtest is a real SMTP server in the process of a test. Begin with
// [Server.Start].
package mailtest

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"io"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"

	"linecamp/daemon/config"
)

// Server is one. Its fields are set before it starts.
type Server struct {
	User, Secret string        // "" for one that asks for none
	Refuses      error         // what it answers to a recipient; nil takes all
	Hangs        chan struct{} // a letter is taken once this is closed; nil for at once

	mu      sync.Mutex
	letters [][]byte
	to      []string
}

// Refusal is an answer of the server.
func Refusal(code int, said string) error {
	return &smtp.SMTPError{Code: code, EnhancedCode: smtp.EnhancedCode{code / 100, 1, 1}, Message: said}
}

// Start runs the server, with a certificate for names. How is as in the settings of
// notices. ca is a file in dir with what to trust.
func (s *Server) Start(dir, how string, names ...string) (address, ca string, stop func(), err error) {
	cert, ca, err := certificate(dir, names...)
	if err != nil {
		return "", "", nil, err
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return "", "", nil, err
	}
	server := smtp.NewServer(s)
	server.Domain, server.ErrorLog = "mail.calico.example", quiet{}
	address = l.Addr().String()
	switch how {
	case config.TLSAtOnce:
		l = tls.NewListener(l, &tls.Config{Certificates: []tls.Certificate{cert}})
	case config.TLSStart:
		server.TLSConfig = &tls.Config{Certificates: []tls.Certificate{cert}}
	}
	go server.Serve(l)
	return address, ca, func() { server.Close() }, nil
}

// Letters are those that were taken.
func (s *Server) Letters() [][]byte {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.letters)
}

// To are the recipients that were taken.
func (s *Server) To() []string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.to)
}

// Refuse makes the server answer every recipient so from now on; nil takes all.
func (s *Server) Refuse(err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.Refuses = err
}

type quiet struct{}

func (quiet) Printf(string, ...any) {}
func (quiet) Println(...any)        {}

// NewSession is for the library.
func (s *Server) NewSession(*smtp.Conn) (smtp.Session, error) { return &session{s: s}, nil }

type session struct {
	s  *Server
	in bool
}

func (x *session) AuthMechanisms() []string {
	if x.s.User == "" {
		return nil
	}
	return []string{sasl.Plain}
}

func (x *session) Auth(string) (sasl.Server, error) {
	return sasl.NewPlainServer(func(_, user, secret string) error {
		if user != x.s.User || secret != x.s.Secret {
			return &smtp.SMTPError{Code: 535, EnhancedCode: smtp.EnhancedCode{5, 7, 8}, Message: "Who are you?"}
		}
		x.in = true
		return nil
	}), nil
}

func (x *session) Mail(string, *smtp.MailOptions) error {
	if x.s.User != "" && !x.in {
		return smtp.ErrAuthRequired
	}
	return nil
}

func (x *session) Rcpt(to string, _ *smtp.RcptOptions) error {
	x.s.mu.Lock()
	defer x.s.mu.Unlock()
	if x.s.Refuses != nil {
		return x.s.Refuses
	}
	x.s.to = append(x.s.to, to)
	return nil
}

func (x *session) Data(r io.Reader) error {
	b, err := io.ReadAll(r)
	if x.s.Hangs != nil {
		<-x.s.Hangs
	}
	x.s.mu.Lock()
	defer x.s.mu.Unlock()
	x.s.letters = append(x.s.letters, b)
	return err
}

func (x *session) Reset()        {}
func (x *session) Logout() error { return nil }

// certificate makes one for names, that is its own authority, and its PEM file.
func certificate(dir string, names ...string) (tls.Certificate, string, error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return tls.Certificate{}, "", err
	}
	c := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "Calico County"}, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}}
	for _, n := range names {
		if ip := net.ParseIP(n); ip != nil {
			c.IPAddresses = append(c.IPAddresses, ip)
		} else {
			c.DNSNames = append(c.DNSNames, n)
		}
	}
	der, err := x509.CreateCertificate(rand.Reader, c, c, &key.PublicKey, key)
	if err != nil {
		return tls.Certificate{}, "", err
	}
	file := filepath.Join(dir, "ca.pem")
	err = os.WriteFile(file, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), 0o600)
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}, file, err
}
