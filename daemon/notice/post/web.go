package post

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"

	"linecamp/daemon/config"
	"linecamp/manifest"
)

// mostAnswer is how much of an answer is read: the reason of a refusal.
const mostAnswer = 500

// hook hands a message over as JSON.
func hook(ctx context.Context, n config.Notice, m Message) error {
	return call(ctx, n, http.MethodPost, n.Webhook, m.JSON)
}

// Alive calls the address that watches over the service.
func Alive(ctx context.Context, n config.Notice) error {
	return call(ctx, n, http.MethodGet, n.Alive, nil)
}

func call(ctx context.Context, n config.Notice, method, address string, body []byte) error {
	u, err := url.Parse(address)
	if err != nil {
		return errors.New("the web address in the settings cannot be read")
	}
	return within(ctx, u.Host, func(ctx context.Context) error {
		tlsConfig, err := private(n, "")
		if err != nil {
			return err
		}
		req, err := http.NewRequestWithContext(ctx, method, address, bytes.NewReader(body))
		if err != nil {
			return errors.New("the web address in the settings cannot be used")
		}
		req.Header.Set("User-Agent", "linecamp")
		if body != nil {
			req.Header.Set("Content-Type", "application/json")
		}
		transport := &http.Transport{Proxy: http.ProxyFromEnvironment, TLSClientConfig: tlsConfig, DisableKeepAlives: true}
		defer transport.CloseIdleConnections()
		// A redirect would take what is told, or the secret in the address, elsewhere.
		client := &http.Client{Transport: transport, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
		resp, err := client.Do(req)
		if u, ok := errors.AsType[*url.Error](err); ok {
			return u.Err // without the address
		}
		if err != nil {
			return err
		}
		defer resp.Body.Close()
		said, _ := io.ReadAll(io.LimitReader(resp.Body, mostAnswer))
		switch {
		case resp.StatusCode/100 == 2:
			return nil
		case resp.StatusCode/100 == 3:
			return fmt.Errorf("it answers %s; write the address that it moved to into the settings", resp.Status)
		}
		return fmt.Errorf("it refused: %s %s", resp.Status, manifest.Printable(string(said)))
	})
}
