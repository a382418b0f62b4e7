// Package post sends notices: by e-mail, one letter to each address, and to a web
// address as JSON. Begin with [Ways]. [Alive] calls the address that watches over the
// service, and [Secrets] and [Clean] see to it that no notice holds a secret.
//
// Each error is one sentence that says what happened, without the web address, which
// may be a secret itself. Whatever is sent ends within a second of its context, and
// after a minute at most.
package post

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"os"
	"syscall"
	"time"

	"linecamp/daemon/config"
	"linecamp/manifest"
)

// patience is how long a server may take for all of it.
const patience = time.Minute

// Message is a notice in words, and as data.
type Message struct {
	ID            string // of this notice and no other; the same when it is tried again
	Subject, Text string
	At            time.Time
	JSON          []byte
}

// Way is one way of telling.
type Way struct {
	Name string
	Send func(context.Context, Message) error
}

// Ways are the ways that the settings name.
func Ways(n config.Notice) (all []Way) {
	for _, to := range n.To {
		all = append(all, Way{"e-mail to " + to, func(ctx context.Context, m Message) error { return within(ctx, n.SMTP, letter{n, to, m}.send) }})
	}
	if n.Webhook != "" {
		all = append(all, Way{"webhook", func(ctx context.Context, m Message) error { return hook(ctx, n, m) }})
	}
	return all
}

// within does some work with a server, and says what came of it in a sentence.
func within(ctx context.Context, server string, work func(context.Context) error) error {
	limit, stop := context.WithTimeout(ctx, patience)
	defer stop()
	err := work(limit)
	switch {
	case err == nil:
		return nil
	case ctx.Err() != nil:
		return ctx.Err()
	case limit.Err() != nil:
		return fmt.Errorf("%s did not finish within a minute: %w", server, limit.Err())
	}
	return plain(server, err)
}

// plain is what went wrong with a connection.
func plain(server string, err error) error {
	var cert *tls.CertificateVerificationError
	var record tls.RecordHeaderError
	var dns *net.DNSError
	var op *net.OpError
	var invalid x509.CertificateInvalidError
	switch {
	case errors.As(err, &invalid) && invalid.Reason == x509.Expired:
		return fmt.Errorf("%s shows a certificate that is past its time, or this computer's clock is wrong, so nothing was sent to it; see whether the clock is right, then have whoever runs the server renew the certificate: %w", server, invalid)
	case errors.As(err, &cert):
		return fmt.Errorf("%s shows a certificate that this computer does not trust, so nothing was sent to it: %w", server, cert.Err)
	case errors.As(err, &record):
		return fmt.Errorf("%s does not speak TLS there; see whether the port fits `tls` in the settings: %w", server, err)
	case errors.As(err, &dns):
		return fmt.Errorf("the name of %s cannot be looked up: %w", server, err)
	case errors.Is(err, syscall.ECONNREFUSED):
		return fmt.Errorf("nothing answers at %s: %w", server, err)
	case errors.As(err, &op) && op.Timeout(), errors.Is(err, os.ErrDeadlineExceeded):
		return fmt.Errorf("%s does not answer: %w", server, err)
	}
	return fmt.Errorf("%s: %s", server, manifest.Printable(err.Error()))
}

// private is how a connection is kept private.
func private(n config.Notice, host string) (*tls.Config, error) {
	c := &tls.Config{ServerName: host, MinVersion: tls.VersionTLS12}
	if n.CAFile == "" {
		return c, nil
	}
	b, err := os.ReadFile(n.CAFile)
	if err != nil {
		return nil, fmt.Errorf("the certificates in ca_file cannot be read: %w", err)
	}
	c.RootCAs, err = x509.SystemCertPool()
	if err != nil {
		c.RootCAs = x509.NewCertPool()
	}
	if !c.RootCAs.AppendCertsFromPEM(b) {
		return nil, fmt.Errorf("%s, named as ca_file, holds no certificate in PEM", n.CAFile)
	}
	return c, nil
}
